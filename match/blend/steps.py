"""What the job takes: coats, passes, paint and time, by arithmetic on the plan and on common practice.

Every default is a starting point; the product's technical data sheet comes first and its values are typed over these.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from match.blend.coat_plans import BlendPractice
from match.blend.film import Coat, Gun
from match.blend.plan import BlendPlan, SidePlan
from match.blend.sides import Direction, Repair
from match.calibration import quantity

MM2_PER_M2 = 1e6
SECONDS_PER_MINUTE = 60.0
BAR_PER_PSI = 0.0689476  # exact to the digits: 1 psi = 6894.76 Pa
ROUND_ML = 5.0


@dataclass(frozen=True)
class BasePractice:
    """Table ``base`` of ``practice.toml``."""

    dry_film: float = quantity("um per covering coat")
    solids: float = quantity("share by volume, ready to spray")
    transfer: float = quantity("share")
    reducer: float = quantity("parts per part of base")
    flash: float = quantity("min")
    flash_before_clear: float = quantity("min")
    left_in_gun: float = quantity("ml")


@dataclass(frozen=True)
class ClearPractice:
    """Table ``clear`` of ``practice.toml``."""

    gun: Gun
    hardener: float = quantity("parts per part of clear")
    reducer: float = quantity("parts per part of clear")
    coats: float = quantity("coats")
    dry_film: float = quantity("um per coat")
    solids: float = quantity("share by volume, ready to spray")
    transfer: float = quantity("share")
    flash: float = quantity("min")
    left_in_gun: float = quantity("ml")


@dataclass(frozen=True)
class Handling:
    """Table ``handling`` of ``practice.toml``."""

    turn_time: float = quantity("s per pass")
    clear_run_out: float = quantity("mm")


@dataclass(frozen=True)
class Caution:
    """One caution in words, and where it comes from."""

    words: str
    source: str


@dataclass(frozen=True)
class JobPractice:
    """What turns a plan into a job, from ``practice.toml``; edit with :func:`dataclasses.replace`."""

    base: BasePractice
    clear: ClearPractice
    handling: Handling
    cautions: dict[str, Caution]


@dataclass(frozen=True)
class CoatStep:
    """One coat of base: the size sprayed, passes, minutes, and ml ready to spray, before any further reduction."""

    number: int
    reduced: bool
    width_mm: float
    height_mm: float
    passes: int
    minutes: float
    ready_ml: float


@dataclass(frozen=True)
class Mix:
    """What to pour, in ml: (name, amount) in order."""

    parts: tuple[tuple[str, float], ...]

    @property
    def total_ml(self) -> float:
        """All parts together."""
        return sum(amount for _, amount in self.parts)


@dataclass(frozen=True)
class Moment:
    """A stretch of the timeline in minutes from the first coat, and what happens."""

    start_min: float
    end_min: float
    words: str


@dataclass(frozen=True)
class JobSteps:
    """The job in numbers; ``last_coat_reducer_ml`` is stirred into what is left for the reduced coat."""

    coats: tuple[CoatStep, ...]
    base: Mix
    last_coat_reducer_ml: float
    clear_width_mm: float
    clear_height_mm: float
    clear_passes: int
    clear_coats: int
    clear: Mix
    timeline: tuple[Moment, ...]

    @property
    def minutes(self) -> float:
        """From the first coat of base to the end of the last coat of clear."""
        return self.timeline[-1].end_min


def job_steps(plan: BlendPlan, repair: Repair, practice: BlendPractice, job: JobPractice) -> JobSteps:
    """Return coats, passes, paint and timeline for a plan.

    Film laid on the panel is area times dry film; paint to spray is that over solids by volume and transfer.
    """
    gun = practice.guns[plan.gun]
    coats = tuple(
        _coat_step(index, plan, repair, gun, job) for index in range(max(len(side.fade.coats) for side in plan.sides))
    )
    reduction = practice.fade.last_coat_reduction
    full_ml = sum(coat.ready_ml for coat in coats if not coat.reduced)
    thin_ml = sum(coat.ready_ml for coat in coats if coat.reduced) / (1.0 + reduction)
    width, height = _clear_size(plan, repair)
    sprayed = width + 2 * job.handling.clear_run_out  # strokes start and end off the panel, with the gun open
    passes, minutes = _spraying(sprayed, height, job.clear.gun, job.handling)
    count = round(job.clear.coats)
    return JobSteps(
        coats=coats,
        base=_base_mix(full_ml + thin_ml + job.base.left_in_gun, job.base),
        last_coat_reducer_ml=_rounded_ml(reduction * thin_ml),
        clear_width_mm=width,
        clear_height_mm=height,
        clear_passes=passes,
        clear_coats=count,
        clear=_clear_mix(sprayed * height * count, job.clear),
        timeline=_timeline(coats, count, minutes, job),
    )


def _coat_step(index: int, plan: BlendPlan, repair: Repair, gun: Gun, job: JobPractice) -> CoatStep:
    reach = {side.side.direction: _sprayed_mm(side, index, gun) for side in plan.sides}
    width = repair.width_mm + reach.get(Direction.LEFT, 0.0) + reach.get(Direction.RIGHT, 0.0)
    height = repair.height_mm + reach.get(Direction.UP, 0.0) + reach.get(Direction.DOWN, 0.0)
    found = [side.fade.coats[index] for side in plan.sides if index < len(side.fade.coats)]
    passes, minutes = _spraying(width, height, gun, job.handling)
    # wet paint of a reduced coat is that of a full one: the further reducer takes the place of solids
    dry_um = gun.coat_film * job.base.dry_film
    ready_ml = _ready_ml(width * height, dry_um, job.base.solids, job.base.transfer)
    reduced = all(coat.reduced for coat in found)
    return CoatStep(index + 1, reduced, width, height, passes, minutes, ready_ml)


def _sprayed_mm(side: SidePlan, index: int, gun: Gun) -> float:
    """Return how far one coat's paint goes on a side, as a strip of full film with the same mass.

    A side planned with fewer coats is counted with its last one, so that the paint is enough.
    """
    coat: Coat = side.fade.coats[min(index, len(side.fade.coats) - 1)]
    return max(0.0, coat.reach_mm + (gun.spacing_mm / 2.0 if coat.ease_mm == 0.0 else -coat.ease_mm / 2.0))


def _clear_size(plan: BlendPlan, repair: Repair) -> tuple[float, float]:
    to = {side.side.direction: side.clear.counted_mm for side in plan.sides}
    width = repair.width_mm + to.get(Direction.LEFT, 0.0) + to.get(Direction.RIGHT, 0.0)
    return width, repair.height_mm + to.get(Direction.UP, 0.0) + to.get(Direction.DOWN, 0.0)


def _spraying(width_mm: float, height_mm: float, gun: Gun, handling: Handling) -> tuple[int, float]:
    """Return the passes along the width, and the minutes, for one coat."""
    passes = int(np.ceil(height_mm / gun.spacing_mm)) + 1
    seconds = passes * (width_mm / gun.travel_speed + handling.turn_time)
    return passes, seconds / SECONDS_PER_MINUTE


def _ready_ml(area_mm2: float, dry_um: float, solids: float, transfer: float) -> float:
    """Return the paint to spray: 1 m2 at 1 um is 1 ml of dry film."""
    return area_mm2 / MM2_PER_M2 * dry_um / solids / transfer


def _base_mix(ready_ml: float, base: BasePractice) -> Mix:
    paint = _rounded_ml(ready_ml / (1.0 + base.reducer))
    return Mix((("base", paint), ("reducer", paint * base.reducer)))


def _clear_mix(area_mm2: float, clear: ClearPractice) -> Mix:
    ready = _ready_ml(area_mm2, clear.dry_film, clear.solids, clear.transfer) + clear.left_in_gun
    paint = _rounded_ml(ready / (1.0 + clear.hardener + clear.reducer))
    parts = [("clear", paint), ("hardener", paint * clear.hardener)]
    return Mix((*parts, ("reducer", paint * clear.reducer)) if clear.reducer > 0.0 else tuple(parts))


def _rounded_ml(amount_ml: float) -> float:
    return float(ROUND_ML * np.ceil(amount_ml / ROUND_ML - 1e-9))


def _timeline(
    coats: tuple[CoatStep, ...], clear_coats: int, clear_minutes: float, job: JobPractice
) -> tuple[Moment, ...]:
    spells = []
    for coat in coats:
        spells.append((np.ceil(coat.minutes), f"base coat {coat.number}{', reduced further' if coat.reduced else ''}"))
        spells.append((job.base.flash, "let it flash off until dull"))
    spells[-1] = (job.base.flash_before_clear, "let the base flash off before the clear")
    for number in range(1, clear_coats + 1):
        spells.append((np.ceil(clear_minutes), f"coat {number} of clear"))
        spells.append((job.clear.flash, "let it flash off"))
    moments, now = [], 0.0
    for minutes, words in spells[:-1]:
        moments.append(Moment(now, now + minutes, words))
        now += minutes
    return tuple(moments)
