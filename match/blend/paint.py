"""What kind of paint is faded, and what that asks of the coats: their order, and how much wider the fade must be."""

from dataclasses import dataclass
from enum import Enum

from match.calibration import quantity
from match.check.verdict import Finish
from match.errors import PlanError

MOST_MID_COATS = 8
LEAST_STAGGER = 0.5
"""Hand widths between two mid-coats at the least: nobody sprays finer (engineering choice)."""


class CoatOrder(Enum):
    """In which order coats of different reach are sprayed; the film they leave together is the same."""

    INSIDE_OUT = "each coat further"
    OUTSIDE_IN = "each coat shorter"


@dataclass(frozen=True)
class EffectPractice:
    """Table ``effect`` of ``practice.toml``: what metallics and pearls ask for beyond a solid.

    ``overlap``, ``orientation_distance`` and ``orientation_pressure`` are lowest and highest of what painters do, the
    last two as factors on the gun's own.
    """

    overlap: tuple[float, ...] = quantity("share")
    wet_bed_beyond: float = quantity("mm")
    wet_bed_film: float = quantity("share of a covering coat")
    orientation_film: float = quantity("share of a covering coat")
    orientation_distance: tuple[float, ...] = quantity("factor")
    orientation_pressure: tuple[float, ...] = quantity("factor")
    light_from: float = quantity("CIELAB L*")
    light_spread: float = quantity("factor")


@dataclass(frozen=True)
class Paint:
    """The kind of paint, and what it is laid over.

    ``mid_coats`` are those of a three-stage colour as its let-down card says, 0 for no three-stage; ``undercoat`` is a
    name in table ``cover.undercoats`` of ``practice.toml``, None where the shade is not known.
    """

    finish: Finish = Finish.SOLID
    mid_coats: int = 0
    undercoat: str | None = None

    def __post_init__(self) -> None:
        """Raise :class:`PlanError` for a number of mid-coats that cannot be."""
        if not 0 <= self.mid_coats <= MOST_MID_COATS:
            raise PlanError(f"{self.mid_coats} mid-coats cannot be planned: give 1 to {MOST_MID_COATS}, by your card")

    @property
    def has_flake(self) -> bool:
        """Whether flake or pearl must lie evenly."""
        return self.finish is not Finish.SOLID

    def order(self, fades: bool) -> CoatOrder:
        """Return the order of the coats.

        Common practice: a solid is carried further with each coat, so that covering is seen before the fade is laid.
        Flake is laid from the outside in, so that each coat's dry overspray falls on wet colour of the one before and
        is buried. A three-stage colour's mid-coats must lie over its ground, which is the shortest.
        """
        return CoatOrder.OUTSIDE_IN if fades and self.has_flake and not self.mid_coats else CoatOrder.INSIDE_OUT

    def spread(self, lightness: float, practice: EffectPractice) -> float:
        """Return by how much a fade must be wider than a solid's for paint of this CIELAB lightness."""
        return practice.light_spread if self.has_flake and lightness >= practice.light_from else 1.0


SOLID = Paint()
