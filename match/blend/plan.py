"""The plan for each side of each repair: covers to, fades from and to, onto the next panel by, clear to."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from match.blend.areas import Box, joined, meeting
from match.blend.coat_plans import BlendPractice, FadeLibrary, fade_library
from match.blend.film import hiding_exponent
from match.blend.need import Need, Range, blend_need, interval, largest_difference
from match.blend.options import Means, Way, hidden_without_fade, side_options
from match.blend.paint import LEAST_STAGGER, SOLID, Paint
from match.blend.side_plan import Seen, SidePlan, side_plan
from match.blend.sides import Repair, check_repairs
from match.blend.undercoat import coats_over
from match.blend.viewing import ColourPair, Viewing, Vision
from match.colorimetry import xyz_from_lab
from match.errors import PlanError

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class AreaPlan:
    """What is covered as one, a repair or several joined, and what to do on each of its sides."""

    repair: Repair
    sides: tuple[SidePlan, ...]

    @property
    def reached(self) -> Box:
        """How far the colour goes: left, top, right and bottom in mm from the panel's upper left corner."""
        reach = {side.side.direction: side.fades_to_mm for side in self.sides}
        return self.repair.grown_box_mm(reach)

    @property
    def painted_mm2(self) -> float:
        """The area that the colour reaches; a side that nobody described adds nothing."""
        left, top, right, bottom = self.reached
        return (right - left) * (bottom - top)


@dataclass(frozen=True)
class BlendPlan:
    """The whole plan and its sureness.

    Attributes
    ----------
    need : what the eye asks for
    straight_mm : the straight fade needed, median and 95 % interval; 0 none, infinite never
    reach_mm : how far from the repair the paint must reach to leave such a fade with the best set-up, likewise
    areas : what is covered as one, with one plan a side; their colours do not meet
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
    areas: tuple[AreaPlan, ...]
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
    def sides(self) -> tuple[SidePlan, ...]:
        """The sides of all areas, area by area."""
        return tuple(side for area in self.areas for side in area.sides)

    @property
    def painted_mm2(self) -> float:
        """The area that the colour reaches."""
        return sum(area.painted_mm2 for area in self.areas)

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


def plan_blend(
    pairs: Sequence[ColourPair],
    repairs: Sequence[Repair],
    viewing: Viewing,
    vision: Vision,
    practice: BlendPractice,
    coats_to_cover: float | None = None,
    paint: Paint = SOLID,
) -> BlendPlan:
    """Plan every side of every repair on a panel, all with one set-up of the gun.

    Repairs whose fades would meet are covered as one area, since a fade between them has no room.

    Raises :class:`PlanError` for sizes or settings that cannot be.

    Parameters
    ----------
    pairs : card and vehicle colours, one pair an angle or light; the widest need wins
    repairs : what must be covered, each with its room on every side
    viewing : light, distances, strictness
    vision, practice : calibration
    coats_to_cover : coats until the primer no longer shows; None takes what the colour's class takes over its undercoat
    paint : its kind; flake is laid evenly by a light last coat, and light flake needs a wider fade
    """
    check_repairs(repairs)
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
    furthest = max(side.whole_room_mm for repair in repairs for side in repair.sides)
    plans = []
    for name, library in libraries.items():
        scales = largest.scale_at(library.straight_mm[:, : library.place(furthest) + 1])
        means = Means(need, largest, name, library, scales, practice, viewing.allowed, light)
        plans.append(_plan_with_gun(repairs, means, coats, Seen(pairs, viewing, vision)))
    best = max(plans, key=lambda plan: _merit(plan, practice.fade.sureness))
    reach = np.min([library.least_reach_mm(need.straight_mm) for library in libraries.values()], axis=0)
    areas = _named(tuple(_with_any_gun(area, plans) for area in best.areas))
    largest_delta_e00 = max(plan.largest_delta_e00 for plan in plans)
    return replace(best, reach_mm=interval(reach), areas=areas, largest_delta_e00=largest_delta_e00, spread=spread)


def _with_any_gun(area: AreaPlan, plans: Sequence[BlendPlan]) -> AreaPlan:
    """Let each side hide what the best gun hides there: a closer card would be planned again, with that one."""
    same = [other for plan in plans for other in plan.areas if other.repair == area.repair]
    largest = [max(each.largest_delta_e00 for each in sides) for sides in zip(*(o.sides for o in same), strict=True)]
    sides = tuple(replace(side, largest_delta_e00=most) for side, most in zip(area.sides, largest, strict=True))
    return replace(area, sides=sides)


def _named(areas: tuple[AreaPlan, ...]) -> tuple[AreaPlan, ...]:
    """Return the areas with the names of their repairs in their sides, where there is more than one."""
    if len(areas) == 1:
        return areas
    return tuple(
        replace(
            area,
            sides=tuple(replace(side, side=replace(side.side, repair=area.repair.numbered)) for side in area.sides),
        )
        for area in areas
    )


def _spread(library: FadeLibrary, factor: float) -> FadeLibrary:
    """Return the library with every fade worth less by a factor: flake asks for that much more width."""
    return library if factor == 1.0 else replace(library, straight_mm=library.straight_mm / factor)


def _plan_with_gun(repairs: Sequence[Repair], means: Means, coats_to_cover: float, seen: Seen) -> BlendPlan:
    planned = [_planned_area(repair, means, coats_to_cover, seen) for repair in repairs]
    while len(groups := meeting([area.reached for area, _ in planned])) < len(planned):
        planned = [
            planned[group[0]]
            if len(group) == 1
            else _planned_area(joined([planned[one][0].repair for one in group]), means, coats_to_cover, seen)
            for group in groups
        ]
    areas = tuple(area for area, _ in planned)
    sides = [side for area in areas for side in area.sides]
    hides = np.all([side.hides for side in sides], axis=0)
    return BlendPlan(
        need=means.need,
        straight_mm=interval(means.need.straight_mm),
        reach_mm=interval(means.library.least_reach_mm(means.need.straight_mm)),
        areas=areas,
        hides=hides,
        hides_probability=float(hides.mean()),
        hides_without_fade=np.all([hidden for _, hidden in planned], axis=0),
        largest_delta_e00=min(side.largest_delta_e00 for side in sides),
        coats_to_cover=coats_to_cover,
        gun=means.gun,
    )


def _planned_area(repair: Repair, means: Means, coats_to_cover: float, seen: Seen) -> tuple[AreaPlan, Flags]:
    """Return the plan of one area with one gun, and which samples (n,) its every side hides with no fade at all."""
    options = [side_options(side, repair.depth_mm(side.direction) / 2.0, means) for side in repair.sides]
    sides = tuple(
        side_plan(side, tried, means, coats_to_cover, seen) for side, tried in zip(repair.sides, options, strict=True)
    )
    return AreaPlan(repair, sides), np.all([hidden_without_fade(tried) for tried in options], axis=0)


def _merit(plan: BlendPlan, sureness: float) -> tuple[float, float]:
    """Rank one gun's plan: first the surest, as far as that is asked for, then least painted or most hidden."""
    if plan.hides_probability >= sureness:
        return sureness, -plan.painted_mm2
    return round(plan.hides_probability, 2), plan.largest_delta_e00
