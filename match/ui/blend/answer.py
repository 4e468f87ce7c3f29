"""The plan behind the blend page, remembered, and the verdict that this room leads to."""

from dataclasses import replace

import streamlit as st

from match.blend.data_sheet import DataSheet, by_data_sheet
from match.blend.job_practice import JobPractice
from match.blend.paint import Paint
from match.blend.parts import PartAnswer
from match.blend.planned_job import PlannedJob, plan_job
from match.blend.room import BlendCalibration, load_blend_calibration
from match.blend.room_answer import RoomAnswer, answer_for_check, answer_for_colours
from match.blend.sides import Length, Repair
from match.blend.viewing import ColourPair, Viewing
from match.calibration import load
from match.ui import measured
from match.ui.blend.colours import Colours
from match.ui.blend.room import Asked, check_lines


@st.cache_resource(show_spinner=False)
def calibration() -> BlendCalibration:
    """Return the eye's and the trade's numbers, read once; restart the app after editing them."""
    return load_blend_calibration()


@st.cache_resource(show_spinner=False)
def practice() -> JobPractice:
    """Return material, time and cautions, read once."""
    return load(JobPractice, "practice")


def answer(colours: Colours, asked: Asked, parts: tuple[PartAnswer, ...] = ()) -> RoomAnswer:
    """Return the plan in this room, held to ``parts``; raises :class:`match.errors.PlanError` for what cannot be."""
    for repair in asked.repairs:
        check_lines(repair.sides, asked.unit)
    made = planned(colours.pairs, asked.repairs, asked.viewing, asked.coats_to_cover, asked.paint, asked.sheet)
    job = replace(made, unit=asked.unit, parts=parts)  # the repairs are held to them already
    if colours.checked is None:
        return answer_for_colours(job, asked.junction, measured.calibration().tolerances)
    return answer_for_check(job, replace(colours.checked, junction=asked.junction), measured.calibration().tolerances)


def contents(pair: ColourPair) -> bytes:
    """Return what tells one pair from another, for Streamlit's memory."""
    return pair.label.encode() + pair.card_lab.tobytes() + pair.vehicle_lab.tobytes()


@st.cache_resource(max_entries=48, show_spinner=False, hash_funcs={ColourPair: contents})
def planned(
    pairs: tuple[ColourPair, ...],
    repairs: tuple[Repair, ...],
    viewing: Viewing,
    coats_to_cover: float | None,
    paint: Paint,
    sheet: DataSheet | None = None,
) -> PlannedJob:
    """Return the plan worded in mm, from memory where nothing it rests on changed."""
    shipped = calibration()
    blending, job = by_data_sheet(shipped.practice, practice(), sheet)
    by = replace(shipped, practice=blending)
    line = sheet.line if sheet else ""
    return plan_job(pairs, repairs, viewing, by, job, Length.MM, coats_to_cover, paint, line)
