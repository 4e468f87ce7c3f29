"""What one step of a job is, in codes and numbers; the words are made last (:mod:`match.blend.step_words`)."""

from dataclasses import dataclass
from enum import Enum

from match.blend.amounts import Mix, Size
from match.blend.film import Gun
from match.blend.options import StopKind
from match.blend.paint import CoatOrder
from match.blend.sides import Direction

NOW = (0.0, 0.0)


class Deed(Enum):
    """What a step is; in the order of doing."""

    WASH = "wash"
    PROTECT = "protect"
    DEGREASE = "degrease"
    MASK = "mask"
    SCUFF = "scuff"
    TACK = "tack"
    MIX_BASE = "mix base"
    WET_BED = "wet bed"
    STIR = "stir"
    GROUND_COAT = "ground coat"
    BASE_COAT = "base coat"
    MID_COAT = "mid-coat"
    ORIENT = "orientation coat"
    MIX_CLEAR = "mix clear"
    CLEAR_COAT = "clear coat"
    CLEAN = "clean up"
    LOOK = "look"
    NIBS = "dust nibs and runs"
    RECORD = "record"


BY_HAND = {deed: deed.name.lower() for deed in (Deed.WASH, Deed.DEGREASE, Deed.SCUFF, Deed.TACK, Deed.CLEAN, Deed.NIBS)}
"""Steps whose words stand in table ``by_hand`` of ``practice.toml``."""


@dataclass(frozen=True)
class Reach:
    """How far a step goes on one side, in mm from the repair's edge.

    From ``ease_from_mm`` the trigger is eased off, at ``to_mm`` it is let go; equal where the middle of a last pass
    runs along there. ``mask`` is what the colour is stopped at, None where it fades out. ``sprayed`` is False for a
    coat that stays inside the repair on this side. ``painted`` says whether what lies there has the car's colour.
    ``repair`` is which of several areas it starts from; empty where it is the only one, or from the nearest.
    """

    side: str
    direction: Direction
    ease_from_mm: float
    to_mm: float
    mask: StopKind | None = None
    painted: bool = True
    sprayed: bool = True
    repair: str = ""


@dataclass(frozen=True)
class Step:
    """One step; what does not belong to its deed is empty.

    Attributes
    ----------
    coat, coats : which coat of how many
    reduced : whether it is reduced further
    reaches : how far it goes on each side
    sizes_mm : width and height sprayed, one pair an area
    gun, overlap : the set-up, and the lowest and highest overlap
    distance, pressure : lowest and highest factors on the gun's own
    passes, minutes : along the width, and how long they take
    ready_ml : sprayed in this step
    mix : what to pour
    wait_min : lowest and highest wait after it, minutes
    """

    deed: Deed
    coat: int = 0
    coats: int = 0
    reduced: bool = False
    reaches: tuple[Reach, ...] = ()
    sizes_mm: tuple[Size, ...] = ()
    gun: Gun | None = None
    overlap: tuple[float, float] = NOW
    distance: tuple[float, float] = (1.0, 1.0)
    pressure: tuple[float, float] = (1.0, 1.0)
    passes: int = 0
    minutes: float = 0.0
    ready_ml: float = 0.0
    mix: Mix | None = None
    wait_min: tuple[float, float] = NOW


@dataclass(frozen=True)
class JobSteps:
    """All steps in order, and the order in which coats of different reach are sprayed."""

    steps: tuple[Step, ...]
    order: CoatOrder
    silent: tuple[Direction, ...] = ()

    def of(self, *deeds: Deed) -> tuple[Step, ...]:
        """Return the steps that are one of these deeds."""
        return tuple(step for step in self.steps if step.deed in deeds)

    @property
    def minutes(self) -> tuple[float, float]:
        """Lowest and highest time from the first coat of colour to the last of clear, the last wait left out."""
        sprayed = [step for step in self.steps if step.passes]
        spraying = sum(step.minutes for step in sprayed)
        low, high = (sum(step.wait_min[end] for step in sprayed[:-1]) for end in (0, 1))
        return spraying + low, spraying + high


COLOUR = (Deed.GROUND_COAT, Deed.BASE_COAT, Deed.MID_COAT, Deed.ORIENT)
