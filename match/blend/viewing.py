"""Who looks at the car, how hard, in what light and from how far; and everything the vision model needs."""

from dataclasses import dataclass

import numpy as np

from match.blend.contrast import Eye
from match.blend.edge import EdgeRules
from match.blend.visibility import RampLaw
from match.calibration import quantity
from match.check.verdict import Allowed
from match.check.viewers import Viewers
from match.colorimetry import Array, delta_e00
from match.errors import PlanError


@dataclass(frozen=True)
class Vision:
    """All of ``vision.toml`` that describes the eye: tables ``eye``, ``ramp`` and ``edge``."""

    eye: Eye
    ramp: RampLaw
    edge: EdgeRules


@dataclass(frozen=True)
class Strictness:
    """One way of judging, chosen by its words ("an expert looking for it"), from table ``strictness``.

    What still passes: ``visibility_limit`` for an edge or a fade; ``gap_limit`` is the most CIEDE2000 that may be left
    anywhere, whatever the table of limits allows there.
    """

    words: str
    visibility_limit: float = quantity("threshold units")
    gap_limit: float = quantity("CIEDE2000")


@dataclass(frozen=True)
class ViewingDefaults:
    """Table ``viewing``: light and distances to start from."""

    light: float = quantity("lx")
    distances: tuple[float, ...] = quantity("m")
    mirrored: float = quantity("reflectance")
    refractive_index: float = quantity("1")


@dataclass(frozen=True)
class Judging:
    """What the person may choose from, read from ``vision.toml``: ways of judging by name, and where to start."""

    usual: str
    strictness: dict[str, Strictness]
    viewing: ViewingDefaults


@dataclass(frozen=True)
class Viewing:
    """Light in lux, inspection distances in metres, how strictly the result is judged, and what may be left where.

    ``veil`` is what the clear coat mirrors, as a reflectance. The largest distance decides: stepping back makes a fade
    of lightness narrower in the eye, and easier to see.
    """

    light_lux: float
    distances_m: tuple[float, ...]
    strictness: Strictness
    allowed: Allowed
    viewers: Viewers
    veil: float

    def __post_init__(self) -> None:
        """Raise :class:`PlanError` for a light or a distance that cannot be."""
        if not 1.0 <= self.light_lux <= 200_000.0:
            raise PlanError(
                f"a light of {self.light_lux:g} lx cannot be used: give 1 to 200000 lx, 1000 for a bright shop"
            )
        if not self.distances_m or not all(0.2 <= distance <= 20.0 for distance in self.distances_m):
            raise PlanError("give at least one viewing distance, each from 0.2 to 20 m")

    @property
    def deciding_distance_m(self) -> float:
        """The distance at which a fade of a given width is easiest to see: the largest."""
        return max(self.distances_m)


@dataclass(frozen=True)
class ColourPair:
    """Samples of the card's and the vehicle's CIELAB (n, 3), D65, at one angle or under one light.

    Row i of both belongs together (one draw of all uncertain quantities); one row is a measurement taken as exact.
    ``read`` is the difference as it was read (CIEDE2000), None where the middle of the samples is all that is known.
    """

    label: str
    card_lab: Array
    vehicle_lab: Array
    read: float | None = None

    def __post_init__(self) -> None:
        """Raise :class:`PlanError` unless both are (n, 3) of the same n, finite, with a lightness from 0 to 100."""
        shapes = self.card_lab.shape, self.vehicle_lab.shape
        if shapes[0] != shapes[1] or len(shapes[0]) != 2 or shapes[0][1:] != (3,) or not shapes[0][0]:
            raise PlanError(
                f"the card's and the car's colours ({self.label}) must be two equally long lists of L, a, b"
            )
        for lab in (self.card_lab, self.vehicle_lab):
            if not np.isfinite(lab).all() or not (np.abs(lab) <= 200.0).all():
                raise PlanError(f"a colour ({self.label}) is not a finite L, a, b: measure it again")

    @property
    def delta_e00(self) -> float:
        """The difference as it was read, the same wherever it is shown; CIEDE2000."""
        return float(delta_e00(*self.middle)) if self.read is None else self.read

    @property
    def middle(self) -> tuple[Array, Array]:
        """The medians of the card's and the vehicle's samples, each (3,)."""
        return np.median(self.card_lab, axis=0), np.median(self.vehicle_lab, axis=0)
