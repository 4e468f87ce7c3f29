"""Where a job stands, what is believed of its toners and of others, and which others are worth trying."""

from dataclasses import dataclass, replace

import numpy as np

from match.colorimetry import Array
from match.tint.answer import Expected, expected_of
from match.tint.limits import TintLimits
from match.tint.mix_known import MixKnown
from match.tint.next_mix import JUDGE_DRAWS, SEARCH_DRAWS, Drawn, draw
from match.tint.tinting import Wanted
from match.tint.whole_mix import PER_TONER, MixBelief, WholeMix, prior, whole_mix

SHORTLIST = 4  # toners outside the formula that are tried in full
PROBE = 1e-3  # share by weight, for the effect of a toner not in the mix
OTHER_MOVES, RIDGE = 5.0, 0.25  # CIEDE2000; and its square that a change by the whole of a toner must gain


@dataclass(frozen=True, eq=False)
class Place:
    """Where a job stands and what it aims at.

    Attributes
    ----------
    known : what model and cards say
    limits : what may be poured and what is worth doing
    W : (3, 3) CIELAB to CIEDE2000 about the car
    goal : CIEDE2000 at which tinting stops
    wanted : what the shop wants
    """

    known: MixKnown
    limits: TintLimits
    W: Array
    goal: float
    wanted: Wanted
    replaced: tuple[str, ...] = ()

    @property
    def mix_g(self) -> float:
        """Return the amount of the next mix, g."""
        return self.wanted.mix_g or self.known.job.log.start_g

    @property
    def outside(self) -> tuple[str, ...]:
        """Return the toners that may be used and that no mix has held, weak versions of those that it has left out."""
        names, shelf = self.known.model.names, self.known.job.shelf
        allowed = self.known.job.allowed or tuple(shelf)
        return tuple(name for name in allowed if name not in names and shelf[name].weak_of not in names)

    def weak_versions(self, names: tuple[str, ...]) -> dict[str, str]:
        """Return the strongest weak version of each toner of ``names`` that has one which may be used."""
        shelf, allowed = self.known.job.shelf, self.known.job.allowed or tuple(self.known.job.shelf)
        weak = sorted((n for n in allowed if shelf[n].weak_of in names and n not in names), key=self._strength)
        return {shelf[name].weak_of: name for name in weak}

    def _strength(self, name: str) -> float:
        return self.known.job.shelf[name].strength * float(self.known.job.shelf[name].absorption.sum())

    def allows(self, name: str) -> bool:
        """Return whether more of a toner may be poured; the formula's own stand in it anyway."""
        if name in self.replaced:
            return False
        return self.known.job.allowed is None or name in self.known.job.allowed


@dataclass(frozen=True, eq=False)
class Believed:
    """The model with some toners from outside the formula, and draws of all that is not known about it."""

    model: WholeMix
    belief: MixBelief
    search: Drawn
    judge: Drawn
    mean: Drawn


def believe(place: Place, foreign: tuple[str, ...] = ()) -> Believed:
    """Return the model and its draws with toners from outside, of which only the shelf's prior is known.

    A weak version of a toner that a mix has held is the same pigment: what is believed of the one holds for the other.
    """
    known, car = place.known, place.known.job.vehicle_lab
    names = (*known.model.names, *foreign)
    sd = [known.job.own_sd.get(name, place.limits.strength_sd) for name in foreign]
    model = whole_mix(names, known.job.shelf, known.job.optics, np.concatenate([known.model.strength_sd, sd]))
    mean, variances = prior(model, place.limits)
    mean[: known.model.size] = known.belief.mean
    covariance = np.diag(variances)
    covariance[: known.model.size, : known.model.size] = known.belief.covariance
    for name in foreign:
        if (strong := known.job.shelf[name].weak_of) in known.model.names:
            _share_belief(mean, covariance, names.index(name), names.index(strong))
    held = (*known.belief.held, *(0 for _ in foreign))
    belief = MixBelief(names, mean, covariance, model.strength_sd, held)
    still = replace(belief, covariance=np.zeros_like(covariance))
    drawn = [draw(model, b, car, place.W, n) for b, n in ((belief, SEARCH_DRAWS), (belief, JUDGE_DRAWS), (still, 2))]
    return Believed(model, belief, *drawn)


def _share_belief(mean: Array, covariance: Array, weak: int, strong: int) -> None:
    """Give the weak version's unknowns, in place, the values of the full-strength toner's."""
    to, of = (slice(3 + PER_TONER * i, 3 + PER_TONER * (i + 1)) for i in (weak, strong))
    mean[to] = mean[of]
    covariance[to] = covariance[of]
    covariance[:, to] = covariance[:, of]


def expected_now(place: Place) -> Expected:
    """Return what to expect of the paint as it is in the pot."""
    return expected_of(believe(place).judge.differences(place.known.shares_now), place.goal)


def outside_toners(place: Place, shares_now: Array, foreign: tuple[str, ...]) -> tuple[str, ...]:
    """Return the toners from outside that would leave least, by the most probable model made linear."""
    outside = [name for name in place.outside if name not in foreign]
    if not outside:
        return ()
    car = place.known.job.vehicle_lab
    every = believe_mean(place, (*foreign, *outside))
    shares = np.append(shares_now, np.zeros(len(outside)))
    lab = every.labs(shares)[0]
    effects = np.stack([every.labs(shares + PROBE * row)[0] - lab for row in np.eye(shares.size)]) / PROBE @ place.W.T
    inside = shares.size - len(outside)
    own = (shares[:, None] * effects)[:inside]  # by a doubling of each toner in the mix
    missing = place.W @ (car - lab)
    left = {name: _left_by(own, effects[inside + i], missing) for i, name in enumerate(outside)}
    return tuple(sorted(outside, key=lambda name: left[name])[:SHORTLIST])


def _left_by(own: Array, other: Array, missing: Array) -> float:
    """Return what is left of a missing (3,) colour by changes of the mix's own toners (n, 3) and more of another (3,).

    Changes are kept modest, since effects are those of small ones (ridge regression); the other toner counts as
    changed by its whole when it moves the colour by :data:`OTHER_MOVES`.
    """
    scaled = OTHER_MOVES * other / max(float(np.linalg.norm(other)), 1e-12)
    for A in (np.vstack([own, scaled]).T, own.T):
        x = np.linalg.solve(A.T @ A + RIDGE * np.eye(A.shape[1]), A.T @ missing)
        if A.shape[1] == len(own) or x[-1] > 0:
            break
    return float(np.sum((A @ x - missing) ** 2) + RIDGE * x @ x)


def believe_mean(place: Place, foreign: tuple[str, ...]) -> Drawn:
    """Return the most probable model with toners from outside."""
    known = place.known
    names = (*known.model.names, *foreign)
    model = whole_mix(names, known.job.shelf, known.job.optics, np.ones(len(names)))
    mean = np.zeros(model.size)
    mean[: known.model.size] = known.belief.mean
    still = MixBelief(names, mean, np.zeros((model.size, model.size)), model.strength_sd, (0,) * len(names))
    return draw(model, still, known.job.vehicle_lab, place.W, 2)
