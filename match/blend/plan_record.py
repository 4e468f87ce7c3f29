"""A blend plan as plain values, for JSON and for keeping."""

from typing import Any

import numpy as np

from match.blend.plan import AreaPlan, BlendPlan
from match.blend.side_plan import SidePlan
from match.blend.step import JobSteps, Step
from match.record import plain, unrounded

FORMAT = "blend-plan 1"


def as_dict(plan: BlendPlan) -> dict[str, Any]:
    """Return the plan as dictionaries, lists, texts and numbers; lengths in mm, infinite as None.

    Samples are left out; their medians, intervals and shares are in.
    """
    need = plan.need
    return {
        "format": FORMAT,
        "no_line_difference": plain(float(np.median(need.no_line))),
        "step_visibility_thresholds": plain(float(np.median(need.step_visibility))),
        "far_end_steps": plain(need.far_end_steps),
        "widest_need_at": need.worst,
        "straight_fade_mm": plain(plan.straight_mm),
        "straight_fade_mm_by_distance_m": plain(need.by_distance_mm),
        "straight_fade_mm_range_of_laws": [plain(need.narrowest_mm), plain(need.widest_mm)],
        "reach_mm": plain(plan.reach_mm),
        "hides_without_fade_probability": float(plan.hides_without_fade.mean()),
        **unrounded(plan, "delta_e00", "hides_probability", "largest_delta_e00", "coats_to_cover", "gun"),
        "areas": [_area(area) for area in plan.areas],
        "sides": [_side(side) for side in plan.sides],
    }


def steps_as_list(steps: JobSteps) -> list[dict[str, Any]]:
    """Return the steps in order as codes and numbers; what does not belong to a step is left out."""
    return [_step(step) for step in steps.steps]


def _step(step: Step) -> dict[str, Any]:
    kept: dict[str, Any] = {"deed": step.deed.name.lower()}
    if step.coat:
        kept |= {"coat": step.coat, "coats": step.coats or step.coat, "reduced": step.reduced}
    if step.mix is not None:
        kept |= {"mix_ml": dict(step.mix.parts), "reserve_ml": step.mix.reserve_ml}
    if step.passes:
        kept |= {"passes": step.passes, "ready_ml": step.ready_ml, "sizes_mm": [list(size) for size in step.sizes_mm]}
        kept |= {"wait_min": list(step.wait_min)}
    if step.reaches:
        kept["reaches"] = [
            {
                "repair": each.repair,
                "direction": each.direction.name.lower(),
                "from_mm": each.ease_from_mm,
                "to_mm": each.to_mm,
                "mask": each.mask.value if each.mask else None,
            }
            for each in step.reaches
        ]
    return kept


def _area(area: AreaPlan) -> dict[str, Any]:
    return {
        "repairs": [number for number, _ in area.repair.covers] or [1],
        "covered_mm": [area.repair.left_mm, area.repair.top_mm, area.repair.width_mm, area.repair.height_mm],
        "painted_mm2": area.painted_mm2,
    }


def _side(side: SidePlan) -> dict[str, Any]:
    return {
        "side": side.side.name,
        "direction": side.side.direction.name.lower(),
        "room_mm": side.side.room_mm,
        "way": side.way.name.lower(),
        "stops_at": side.stop.value if side.stop else None,
        "viewers_objecting": round(side.objecting, 4),
        "achieved_straight_mm": plain(side.fade.straight_mm),
        "clear_to_mm": side.clear.to_mm,
        "clear_ends_at": side.clear.ends.value,
        "coats": [unrounded(coat, "reach_mm", "ease_mm", "film", "reduced") for coat in side.fade.coats],
        **unrounded(side, "covers_to_mm", "fades_to_mm", "onto_next_mm", "left_delta_e00", "hides_probability"),
        **unrounded(side, "largest_delta_e00", "largest_without_fade"),
    }
