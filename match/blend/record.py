"""A blend plan as plain values, for JSON and for keeping."""

from __future__ import annotations

from typing import Any

import numpy as np

from match.blend.need import Range
from match.blend.plan import AreaPlan, BlendPlan
from match.blend.side_plan import SidePlan
from match.blend.step import JobSteps, Step

FORMAT = "blend-plan 1"


def as_dict(plan: BlendPlan) -> dict[str, Any]:
    """Return the plan as dictionaries, lists, texts and numbers; lengths in mm, infinite as None.

    Samples are left out; their medians, intervals and shares are in.
    """
    need = plan.need
    return {
        "format": FORMAT,
        "delta_e00": _finite(plan.delta_e00),
        "no_line_difference": _finite(float(np.median(need.no_line))),
        "step_visibility_thresholds": _finite(float(np.median(need.step_visibility))),
        "far_end_steps": _finite(need.far_end_steps),
        "widest_need_at": need.worst,
        "straight_fade_mm": _range(plan.straight_mm),
        "straight_fade_mm_by_distance_m": [[distance, _finite(width)] for distance, width in need.by_distance_mm],
        "straight_fade_mm_range_of_laws": [_finite(need.narrowest_mm), _finite(need.widest_mm)],
        "reach_mm": _range(plan.reach_mm),
        "hides_probability": plan.hides_probability,
        "hides_without_fade_probability": float(plan.hides_without_fade.mean()),
        "largest_delta_e00": _finite(plan.largest_delta_e00),
        "coats_to_cover": plan.coats_to_cover,
        "gun": plan.gun,
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
        "covers_to_mm": side.covers_to_mm,
        "fades_to_mm": side.fades_to_mm,
        "onto_next_mm": side.onto_next_mm,
        "stops_at": side.stop.value if side.stop else None,
        "left_delta_e00": _finite(side.left_delta_e00),
        "viewers_objecting": round(side.objecting, 4),
        "achieved_straight_mm": _finite(side.fade.straight_mm),
        "clear_to_mm": side.clear.to_mm,
        "clear_ends_at": side.clear.ends.value,
        "coats": [
            {"reach_mm": coat.reach_mm, "ease_mm": coat.ease_mm, "film": coat.film, "reduced": coat.reduced}
            for coat in side.fade.coats
        ],
        "hides_probability": side.hides_probability,
        "largest_delta_e00": _finite(side.largest_delta_e00),
        "largest_without_fade": _finite(side.largest_without_fade),
    }


def _range(widths: Range) -> dict[str, float | None]:
    return {"median": _finite(widths.median), "low": _finite(widths.low), "high": _finite(widths.high)}


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
