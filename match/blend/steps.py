"""The job as one list of steps in the order of doing: what each is, where it reaches, how much, how long to wait.

Codes and numbers only; the words are made last (:mod:`match.blend.step_words`). The list is shown on the page, in the
booth and on the job sheet alike. Paint to spray is film times area over solids by volume and transfer.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from match.blend.coat_plans import BlendPractice
from match.blend.film import Coat, Gun
from match.blend.job_practice import BasePractice, ClearPractice, JobPractice
from match.blend.options import StopKind
from match.blend.paint import SOLID, CoatOrder, EffectPractice, Paint
from match.blend.plan import BlendPlan, SidePlan
from match.blend.sides import Direction, End, Repair

MM2_PER_M2 = 1e6
SECONDS_PER_MINUTE = 60.0
ROUND_ML = 5.0
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
class Mix:
    """What to pour, in whole ml as a cup is read: (name, amount) in order; ``reserve_ml`` of it is not sprayed."""

    parts: tuple[tuple[str, float], ...]
    reserve_ml: float = 0.0

    @property
    def total_ml(self) -> float:
        """All parts together."""
        return sum(amount for _, amount in self.parts)


@dataclass(frozen=True)
class Reach:
    """How far a step goes on one side, in mm from the repair's edge.

    From ``ease_from_mm`` the trigger is eased off, at ``to_mm`` it is let go; equal where the middle of a last pass
    runs along there. ``mask`` is what the colour is stopped at, None where it fades out. ``sprayed`` is False for a
    coat that stays inside the repair on this side. ``painted`` says whether what lies there has the car's colour.
    """

    side: str
    direction: Direction
    ease_from_mm: float
    to_mm: float
    mask: StopKind | None = None
    painted: bool = True
    sprayed: bool = True


@dataclass(frozen=True)
class Step:
    """One step; what does not belong to its deed is empty.

    Attributes
    ----------
    coat, coats : which coat of how many
    reduced : whether it is reduced further
    reaches : how far it goes on each side
    size_mm : width and height sprayed
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
    size_mm: tuple[float, float] = NOW
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


def job_steps(
    plan: BlendPlan, repair: Repair, practice: BlendPractice, job: JobPractice, paint: Paint = SOLID
) -> JobSteps:
    """Return the job in the order of doing.

    A side that nobody described counts for the paint as the furthest of those that are: neither colour nor clear may
    stop hard there, and two sides are not the panel.
    """
    order = paint.order(plan.needs_fade)
    silent = tuple(each for each in Direction if each not in {side.side.direction for side in plan.sides})
    colour = tuple(_colour_steps(plan, repair, practice, job, paint, order))
    clear = _clear_steps(plan, repair, job)
    steps = (
        *(Step(deed) for deed in (Deed.WASH, Deed.PROTECT, Deed.DEGREASE)),
        Step(Deed.MASK, reaches=_masked(plan)),
        Step(Deed.SCUFF, reaches=tuple(_clear_reach(side) for side in plan.sides)),
        Step(Deed.TACK),
        *colour,
        *clear,
        *(Step(deed) for deed in (Deed.CLEAN, Deed.LOOK, Deed.NIBS, Deed.RECORD)),
    )
    return JobSteps(steps, order, silent)


def _masked(plan: BlendPlan) -> tuple[Reach, ...]:
    """Return the parts kept and the lines at which colour is stopped."""
    kept = [
        Reach(
            side.side.name,
            side.side.direction,
            side.side.room_mm,
            side.side.room_mm,
            painted=side.side.car_colour_beyond,
        )
        for side in plan.sides
        if side.side.end in (End.KEPT_PART, End.OTHER_PART)
    ]
    lines = [
        Reach(side.side.name, side.side.direction, side.fades_to_mm, side.fades_to_mm, side.stop)
        for side in plan.sides
        if side.stop in (StopKind.BODY_LINE, StopKind.GAP)
    ]
    return (*kept, *lines)


def _clear_reach(side: SidePlan) -> Reach:
    return Reach(side.side.name, side.side.direction, side.clear.counted_mm, side.clear.counted_mm)


def _colour_steps(
    plan: BlendPlan,
    repair: Repair,
    practice: BlendPractice,
    job: JobPractice,
    paint: Paint,
    order: CoatOrder,
) -> Iterator[Step]:
    coats = _coats(plan, repair, practice, job, paint, order)
    effect = practice.effect
    bed = _wet_bed(plan, repair, practice, job, effect) if paint.has_flake and plan.needs_fade else None
    # a three-stage colour's ground and mid-coats are two paints
    ground = [step for step in coats if step.deed is Deed.GROUND_COAT]
    pots = [pot for pot in (ground, [step for step in coats if step.deed is not Deed.GROUND_COAT]) if pot]
    for number, pot in enumerate(pots, start=1):
        mix = _base_mix(pot, practice.fade.last_coat_reduction, job)
        yield Step(Deed.MIX_BASE, coat=number, coats=len(pots), mix=mix)
    for index, step in enumerate(coats):
        last = index == len(coats) - 1
        if step.reduced:
            yield Step(Deed.STIR, coat=step.coat, mix=_thinned(step.ready_ml, practice.fade.last_coat_reduction, job))
        if bed is not None and index == 0:  # right before the colour: it must still be wet
            yield bed
        wait = job.base.flash_before_clear if last else job.base.flash
        yield replace(step, wait_min=(wait[0], wait[-1]))


Row = tuple[Coat | None, ...]
"""One coat on each side, in the plan's order; None where a side has fewer coats and it stays inside the repair."""


def _coats(
    plan: BlendPlan, repair: Repair, practice: BlendPractice, job: JobPractice, paint: Paint, order: CoatOrder
) -> list[Step]:
    """Return the coats of colour in the order of spraying, without waits."""
    rows = _rows([[coat for coat in side.fade.coats if not coat.orientation] for side in plan.sides])
    oriented = _rows([[coat for coat in side.fade.coats if coat.orientation] for side in plan.sides])
    staged = _three_stage(rows, paint.mid_coats) if paint.mid_coats else [(Deed.BASE_COAT, row) for row in rows]
    if order is CoatOrder.OUTSIDE_IN:
        staged.reverse()
    if paint.mid_coats:
        oriented = [_as_far(row, staged[-1][1]) for row in oriented]
    staged += [(Deed.ORIENT, row) for row in oriented]
    totals = {deed: sum(each is deed for each, _ in staged) for deed in COLOUR}
    steps: list[Step] = []
    for deed, row in staged:
        number = 1 + sum(step.deed is deed for step in steps)
        step = _coat_step(row, plan, repair, practice, job, paint)
        steps.append(replace(step, deed=deed, coat=number, coats=totals[deed]))
    return steps


def _rows(by_side: list[list[Coat]]) -> list[Row]:
    most = max(len(coats) for coats in by_side)
    return [tuple(coats[index] if index < len(coats) else None for coats in by_side) for index in range(most)]


def _as_far(row: Row, furthest: Row) -> Row:
    """Return a row of coats that reach as far as another's."""
    return tuple(
        replace(each, reach_mm=far.reach_mm) if each is not None and far is not None else each
        for each, far in zip(row, furthest, strict=True)
    )


def _three_stage(rows: list[Row], mid_coats: int) -> list[tuple[Deed, Row]]:
    """Keep the ground coats as short as covering allows and stagger the mid-coats evenly beyond, to the fade's own end.

    Common practice for the order; how wide the fade must be is reckoned as for one paint.
    """
    by_side = [[coat for coat in coats if coat is not None] for coats in zip(*rows, strict=True)]
    short = [replace(min(coats, key=lambda coat: coat.reach_mm), reduced=False) for coats in by_side]
    furthest = [max(coat.reach_mm for coat in coats) for coats in by_side]
    grounds = sum(not any(coat is not None and coat.reduced for coat in row) for row in rows)
    staged: list[tuple[Deed, Row]] = [(Deed.GROUND_COAT, tuple(short))] * grounds
    for number in range(1, mid_coats + 1):
        row = [
            replace(coat, reach_mm=coat.reach_mm + number * (far - coat.reach_mm) / mid_coats)
            for coat, far in zip(short, furthest, strict=True)
        ]
        staged.append((Deed.MID_COAT, tuple(row)))
    return staged


def _coat_step(
    row: Row, plan: BlendPlan, repair: Repair, practice: BlendPractice, job: JobPractice, paint: Paint
) -> Step:
    gun, effect = practice.guns[plan.gun], practice.effect
    coats = [coat for coat in row if coat is not None]
    orientation = coats[0].orientation
    strips = {
        side.side.direction: _strip_mm(coat or side.fade.coats[-1], gun)
        for side, coat in zip(plan.sides, row, strict=True)
    }
    width, height = repair.grown_mm(_everywhere(strips))
    overlap = (effect.overlap[0], effect.overlap[-1]) if paint.has_flake else (gun.overlap, gun.overlap)
    passes, minutes = _spraying(width, height, _overlapping(gun, overlap[0]), job.handling.turn_time)
    # wet paint of a reduced coat is that of a full one: the further reducer takes the place of solids
    film = effect.orientation_film if orientation else gun.coat_film
    return Step(
        Deed.BASE_COAT,
        reduced=all(coat.reduced for coat in coats),
        reaches=tuple(_reach(side, coat) for side, coat in zip(plan.sides, row, strict=True)),
        size_mm=(width, height),
        gun=gun,
        overlap=overlap,
        distance=_ends(effect.orientation_distance) if orientation else (1.0, 1.0),
        pressure=_ends(effect.orientation_pressure) if orientation else (1.0, 1.0),
        passes=passes,
        minutes=minutes,
        ready_ml=_ready_ml(width * height, film * job.base.dry_film, job.base),
    )


def _reach(side: SidePlan, coat: Coat | None) -> Reach:
    """Return how far a coat goes on a side, never past the place where its colour must end."""
    name, direction = side.side.name, side.side.direction
    if coat is None:
        return Reach(name, direction, 0.0, 0.0, sprayed=False)
    to = min(coat.reach_mm, _furthest_mm(side))
    mask = side.stop if side.stop is not None and coat.reach_mm >= side.fades_to_mm else None
    eased = coat.ease_mm > 0.0 and mask is None
    return Reach(name, direction, min(coat.reach_mm - coat.ease_mm, to) if eased else to, to, mask)


def _furthest_mm(side: SidePlan) -> float:
    if side.stop is not None:
        return side.fades_to_mm
    return side.side.room_mm + (side.side.next_panel.room_mm if side.side.next_panel and side.onto_next_mm else 0.0)


def _strip_mm(coat: Coat, gun: Gun) -> float:
    """Return how far one coat's paint goes on a side, as a strip of full film with the same mass."""
    return max(0.0, coat.reach_mm + (gun.spacing_mm / 2.0 if coat.ease_mm == 0.0 else -coat.ease_mm / 2.0))


def _everywhere(reach_mm: dict[Direction, float]) -> dict[Direction, float]:
    """Return the reach on every side: one that nobody described counts as the furthest of the others."""
    furthest = max(reach_mm.values())
    return {direction: reach_mm.get(direction, furthest) for direction in Direction}


def _wet_bed(
    plan: BlendPlan, repair: Repair, practice: BlendPractice, job: JobPractice, effect: EffectPractice
) -> Step | None:
    """Return the clear blender laid over each fade and a little beyond, before any colour; None where nothing fades."""
    gun = practice.guns[plan.gun]
    reaches = tuple(
        Reach(
            side.side.name,
            side.side.direction,
            side.covers_to_mm,
            min(side.fades_to_mm + effect.wet_bed_beyond, _furthest_mm(side)),
        )
        for side in plan.sides
        if side.covers_to_mm < side.fades_to_mm
    )
    if not reaches:
        return None
    outer = repair.grown_mm(_everywhere({each.direction: each.to_mm for each in reaches}))
    inner = repair.grown_mm2(_everywhere({each.direction: each.ease_from_mm for each in reaches}))
    passes, minutes = _spraying(*outer, gun, job.handling.turn_time)
    wet = _ready_ml(outer[0] * outer[1] - inner, effect.wet_bed_film * job.base.dry_film, job.base)
    return Step(
        Deed.WET_BED, reaches=reaches, size_mm=outer, gun=gun, passes=passes, minutes=minutes, ready_ml=max(0.0, wet)
    )


def _clear_steps(plan: BlendPlan, repair: Repair, job: JobPractice) -> list[Step]:
    reaches = tuple(_clear_reach(side) for side in plan.sides)
    width, height = repair.grown_mm(_everywhere({each.direction: each.to_mm for each in reaches}))
    count, gun, run_out = round(job.clear.coats), job.clear.gun, job.handling.clear_run_out
    passes, minutes = _spraying(width + 2.0 * run_out, height, gun, job.handling.turn_time)
    # strokes start and end off the panel: that paint lands on the masking and is counted too
    one = _ready_ml((width + 2.0 * run_out) * height, job.clear.dry_film, job.clear)
    coats = [
        Step(
            Deed.CLEAR_COAT,
            coat=number,
            coats=count,
            reaches=reaches,
            size_mm=(width, height),
            gun=gun,
            overlap=(gun.overlap, gun.overlap),
            passes=passes,
            minutes=minutes,
            ready_ml=one,
            wait_min=_ends(job.clear.flash),
        )
        for number in range(1, count + 1)
    ]
    parts = {"clear": 1.0, "hardener": job.clear.hardener, "reducer": job.clear.reducer}
    return [Step(Deed.MIX_CLEAR, mix=_mixed(parts, one * count, job.clear.left_in_gun, job.handling.reserve)), *coats]


def _base_mix(coats: list[Step], reduction: float, job: JobPractice) -> Mix:
    """Return the mix of colour: what every coat takes of it, before any further reduction, and a reserve."""
    sprayed = sum(step.ready_ml / (1.0 + reduction if step.reduced else 1.0) for step in coats)
    parts = {"base": 1.0, "reducer": job.base.reducer}
    return _mixed(parts, sprayed, job.base.left_in_gun, job.handling.reserve)


def _mixed(parts: dict[str, float], sprayed_ml: float, left_in_gun_ml: float, reserve: float) -> Mix:
    """Return parts for what is sprayed and the reserve; rounding up to what a cup is read to goes to the reserve."""
    whole = sum(parts.values())
    wanted = sprayed_ml * (1.0 + reserve) + left_in_gun_ml
    first = float(ROUND_ML * np.ceil(wanted / whole / ROUND_ML - 1e-9))
    poured = tuple((name, float(np.ceil(first * part - 1e-9))) for name, part in parts.items() if part > 0.0)
    return Mix(poured, sum(amount for _, amount in poured) - sprayed_ml)


def _thinned(sprayed_ml: float, reduction: float, job: JobPractice) -> Mix:
    """Return what is reduced further for one coat, with what stays in cup and gun: a gun cannot be sprayed empty."""
    paint = float(np.floor(sprayed_ml / (1.0 + reduction) + job.base.left_in_gun + 1e-9))
    reducer = float(np.round(paint * reduction))
    return Mix((("paint", paint), ("reducer", reducer)), paint + reducer - sprayed_ml)


def _overlapping(gun: Gun, overlap: float) -> Gun:
    return replace(gun, overlap=overlap)


def _spraying(width_mm: float, height_mm: float, gun: Gun, turn_time: float) -> tuple[int, float]:
    """Return the passes along the width, and the minutes, for one coat."""
    passes = int(np.ceil(height_mm / gun.spacing_mm)) + 1
    return passes, passes * (width_mm / gun.travel_speed + turn_time) / SECONDS_PER_MINUTE


def _ready_ml(area_mm2: float, dry_um: float, paint: BasePractice | ClearPractice) -> float:
    """Return the paint to spray: 1 m2 at 1 um is 1 ml of dry film."""
    return area_mm2 / MM2_PER_M2 * dry_um / paint.solids / paint.transfer


def _ends(values: tuple[float, ...]) -> tuple[float, float]:
    return values[0], values[-1]
