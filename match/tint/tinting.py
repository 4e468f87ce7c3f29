"""One tinting job: what is on the shelf, what the car looks like, what was tried; and what follows from it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Self

import numpy as np

from match.colorimetry import Array
from match.errors import TintError
from match.tint.card import CardColour
from match.tint.learn import Learned, current_card, learn, prior_belief
from match.tint.limits import TintLimits
from match.tint.paint import BasePaint, TintModel, base_paint, tint_model
from match.tint.pigment import Optics, Toner
from match.tint.pot import Pot, TintLog
from match.tint.search import UNTINTED


@dataclass(frozen=True)
class Wanted:
    """What the shop wants to do.

    Attributes
    ----------
    batch_g : untinted paint that will be tinted once the pot is right, g
    reserve_g : untinted paint of the same mix at hand to thin out the pot, g
    mix_g : amount of the next mix, g; the test pot's when zero
    on_top : whether the next mix goes on top of what is in the pot, where that can be
    ways : actions to choose between, of "tint" and "next-mix"
    """

    batch_g: float = 0.0
    reserve_g: float = 0.0
    mix_g: float = 0.0
    on_top: bool = False
    ways: tuple[str, ...] = ("tint", "next-mix")


@dataclass(frozen=True, eq=False)
class TintJob:
    """Everything an advice needs.

    Attributes
    ----------
    shelf : toners that may be added or stand in the formula, by name
    optics : the paint's surface
    vehicle_lab : (3,) the car, CIELAB D65, 2 degrees; the cards' covariances are relative to it
    log : start card, steps and cards of this pot
    formula : the mix's formula in parts by weight, or nothing when it is not known
    toner_share : share of the paint's weight that is toner, 0..1
    allowed : toners that may be added; all of the shelf when not given
    own_sd : log-strength sd of toners measured from a let-down, by name
    """

    shelf: Mapping[str, Toner]
    optics: Optics
    vehicle_lab: Array
    log: TintLog
    formula: Mapping[str, float] | None = None
    toner_share: float = 1.0
    allowed: tuple[str, ...] | None = None
    own_sd: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Check what no later step checks."""
        object.__setattr__(self, "vehicle_lab", np.asarray(self.vehicle_lab, dtype=np.float64))
        if self.vehicle_lab.shape != (3,) or not np.all(np.isfinite(self.vehicle_lab)):
            raise TintError("the car's colour needs three numbers L*, a*, b*: measure the panel again")
        if UNTINTED in self.shelf:
            raise TintError(f"a toner cannot be called {UNTINTED!r}: give it another name")
        unknown = [name for name in self.allowed or () if name not in self.shelf]
        if unknown:
            raise TintError(f"no toner is called {unknown[0]!r}: use one of {', '.join(self.shelf)}, or add it first")

    def up_to(self, steps: int) -> Self:
        """Return the job as it stood after its first ``steps`` steps."""
        return replace(self, log=replace(self.log, steps=self.log.steps[:steps]))


@dataclass(frozen=True, eq=False)
class Understanding:
    """What the model and the cards say together about a job."""

    job: TintJob
    base: BasePaint
    model: TintModel
    learned: Learned

    @cached_property
    def pot(self) -> Pot:
        """Return the pot as it stands."""
        return self.job.log.pots()[-1]

    @cached_property
    def card(self) -> CardColour:
        """Return the colour of paint from the pot as it stands, by all cards together."""
        return current_card(self.model, self.learned, self.pot)


def understand(job: TintJob, limits: TintLimits) -> Understanding:
    """Return base paint, model and what the cards taught."""
    base = base_paint(job.log.start.lab, job.shelf, job.optics, job.formula, job.toner_share)
    model = tint_model(base, job.shelf, job.optics)
    prior = prior_belief(model.names, limits, not base.guessed, job.own_sd)
    return Understanding(job, base, model, learn(model, job.log, prior, limits))
