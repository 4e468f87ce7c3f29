"""The plan for each side of a repair: covers to, fades from and to, onto the next panel by, clear to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from match.blend.clear import Clear, clear_of
from match.blend.coat_plans import BlendPractice, FadeLibrary, coats_in_all, fade_library
from match.blend.film import Coat, hiding_exponent
from match.blend.need import Need, Range, blend_need, faded_difference, interval, largest_difference
from match.blend.options import (
    Means,
    Option,
    StopKind,
    Way,
    best_option,
    hidden_without_fade,
    largest_without_fade,
    side_options,
)
from match.blend.paint import LEAST_STAGGER, SOLID, Paint
from match.blend.sides import Repair, Side, check_repair
from match.blend.undercoat import coats_over
from match.blend.viewing import ColourPair, Viewing, Vision
from match.colorimetry import xyz_from_lab
from match.errors import PlanError

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

EVEN_ODDS = 0.5
"""Below this a plan is more likely to show than to hide, and is called too little room."""


@dataclass(frozen=True)
class Fade:
    """The fade that the coats really leave on one side.

    ``x_mm`` (m,) runs from the repair outwards; ``new_share`` (m,) is the share of the new colour that shows, 0 beyond
    a stop; ``straight_mm`` is the width of the straight fade that is as steep as its steepest place.
    """

    x_mm: Array
    new_share: Array
    straight_mm: float
    coats: tuple[Coat, ...]


@dataclass(frozen=True)
class SidePlan:
    """What to do on one side; lengths in mm from the repair's covered edge.

    Attributes
    ----------
    way : how the colour is ended
    covers_to_mm : the new colour is full up to here
    fades_to_mm : the new colour is down to a trace, or is stopped, here
    onto_next_mm : how much of that lies on the next panel
    stop : what the colour stops at, None where it fades out before
    left_delta_e00 : CIEDE2000 left as a step at that stop
    objecting : share of viewers who would object to what is left there or to what the fade looks like, on the average
        over the samples
    hides (n,), hides_probability : whether each sample is hidden, and the share that is
    largest_delta_e00 : the largest CIEDE2000, in the measured direction, that this side's room hides; may be infinite
    largest_without_fade : the same where the colour is stopped with no fade
    """

    side: Side
    way: Way
    covers_to_mm: float
    fades_to_mm: float
    onto_next_mm: float
    stop: StopKind | None
    left_delta_e00: float
    objecting: float
    fade: Fade
    clear: Clear
    hides: Flags
    hides_probability: float
    largest_delta_e00: float
    largest_without_fade: float


@dataclass(frozen=True)
class BlendPlan:
    """The whole plan and its sureness.

    Attributes
    ----------
    need : what the eye asks for
    straight_mm : the straight fade needed, median and 95 % interval; 0 none, infinite never
    reach_mm : how far from the repair the paint must reach to leave such a fade with the best set-up, likewise
    sides : one plan a side
    hides (n,), hides_probability : whether every side hides the sample, and how likely that is
    hides_without_fade (n,) : whether every side could end with no fade at all
    largest_delta_e00 : the largest CIEDE2000 in the measured direction that the tightest side hides; may be infinite
    coats_to_cover : coats of the full set-up that hide the primer
    gun : the set-up all sides are sprayed with
    spread : by how much every fade is planned wider than a solid's, since flake shows more
    """

    need: Need
    straight_mm: Range
    reach_mm: Range
    sides: tuple[SidePlan, ...]
    hides: Flags
    hides_probability: float
    hides_without_fade: Flags
    largest_delta_e00: float
    coats_to_cover: float
    gun: str
    spread: float = 1.0

    @property
    def delta_e00(self) -> float:
        """CIEDE2000 between card and vehicle as it was read, the worst of the angles."""
        return self.need.read

    @property
    def tightest(self) -> SidePlan:
        """The side that hides the least."""
        return min(self.sides, key=lambda side: (side.largest_delta_e00, side.hides_probability))

    @property
    def strictest(self) -> SidePlan:
        """The side where the least may be left without a fade."""
        return min(self.sides, key=lambda side: side.largest_without_fade)

    @property
    def needs_fade(self) -> bool:
        """Whether any side is planned with a fade."""
        return any(side.way not in (Way.EDGE_HIDDEN, Way.STOP, Way.EDGE_TO_EDGE) for side in self.sides)


@dataclass(frozen=True)
class _Seen:
    """The colours to plan for, and who looks at them how."""

    pairs: Sequence[ColourPair]
    viewing: Viewing
    vision: Vision

    def objecting(self, straight_mm: float, left_delta_e00: Array) -> float:
        """Return the share of viewers who object to a fade of this straight width and to a step left (n,) at a stop."""
        faded = np.zeros_like(left_delta_e00)
        if np.isfinite(straight_mm):
            faded = faded_difference(self.pairs, straight_mm, self.viewing, self.vision)
        return float(self.viewing.viewers.objecting(np.maximum(faded, left_delta_e00)).mean())


def plan_blend(
    pairs: Sequence[ColourPair],
    repair: Repair,
    viewing: Viewing,
    vision: Vision,
    practice: BlendPractice,
    coats_to_cover: float | None = None,
    paint: Paint = SOLID,
) -> BlendPlan:
    """Plan every side of a repair.

    Parameters
    ----------
    pairs : card and vehicle colours, one pair an angle or light; the widest need wins
    repair : covered strip and the room on each side
    viewing : light, distances, strictness
    vision, practice : calibration
    coats_to_cover : coats until the primer no longer shows; None takes what the colour's class takes over its undercoat
    paint : its kind; flake is laid evenly by a light last coat, and light flake needs a wider fade

    Raises
    ------
    PlanError : for sizes or settings that cannot be
    """
    check_repair(repair)
    need = blend_need(pairs, viewing, vision)
    coats = coats_to_cover
    if coats is None:
        coats = coats_over(pairs[0].middle[0], paint.undercoat, practice.cover, practice.hiding)
    if not 1.0 <= coats <= 6.0:
        raise PlanError(f"{coats:g} coats to cover cannot be planned: give 1 to 6, usually 2 or 3")
    largest = largest_difference(pairs, viewing, vision)
    exponent = float(hiding_exponent(xyz_from_lab(pairs[0].middle[0])[1], practice.hiding))
    spread = paint.spread(float(pairs[0].middle[0][0]), practice.effect)
    light = practice.effect.orientation_film if paint.has_flake else 0.0
    staggered = paint.mid_coats * practice.fade.hand_width * LEAST_STAGGER
    libraries = {
        name: _spread(fade_library(exponent, coats, gun, practice.hiding, practice.fade, light, staggered), spread)
        for name, gun in practice.guns.items()
    }
    plans = []
    for name, library in libraries.items():
        scales = largest.scale_at(library.straight_mm)
        means = Means(need, largest, name, library, scales, practice, viewing.allowed, light)
        plans.append(_plan_with_gun(repair, means, coats, _Seen(pairs, viewing, vision)))
    best = max(plans, key=lambda plan: _merit(plan, repair, practice.fade.sureness))
    reach = np.min([library.least_reach_mm(need.straight_mm) for library in libraries.values()], axis=0)
    # a closer card would be planned again, with whichever gun then hides the most
    sides = tuple(
        replace(side, largest_delta_e00=max(plan.sides[index].largest_delta_e00 for plan in plans))
        for index, side in enumerate(best.sides)
    )
    largest_delta_e00 = max(plan.largest_delta_e00 for plan in plans)
    return replace(best, reach_mm=interval(reach), sides=sides, largest_delta_e00=largest_delta_e00, spread=spread)


def _spread(library: FadeLibrary, factor: float) -> FadeLibrary:
    """Return the library with every fade worth less by a factor: flake asks for that much more width."""
    return library if factor == 1.0 else replace(library, straight_mm=library.straight_mm / factor)


def _plan_with_gun(repair: Repair, means: Means, coats_to_cover: float, seen: _Seen) -> BlendPlan:
    options = [side_options(side, repair.depth_mm(side.direction) / 2.0, means) for side in repair.sides]
    sides = tuple(
        _side_plan(side, tried, means, coats_to_cover, seen) for side, tried in zip(repair.sides, options, strict=True)
    )
    hides = np.all([side.hides for side in sides], axis=0)
    return BlendPlan(
        need=means.need,
        straight_mm=interval(means.need.straight_mm),
        reach_mm=interval(means.library.least_reach_mm(means.need.straight_mm)),
        sides=sides,
        hides=hides,
        hides_probability=float(hides.mean()),
        hides_without_fade=np.all([hidden_without_fade(tried) for tried in options], axis=0),
        largest_delta_e00=min(side.largest_delta_e00 for side in sides),
        coats_to_cover=coats_to_cover,
        gun=means.gun,
    )


def painted_mm2(plan: BlendPlan, repair: Repair) -> float:
    """Return the area that the colour reaches; a side that nobody described adds nothing."""
    reach = {side.side.direction: side.fades_to_mm for side in plan.sides}
    return repair.grown_mm2(reach)


def _merit(plan: BlendPlan, repair: Repair, sureness: float) -> tuple[float, float]:
    """Rank one gun's plan: first the surest, as far as that is asked for, then least painted or most hidden."""
    if plan.hides_probability >= sureness:
        return sureness, -painted_mm2(plan, repair)
    return round(plan.hides_probability, 2), plan.largest_delta_e00


def _side_plan(side: Side, options: tuple[Option, ...], means: Means, coats_to_cover: float, seen: _Seen) -> SidePlan:
    too_far = bool(np.median(means.need.delta_e00) > means.allowed.largest_fade)
    option = best_option(options, means.practice.fade.sureness, too_far)
    fade = _hard_edge(option, means, coats_to_cover) if option.plan is None else _achieved(option, means.library)
    ends_at = option.ends_at_mm
    stopped = option.reach_mm >= option.stop.at_mm
    left = float(fade.new_share[-1]) if stopped else 0.0
    step = 0.0 if option.stop.kind is StopKind.NOTHING_BEYOND else left
    straight = np.inf if option.plan is None else fade.straight_mm
    full = fade.x_mm[fade.new_share >= means.library.full_share]
    return SidePlan(
        side=side,
        way=option.way if option.probability >= EVEN_ODDS else _shortfall(side, means),
        covers_to_mm=float(full[-1]) if len(full) else 0.0,
        fades_to_mm=ends_at,
        onto_next_mm=max(0.0, ends_at - side.room_mm) if option.stretch.onto_next else 0.0,
        stop=option.stop.kind if stopped else None,
        left_delta_e00=float(left * np.median(means.need.delta_e00)),
        objecting=seen.objecting(straight, step * means.need.delta_e00),
        fade=fade,
        clear=clear_of(side, ends_at, option.stretch.onto_next),
        hides=option.hides,
        hides_probability=option.probability,
        largest_delta_e00=means.largest.delta_e00_at(max(tried.scale for tried in options)),
        largest_without_fade=largest_without_fade(options, means),
    )


def _shortfall(side: Side, means: Means) -> Way:
    """Say what a side that does not hide the difference lacks: a closer colour, wider coats, or room."""
    if np.median(means.need.delta_e00) > means.allowed.largest_fade:
        return Way.TOO_FAR_APART
    widths = means.library.straight_mm[:, -1]
    widest = int(np.argmax(widths))
    room = side.room_mm + (side.next_panel.room_mm if side.next_panel else 0.0)
    if widths[widest] < np.median(means.need.straight_mm) and means.library.fade_end_mm[widest] <= room:
        return Way.COATS_END
    return Way.TOO_LITTLE_ROOM


def _achieved(option: Option, library: FadeLibrary) -> Fade:
    assert option.plan is not None
    last = library.place(option.reach_mm - option.shift_mm)
    origin = option.stretch.origin_mm + option.shift_mm
    before = np.arange(0.0, origin, library.x_mm[1])
    # nearer the repair the film is at least as thick; a jump to the whole would draw an edge that nobody sprays
    inside = np.full_like(before, library.new_share[option.plan, 0])
    return Fade(
        x_mm=np.concatenate([before, origin + library.x_mm[: last + 1]]),
        new_share=np.concatenate([inside, library.new_share[option.plan, : last + 1]]),
        straight_mm=float(library.straight_mm[option.plan, last]),
        coats=tuple(replace(coat, reach_mm=origin + coat.reach_mm) for coat in library.coats[option.plan]),
    )


def _hard_edge(option: Option, means: Means, coats_to_cover: float) -> Fade:
    """All coats run at full film over the masked line; the colour stops there as a step."""
    gun = means.practice.guns[means.gun]
    beyond_mm = option.reach_mm + gun.fan_width / 2.0
    coats = (Coat(beyond_mm, 0.0, gun.coat_film),) * coats_in_all(coats_to_cover, gun)
    if means.orientation_film > 0.0:
        coats = (*coats, Coat(beyond_mm, 0.0, means.orientation_film, orientation=True))
    x = np.unique(np.append(means.library.x_mm[means.library.x_mm < option.reach_mm], option.reach_mm))
    return Fade(x, np.ones_like(x), 0.0, coats)
