"""The coats of colour in the order of spraying: how far each goes on every side, and what is mixed for them."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import islice

from match.blend.amounts import Mix, base_mix, ready_ml, spraying, thinned
from match.blend.coat_plans import BlendPractice
from match.blend.film import Coat, Gun
from match.blend.job_practice import JobPractice
from match.blend.paint import CoatOrder, Paint
from match.blend.plan import AreaPlan, BlendPlan
from match.blend.side_plan import SidePlan
from match.blend.sides import on_every_side
from match.blend.step import COLOUR, Deed, Reach, Step


def colour_steps(
    plan: BlendPlan, practice: BlendPractice, job: JobPractice, paint: Paint, order: CoatOrder
) -> Iterator[Step]:
    """Yield the steps from mixing the colour to its last coat, each with what to stir in before it and its wait."""
    coats, reduction = _coats(plan, practice, job, paint, order), practice.fade.last_coat_reduction
    bed = _wet_bed(plan, practice, job) if paint.has_flake and plan.needs_fade else None
    # a three-stage colour's ground and mid-coats are two paints
    ground = [step for step in coats if step.deed is Deed.GROUND_COAT]
    pots = [pot for pot in (ground, [step for step in coats if step.deed is not Deed.GROUND_COAT]) if pot]
    for number, pot in enumerate(pots, start=1):
        yield Step(Deed.MIX_BASE, coat=number, coats=len(pots), mix=_pot_mix(pot, reduction, job))
    for index, step in enumerate(coats):
        last = index == len(coats) - 1
        if step.reduced:
            yield Step(Deed.STIR, coat=step.coat, mix=thinned(step.ready_ml, reduction, job))
        if bed is not None and index == 0:  # right before the colour: it must still be wet
            yield bed
        wait = job.base.flash_before_clear if last else job.base.flash
        yield replace(step, wait_min=(wait[0], wait[-1]))


def _pot_mix(coats: list[Step], reduction: float, job: JobPractice) -> Mix:
    return base_mix(sum(step.ready_ml / (1.0 + reduction if step.reduced else 1.0) for step in coats), job)


Row = tuple[Coat | None, ...]
"""One coat on each side of every area, in the plan's order; None where a side has fewer coats: it stays inside."""


def _coats(plan: BlendPlan, practice: BlendPractice, job: JobPractice, paint: Paint, order: CoatOrder) -> list[Step]:
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
        step = _coat_step(row, plan, practice, job, paint)
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


def _coat_step(row: Row, plan: BlendPlan, practice: BlendPractice, job: JobPractice, paint: Paint) -> Step:
    gun, effect = practice.guns[plan.gun], practice.effect
    coats = [coat for coat in row if coat is not None]
    orientation = coats[0].orientation
    cells = iter(row)
    sizes = tuple(_sprayed_mm(area, tuple(islice(cells, len(area.sides))), gun) for area in plan.areas)
    overlap = (effect.overlap[0], effect.overlap[-1]) if paint.has_flake else (gun.overlap, gun.overlap)
    passes, minutes = spraying(sizes, replace(gun, overlap=overlap[0]), job.handling.turn_time)
    # wet paint of a reduced coat is that of a full one: the further reducer takes the place of solids
    film = effect.orientation_film if orientation else gun.coat_film
    return Step(
        Deed.BASE_COAT,
        reduced=all(coat.reduced for coat in coats),
        reaches=tuple(_reach(side, coat) for side, coat in zip(plan.sides, row, strict=True)),
        sizes_mm=sizes,
        gun=gun,
        overlap=overlap,
        distance=_ends(effect.orientation_distance) if orientation else (1.0, 1.0),
        pressure=_ends(effect.orientation_pressure) if orientation else (1.0, 1.0),
        passes=passes,
        minutes=minutes,
        ready_ml=ready_ml(sum(width * height for width, height in sizes), film * job.base.dry_film, job.base),
    )


def _sprayed_mm(area: AreaPlan, row: Row, gun: Gun) -> tuple[float, float]:
    """Return width and height of one coat on one area, as full film with the same mass."""
    strips = {
        side.side.direction: _strip_mm(coat or side.fade.coats[-1], gun)
        for side, coat in zip(area.sides, row, strict=True)
    }
    return area.repair.grown_mm(on_every_side(strips))


def _reach(side: SidePlan, coat: Coat | None) -> Reach:
    """Return how far a coat goes on a side, never past the place where its colour must end."""
    name, direction, repair = side.side.where, side.side.direction, side.side.repair
    if coat is None:
        return Reach(name, direction, 0.0, 0.0, sprayed=False, repair=repair)
    to = min(coat.reach_mm, _furthest_mm(side))
    mask = side.stop if side.stop is not None and coat.reach_mm >= side.fades_to_mm else None
    eased = coat.ease_mm > 0.0 and mask is None
    return Reach(name, direction, min(coat.reach_mm - coat.ease_mm, to) if eased else to, to, mask, repair=repair)


def _furthest_mm(side: SidePlan) -> float:
    if side.stop is not None:
        return side.fades_to_mm
    return side.side.room_mm + (side.side.next_panel.room_mm if side.side.next_panel and side.onto_next_mm else 0.0)


def _strip_mm(coat: Coat, gun: Gun) -> float:
    """Return how far one coat's paint goes on a side, as a strip of full film with the same mass."""
    return max(0.0, coat.reach_mm + (gun.spacing_mm / 2.0 if coat.ease_mm == 0.0 else -coat.ease_mm / 2.0))


def _wet_bed(plan: BlendPlan, practice: BlendPractice, job: JobPractice) -> Step | None:
    """Return the clear blender laid over each fade and a little beyond, before any colour; None where nothing fades."""
    gun, effect = practice.guns[plan.gun], practice.effect
    beds = [
        (area, [_bed_on(side, effect.wet_bed_beyond) for side in area.sides])
        for area in plan.areas
        if any(side.covers_to_mm < side.fades_to_mm for side in area.sides)
    ]
    if not beds:
        return None
    outer = tuple(
        area.repair.grown_mm(on_every_side({each.direction: each.to_mm for each in reaches})) for area, reaches in beds
    )
    inner = sum(
        area.repair.grown_mm2(on_every_side({each.direction: each.ease_from_mm for each in reaches}))
        for area, reaches in beds
    )
    passes, minutes = spraying(outer, gun, job.handling.turn_time)
    wetted = sum(width * height for width, height in outer) - inner
    return Step(
        Deed.WET_BED,
        reaches=tuple(each for _, reaches in beds for each in reaches if each.ease_from_mm < each.to_mm),
        sizes_mm=outer,
        gun=gun,
        passes=passes,
        minutes=minutes,
        ready_ml=max(0.0, ready_ml(wetted, effect.wet_bed_film * job.base.dry_film, job.base)),
    )


def _bed_on(side: SidePlan, beyond_mm: float) -> Reach:
    """Return where the bed lies on a side; where nothing fades it has no width."""
    to = side.fades_to_mm
    if side.covers_to_mm < to:
        to = min(to + beyond_mm, _furthest_mm(side))
    begin = min(side.covers_to_mm, to) if side.covers_to_mm < side.fades_to_mm else to
    return Reach(side.side.where, side.side.direction, begin, to, repair=side.side.repair)


def _ends(values: tuple[float, ...]) -> tuple[float, float]:
    return values[0], values[-1]
