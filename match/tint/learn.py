"""What the cards teach about each toner in this colour.

Unknown are the true colour of the start card and, for each toner, the logarithm of its strength and the turn of its
effect away from the model. The pigment model gives the prior; every measured card is evidence:
card = start + change(what is in the pot; strengths, turns) + noise. Because the change depends on what is in the pot
and not on the way there, a card that is "after" of one step and "before" of the next is counted once. The posterior is
Gaussian about the most probable values (Gauss-Newton; Tarantola, Inverse Problem Theory, 2005, section 3.2).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from match.colorimetry import Array
from match.errors import TintError
from match.record import Record
from match.tint.card import CardColour
from match.tint.limits import TintLimits
from match.tint.paint import TintModel, lab_change, solo_change, untinted_lab
from match.tint.pot import Pot, TintLog
from match.tint.strengths import StrengthBelief

MOST_STEPS = 12
CLOSE = 1e-7
LAB_PRIOR_SD = 1e3  # CIELAB units: the start's colour is known only from its card
STRENGTH_STEP = 1e-4  # for differences by ln strength
WIDEST_LOG = 1.5  # a strength beyond a factor of 4.5 from its description means a mistake, not a toner


class Belief(StrengthBelief):
    """Gaussian belief about n toners' responses: n log-strengths, then n x 3 turns."""

    @property
    def strength_places(self) -> slice:
        """The first n."""
        return slice(len(self.names))


@dataclass(frozen=True, eq=False)
class Learned(Record):
    """Belief after a pot's cards, together with the true colour of the start card.

    Attributes
    ----------
    belief : about the toners
    mean : (3 + 4n,) start CIELAB, then the belief's mean
    covariance : (3 + 4n, 3 + 4n)
    cards : how many cards were used, the start's included
    """

    belief: Belief
    mean: Array
    covariance: Array
    cards: int


def prior_belief(
    names: Sequence[str], limits: TintLimits, formula_known: bool = True, own_sd: Mapping[str, float] | None = None
) -> Belief:
    """Return the belief before any card.

    Parameters
    ----------
    names : toner names, in the model's order
    limits : for the prior standard deviations
    formula_known : when not, the paint's own strength is a guess and all toners share that error
    own_sd : log-strength sd of toners that were measured from a let-down
    """
    n = len(names)
    own = own_sd or {}
    variances = np.array([own.get(name, limits.strength_sd) ** 2 for name in names])
    covariance = np.zeros((4 * n, 4 * n))
    covariance[:n, :n] = np.diag(variances) + (0.0 if formula_known else limits.guess_sd**2)
    covariance[n:, n:] = limits.direction_sd**2 * np.eye(3 * n)
    return Belief(tuple(names), np.zeros(4 * n), covariance, np.sqrt(np.diag(covariance)[:n]))


def predicted_lab(model: TintModel, unknowns: Array, parts: Array) -> Array:
    """Return (..., 3) card CIELAB for start colour and belief ``unknowns`` (..., 3 + 4n), ``parts`` (..., n)."""
    n = len(model.names)
    strengths = unknowns[..., 3 : 3 + n]
    turns = unknowns[..., 3 + n :].reshape(*unknowns.shape[:-1], n, 3)
    return unknowns[..., :3] + lab_change(model, parts, strengths, turns)


def lab_jacobian(model: TintModel, unknowns: Array, parts: Array) -> Array:
    """Return (3, 3 + 4n) derivative of :func:`predicted_lab` by the unknowns, for one pot."""
    n = len(model.names)
    J = np.zeros((3, 3 + 4 * n))
    J[:, :3] = np.eye(3)
    untinted = untinted_lab(model)
    for i in np.flatnonzero(parts):
        up, down = unknowns.copy(), unknowns.copy()
        up[3 + i] += STRENGTH_STEP
        down[3 + i] -= STRENGTH_STEP
        J[:, 3 + i] = (predicted_lab(model, up, parts) - predicted_lab(model, down, parts)) / (2 * STRENGTH_STEP)
        effect = solo_change(model, int(i), parts[i], unknowns[3 + i], untinted)
        size = float(np.linalg.norm(effect))
        if size > 0:
            unit = effect / size
            J[:, 3 + n + 3 * i : 6 + n + 3 * i] = size * (np.eye(3) - np.outer(unit, unit))
    return J


def learn(model: TintModel, log: TintLog, prior: Belief, limits: TintLimits) -> Learned:
    """Return the belief after every card of ``log``.

    Parameters
    ----------
    model : untinted paint and toners; its toner names must be the belief's
    log : start card and steps; steps without a card only change the pot
    prior : belief before these cards, from :func:`prior_belief`
    limits : for the spread of spraying
    """
    if prior.names != model.names:
        raise TintError("the belief is about other toners than the model: build both from the same shelf")
    cards = log.cards()
    readings = [(model.parts(pot.parts_of_base), colour) for pot, colour in cards]
    start = np.concatenate([log.start.lab, prior.mean])
    precision = np.zeros((start.size, start.size))
    precision[:3, :3] = np.eye(3) / LAB_PRIOR_SD**2
    precision[3:, 3:] = np.linalg.inv(prior.covariance)
    weights = [np.linalg.inv(colour.covariance + limits.card_sd**2 * np.eye(3)) for _, colour in readings]
    u = start.copy()
    hessian = precision
    for _ in range(MOST_STEPS):
        hessian, gradient = precision.copy(), precision @ (start - u)
        for (parts, colour), weight in zip(readings, weights, strict=True):
            J = lab_jacobian(model, u, parts)
            hessian += J.T @ weight @ J
            gradient += J.T @ weight @ (colour.lab - predicted_lab(model, u, parts))
        step = np.linalg.solve(hessian, gradient)
        u = u + step
        n = len(model.names)
        u[3 : 3 + n] = np.clip(u[3 : 3 + n], -WIDEST_LOG, WIDEST_LOG)
        if np.abs(step).max() < CLOSE:
            break
    covariance = np.linalg.inv(hessian)
    covariance = (covariance + covariance.T) / 2
    belief = Belief(model.names, u[3:], covariance[3:, 3:], prior.prior_sd)
    return Learned(belief, u, covariance, len(cards))


def current_card(model: TintModel, learned: Learned, pot: Pot) -> CardColour:
    """Return the colour that paint from ``pot`` has by all cards together, with its covariance."""
    parts = model.parts(pot.parts_of_base)
    J = lab_jacobian(model, learned.mean, parts)
    return CardColour(predicted_lab(model, learned.mean, parts), J @ learned.covariance @ J.T)
