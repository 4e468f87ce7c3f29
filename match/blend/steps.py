"""The job as one list of steps in the order of doing, shown on the page, in the booth and on the job sheet alike."""

from match.blend.amounts import clear_mix, ready_ml, spraying
from match.blend.areas import joined
from match.blend.clear import ClearEnd
from match.blend.coat_plans import BlendPractice
from match.blend.colour_steps import colour_steps
from match.blend.job_practice import JobPractice
from match.blend.options import StopKind
from match.blend.paint import SOLID, Paint
from match.blend.plan import BlendPlan
from match.blend.sides import Direction, End, on_every_side
from match.blend.step import Deed, JobSteps, Reach, Step


def job_steps(plan: BlendPlan, practice: BlendPractice, job: JobPractice, paint: Paint = SOLID) -> JobSteps:
    """Return the job in the order of doing.

    A side that nobody described counts for the paint as the furthest of those that are: neither colour nor clear may
    stop hard there, and two sides are not the panel.
    """
    order = paint.order(plan.needs_fade)
    silent = tuple(each for each in Direction if each not in {side.side.direction for side in plan.sides})
    steps = (
        *(Step(deed) for deed in (Deed.WASH, Deed.PROTECT, Deed.DEGREASE)),
        Step(Deed.MASK, reaches=_masked(plan)),
        Step(Deed.SCUFF, reaches=_cleared(plan)),
        Step(Deed.TACK),
        *colour_steps(plan, practice, job, paint, order),
        *_clear_steps(plan, job),
        *(Step(deed) for deed in (Deed.CLEAN, Deed.LOOK, Deed.NIBS, Deed.RECORD)),
    )
    return JobSteps(steps, order, silent)


def _masked(plan: BlendPlan) -> tuple[Reach, ...]:
    """Return the parts kept, each once and from the repair nearest to it, and the lines at which colour is stopped."""
    kept = {}
    for side in sorted((each.side for each in plan.sides), key=lambda side: side.room_mm):
        if side.end in (End.KEPT_PART, End.OTHER_PART) and side.direction not in kept:
            room = side.room_mm
            kept[side.direction] = Reach(side.where, side.direction, room, room, painted=side.car_colour_beyond)
    lines = [
        Reach(side.side.where, side.side.direction, at, at, side.stop, repair=side.side.repair)
        for side, at in ((each, each.fades_to_mm) for each in plan.sides)
        if side.stop in (StopKind.BODY_LINE, StopKind.GAP)
    ]
    return (*(kept[direction] for direction in Direction if direction in kept), *lines)


def _cleared(plan: BlendPlan) -> tuple[Reach, ...]:
    """Return how far the clear goes: one area over all repairs, on each side from the one nearest to it."""
    whole = joined([area.repair for area in plan.areas])
    furthest: dict[Direction, Reach] = {}
    for area in plan.areas:
        for side in area.sides:
            direction = side.side.direction
            to = area.repair.edge_mm(direction) + side.clear.counted_mm - whole.edge_mm(direction)
            if direction not in furthest or to > furthest[direction].to_mm:
                furthest[direction] = Reach(side.side.where, direction, to, to)
    return tuple(furthest.values())


def _clear_steps(plan: BlendPlan, job: JobPractice) -> list[Step]:
    reaches = _cleared(plan)
    whole = joined([area.repair for area in plan.areas])
    width, height = whole.grown_mm(on_every_side({each.direction: each.to_mm for each in reaches}))
    area = width * height
    if whole.panel and all(side.clear.ends is ClearEnd.PANEL for side in plan.sides):
        width, height, area = whole.panel.width_mm, whole.panel.height_mm, whole.panel.area_mm2
    count, gun = round(job.clear.coats), job.clear.gun
    # strokes start and end off the panel: that paint lands on the masking and is counted too
    run_out = 2.0 * job.handling.clear_run_out
    passes, minutes = spraying([(width + run_out, height)], gun, job.handling.turn_time)
    one = ready_ml(area + run_out * height, job.clear.dry_film, job.clear)
    coats = [
        Step(
            Deed.CLEAR_COAT,
            coat=number,
            coats=count,
            reaches=reaches,
            sizes_mm=((width, height),),
            gun=gun,
            overlap=(gun.overlap, gun.overlap),
            passes=passes,
            minutes=minutes,
            ready_ml=one,
            wait_min=(job.clear.flash[0], job.clear.flash[-1]),
        )
        for number in range(1, count + 1)
    ]
    return [Step(Deed.MIX_CLEAR, mix=clear_mix(one * count, job)), *coats]
