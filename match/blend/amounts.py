"""How much: paint for a film over an area, the passes and minutes it takes, and what to pour for it.

Paint to spray is film times area over solids by volume and transfer.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from match.blend.film import Gun
from match.blend.job_practice import BasePractice, ClearPractice, JobPractice

MM2_PER_M2 = 1e6
SECONDS_PER_MINUTE = 60.0
ROUND_ML = 5.0

Size = tuple[float, float]
"""Width and height in mm."""


@dataclass(frozen=True)
class Mix:
    """What to pour, in whole ml as a cup is read: (name, amount) in order; ``reserve_ml`` of it is not sprayed."""

    parts: tuple[tuple[str, float], ...]
    reserve_ml: float = 0.0

    @property
    def total_ml(self) -> float:
        """All parts together."""
        return sum(amount for _, amount in self.parts)


def ready_ml(area_mm2: float, dry_um: float, paint: BasePractice | ClearPractice) -> float:
    """Return the paint to spray: 1 m2 at 1 um is 1 ml of dry film."""
    return area_mm2 / MM2_PER_M2 * dry_um / paint.solids / paint.transfer


def spraying(sizes_mm: Sequence[Size], gun: Gun, turn_time: float) -> tuple[int, float]:
    """Return the passes along the width, and the minutes, for one coat over every one of these areas."""
    passes = [int(np.ceil(height / gun.spacing_mm)) + 1 for _, height in sizes_mm]
    one = [width / gun.travel_speed + turn_time for width, _ in sizes_mm]
    return sum(passes), float(np.dot(passes, one)) / SECONDS_PER_MINUTE


def mixed(parts: Mapping[str, float], sprayed_ml: float, left_in_gun_ml: float, reserve: float) -> Mix:
    """Return parts for what is sprayed and the reserve; rounding up to what a cup is read to goes to the reserve."""
    whole = sum(parts.values())
    wanted = sprayed_ml * (1.0 + reserve) + left_in_gun_ml
    first = float(ROUND_ML * np.ceil(wanted / whole / ROUND_ML - 1e-9))
    poured = tuple((name, float(np.ceil(first * part - 1e-9))) for name, part in parts.items() if part > 0.0)
    return Mix(poured, sum(amount for _, amount in poured) - sprayed_ml)


def base_mix(sprayed_ml: float, job: JobPractice) -> Mix:
    """Return the mix of colour for what its coats take of it, before any further reduction."""
    parts = {"base": 1.0, "reducer": job.base.reducer}
    return mixed(parts, sprayed_ml, job.base.left_in_gun, job.handling.reserve)


def clear_mix(sprayed_ml: float, job: JobPractice) -> Mix:
    """Return the mix of clear for what its coats take."""
    parts = {"clear": 1.0, "hardener": job.clear.hardener, "reducer": job.clear.reducer}
    return mixed(parts, sprayed_ml, job.clear.left_in_gun, job.handling.reserve)


def thinned(sprayed_ml: float, reduction: float, job: JobPractice) -> Mix:
    """Return what is reduced further for one coat, with what stays in cup and gun: a gun cannot be sprayed empty."""
    paint = float(np.floor(sprayed_ml / (1.0 + reduction) + job.base.left_in_gun + 1e-9))
    reducer = float(np.round(paint * reduction))
    return Mix((("paint", paint), ("reducer", reducer)), paint + reducer - sprayed_ml)
