"""What the model of the whole mix and all cards say about a job whose formula is known."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from match.colorimetry import Array
from match.tint.card import CardColour
from match.tint.limits import TintLimits
from match.tint.pigment import formula_toners
from match.tint.pot import Pot
from match.tint.strengths import TonerResponse
from match.tint.tinting import TintJob
from match.tint.whole_mix import MixBelief, WholeMix, learn_mix, mix_jacobian, mix_lab, whole_mix


@dataclass(frozen=True, eq=False)
class MixKnown:
    """A job with its model and belief.

    Attributes
    ----------
    job : the job; its formula is known
    model : every toner that any of its mixes holds
    belief : after all its cards
    """

    job: TintJob
    model: WholeMix
    belief: MixBelief

    @cached_property
    def pot(self) -> Pot:
        """Return the pot as it stands."""
        return self.job.log.pots()[-1]

    def shares(self, pot: Pot) -> Array:
        """Return (n,) shares by weight of the toners in a pot."""
        return self.model.shares(pot.shares(self.job.formula or {}, self.job.toner_share))

    @cached_property
    def shares_now(self) -> Array:
        """Return (n,) shares by weight in the pot as it stands."""
        return self.shares(self.pot)

    def card_of(self, pot: Pot) -> CardColour:
        """Return the colour of paint from a pot by all cards together, spraying left out."""
        shares = self.shares(pot)
        J = mix_jacobian(self.model, self.belief.mean, shares)
        covariance = J @ self.belief.covariance @ J.T
        return CardColour(mix_lab(self.model, self.belief.mean, shares), (covariance + covariance.T) / 2)

    @cached_property
    def card(self) -> CardColour:
        """Return the colour of paint from the pot as it stands."""
        return self.card_of(self.pot)

    def move(self, before: Pot, after: Pot) -> tuple[Array, Array]:
        """Return the predicted move (3,) of CIELAB from one pot to another and its covariance (3, 3)."""
        x0, x1 = self.shares(before), self.shares(after)
        u = self.belief.mean
        J = mix_jacobian(self.model, u, x1) - mix_jacobian(self.model, u, x0)
        return mix_lab(self.model, u, x1) - mix_lab(self.model, u, x0), J @ self.belief.covariance @ J.T


def know_mix(job: TintJob, limits: TintLimits, cards: int | None = None) -> MixKnown:
    """Return what is known of a job from its first ``cards`` cards, from all of them when not given."""
    formula = job.formula or {}
    formula_toners(job.shelf, formula)  # refuses an unknown toner by name
    pots = job.log.pots()
    names = dict.fromkeys(name for pot in pots for name in pot.shares(formula) if name in job.shelf)
    sd = np.array([job.own_sd.get(name, limits.strength_sd) for name in names])
    model = whole_mix(tuple(names), job.shelf, job.optics, sd)
    read = [(model.shares(pot.shares(formula, job.toner_share)), card) for pot, card in job.log.cards()[:cards]]
    return MixKnown(job, model, learn_mix(model, read, limits))


def mix_responses(belief: MixBelief, names: tuple[str, ...]) -> tuple[TonerResponse, ...]:
    """Return the strength of each toner ``names`` in this colour, prior where no mix has held it."""
    by_name = {each.name: each for each in belief.responses(dict(zip(belief.names, belief.held, strict=True)))}
    return tuple(by_name[name] for name in names if name in by_name)
