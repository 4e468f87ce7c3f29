"""The plan behind the blend page, remembered, and the verdict that this room leads to."""

from __future__ import annotations

from dataclasses import dataclass, replace

import streamlit as st

from match.blend.planned_job import PlannedJob, plan_job
from match.blend.room import BlendCalibration, Room, load_blend_calibration, room_of
from match.blend.sides import Length, Repair
from match.blend.steps import JobPractice
from match.blend.viewing import ColourPair, Viewing
from match.blend.wording import LEAST_SAID, difference
from match.calibration import load
from match.check.check import CheckResult, judge
from match.check.verdict import Verdict
from match.measure.finding import Told
from match.ui import measured
from match.ui.blend.colours import Colours
from match.ui.blend.room import Asked, check_lines
from match.ui.marker.box_names import called_in

_TOO_MUCH = "is more than this room can hide: tint and spray another card, or find more room."


@st.cache_resource(show_spinner=False)
def calibration() -> BlendCalibration:
    """Return the eye's and the trade's numbers, read once; restart the app after editing them."""
    return load_blend_calibration()


@st.cache_resource(show_spinner=False)
def practice() -> JobPractice:
    """Return material, time and cautions, read once."""
    return load(JobPractice, "practice")


@dataclass(frozen=True)
class Answer:
    """The plan with the verdict on it; sentences are ready to show."""

    planned: PlannedJob
    room: Room
    verdict: Verdict
    reason: str
    reasons: tuple[str, ...]
    warnings: tuple[Told, ...]

    @property
    def limits(self) -> str:
        """What this room hides, with no fade and with the best one, in a sentence."""
        bare, best = difference(self.room.largest_without_fade), difference(self.room.largest_delta_e00)
        if self.planned.plan.hides_without_fade.all():
            return (
                f"In this room all of this difference hides with no fade, and up to {best} CIEDE2000 with the best one."
            )
        if self.room.largest_without_fade < LEAST_SAID:
            return f"In this room the best fade hides up to {best} CIEDE2000 in this direction; without one it shows."
        return f"In this room up to {bare} CIEDE2000 hides with no fade, and up to {best} with the best one."


def answer(colours: Colours, asked: Asked) -> Answer:
    """Return the plan for these colours in this room; raises :class:`match.errors.PlanError` for what cannot be."""
    check_lines(asked.repair.sides, asked.unit)
    pair = colours.pair
    made = planned(tuple(colours.pairs), asked.repair, asked.viewing, asked.coats_to_cover)
    job = replace(made, unit=asked.unit)
    room = room_of(job.plan, pair.card_lab, pair.vehicle_lab)
    if colours.check is None:
        return Answer(job, room, job.call, _reason(job), (), ())
    old = colours.check.result
    together = colours.check.together
    seen = together is not None and not together.effect.missing
    result = judge(old.measurement, old.settings, measured.calibration(), lambda _: room, old.notes, angles_seen=seen)
    said = result.said(called_in(colours.check))
    return Answer(job, room, result.verdict, _because(result, said.reason), result.reasons, said.warnings)


def contents(pair: ColourPair) -> bytes:
    """Return what tells one pair from another, for Streamlit's memory."""
    return pair.label.encode() + pair.card_lab.tobytes() + pair.vehicle_lab.tobytes()


@st.cache_resource(max_entries=48, show_spinner=False, hash_funcs={ColourPair: contents})
def planned(pairs: tuple[ColourPair, ...], repair: Repair, viewing: Viewing, coats_to_cover: float) -> PlannedJob:
    """Return the plan worded in mm, from memory where nothing it rests on changed."""
    return plan_job(list(pairs), repair, viewing, calibration(), practice(), Length.MM, coats_to_cover)


def _reason(job: PlannedJob) -> str:
    """Say why the plan alone leads to its call."""
    size = f"A difference of {job.plan.delta_e00:.1f}"
    if job.call is Verdict.GO:
        return f"{size} is not seen where the colour ends in this room: paint straight, with no fade."
    if job.call is Verdict.BLEND:
        return f"{size} would show at an edge, and a fade in this room can hide it."
    return f"{size} {_TOO_MUCH}"


def _because(result: CheckResult, reason: str) -> str:
    """Return the check's reason, unless it is this room, or the photo's doubt within it, that decides."""
    size, limits = result.measurement.delta_e00, result.thresholds
    said, widest = f"A difference of {size:.1f}", measured.calibration().tolerances.limits.blend_to_retint
    if result.verdict is Verdict.BLEND and size < limits.go_below:
        return f"{said} may hide here with no fade, but the photo may be off: a fade is the safer call."
    if result.verdict is not Verdict.RETINT or size >= widest:
        return reason
    if size >= limits.blend_below:
        return f"{said} {_TOO_MUCH}"
    return (
        f"{said} is close to the {difference(limits.blend_below)} this room hides, and the photo may be off by more "
        "than that leaves: a comeback would cost more than another card."
    )
