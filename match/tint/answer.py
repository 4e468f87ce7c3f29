"""What an advice consists of."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from match.colorimetry import Array
from match.record import Record
from match.tint.metamerism import LampShift
from match.tint.strengths import TonerResponse

SURE = 0.9  # chance of coming closer from which a direction is called sure


class Action(StrEnum):
    """What to do with the pot."""

    TINT = "tint"
    NEXT_MIX = "next-mix"
    STOP = "stop"
    START_AGAIN = "start-again"
    """This pot leads nowhere: start from another alternate."""


class WhyNothing(StrEnum):
    """Why nothing is to be added."""

    CLOSE_ENOUGH = "close-enough"
    WITHIN_DOUBT = "within-doubt"
    TOO_SMALL = "too-small"
    NOTHING_HELPS = "nothing-helps"

    @property
    def action(self) -> Action:
        """What to do instead."""
        return Action.START_AGAIN if self is WhyNothing.NOTHING_HELPS else Action.STOP


@dataclass(frozen=True)
class TonerAmount(Record):
    """One toner of a step.

    Attributes
    ----------
    name : toner
    pot_g : grams for the test pot as it stands, on the scale's steps
    percent : the same in percent of the paint in the pot
    full_g : grams that the prediction says would close the gap; ``pot_g`` stops short of it
    step_share : pot_g / full_g, 0..1
    batch_g : grams for the whole untinted batch to bring it where the pot will be, all steps so far included
    in_formula : whether the mix already holds this toner
    response : its strength in this colour and where that number comes from
    """

    name: str
    pot_g: float
    percent: float
    full_g: float
    step_share: float
    batch_g: float
    in_formula: bool
    response: TonerResponse


@dataclass(frozen=True)
class OtherWay(Record):
    """Another set of toners that would do.

    Attributes
    ----------
    toners : names
    full_g : grams of each for the pot that the prediction says would close the gap
    expected_difference : CIEDE2000 expected if they were added
    """

    toners: tuple[str, ...]
    full_g: tuple[float, ...]
    expected_difference: float


@dataclass(frozen=True, eq=False)
class Expected(Record):
    """CIEDE2000 from the car over everything that is not known.

    Attributes
    ----------
    difference : expected value
    low, high : the middle 90 %
    chance_within_goal : 0..1
    """

    difference: float
    low: float
    high: float
    chance_within_goal: float


def expected_of(differences: Array, goal: float) -> Expected:
    """Return the summary of draws of CIEDE2000 from the car."""
    low, high = np.percentile(differences, [5, 95])
    return Expected(float(differences.mean()), float(low), float(high), float(np.mean(differences <= goal)))


@dataclass(frozen=True, eq=False)
class Advice(Record):
    """What to do next.

    Attributes
    ----------
    action : what to do
    amounts : toners of the step
    untinted_g : untinted paint of the same mix to add, g
    difference_now : CIEDE2000 of the paint in the pot from the car, by all cards together
    now : the same with its doubt; its expected value is higher, since noise never makes a difference smaller
    after : what to expect of the next card; the same as ``now`` when nothing is to be added
    reachable_difference : CIEDE2000 expected if the full amounts were added at once
    predicted_lab : (3,) expected next card
    lamps : how much the match would part in lamp light (a guess: the car's spectrum is not known)
    others : other sets of toners; where the paint is close enough, the step that would still bring it nearer
    batch_g : grams of each toner that bring the whole untinted batch to where the pot will be after this step
    reasons : short sentences for the painter
    why : why nothing is to be added; none where something is
    way_out : what leads on where nothing is to be added; else empty
    chance_closer : 0..1 that the step brings the paint closer to the car; none where there is no step
    """

    action: Action
    amounts: tuple[TonerAmount, ...]
    untinted_g: float
    difference_now: float
    now: Expected
    after: Expected
    reachable_difference: float
    predicted_lab: Array
    lamps: tuple[LampShift, ...]
    others: tuple[OtherWay, ...]
    batch_g: dict[str, float]
    reasons: tuple[str, ...]
    why: WhyNothing | None = None
    way_out: str = ""
    chance_closer: float | None = None

    @property
    def is_step(self) -> bool:
        """Return whether something is to be poured."""
        return self.action in (Action.TINT, Action.NEXT_MIX)
