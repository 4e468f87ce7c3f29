"""The job of the blend page: cautions, steps, timeline, and the job sheet to take to the booth."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import streamlit as st

from match.blend.instructions import SHEET_FIRST
from match.blend.job_sheet_pdf import PAGES, JobSheetContent, Measured, job_sheet
from match.blend.room_answer import RoomAnswer
from match.check.verdict import Verdict
from match.photo.cut_outs import box_names
from match.ui import measured, session
from match.ui.kit.notices import sentence, steps
from match.ui.kit.style import text
from match.ui.session import LatestCheck


def show_job(found: RoomAnswer) -> None:
    """Show cautions, steps and timeline; folded where the verdict is not to spray yet."""
    if found.verdict in (Verdict.GO, Verdict.BLEND):
        st.subheader("The job, step by step", anchor=False)
        _show_steps(found)
        return
    with st.expander("The steps of this plan, not to be sprayed with this colour yet"):
        _show_steps(found)


def _show_steps(found: RoomAnswer) -> None:
    job = found.planned
    st.html(f'<p class="sm-meaning"><b>{text(SHEET_FIRST)}</b></p>{_cautions(job.cautions)}')
    what, when = st.columns([1.6, 1], gap="large")
    with what:
        st.html(steps(line for line in job.instructions if line != SHEET_FIRST))
    with when:
        items = "".join(f"<li>{text(line)}</li>" for line in job.timeline)
        st.html(f'<p class="sm-title">Timeline</p><ul class="sm-times">{items}</ul>')


def _cautions(cautions: tuple[str, ...]) -> str:
    items = "".join(f"<li>{text(sentence(line))}</li>" for line in cautions)
    return f'<div class="sm-note sm-caution"><b>Before spraying</b><ul>{items}</ul></div>'


def show_sheet(found: RoomAnswer, invented: bool, check: LatestCheck | None) -> None:
    """Show the fields of the job sheet and the button that saves it; ``check`` is the one that the plan is for."""
    st.subheader("Job sheet", anchor=False)
    columns = st.columns(3)
    names = []
    for column, label in zip(columns, ("Car", "Panel", "Colour"), strict=True):
        with column:
            key = f"blend_sheet_{label.lower()}"
            names.append(st.text_input(label, max_chars=60, key=key, persist_state="session"))
    remarks = st.text_area("Remarks", max_chars=600, height=80, key="blend_sheet_remarks", persist_state="session")
    with st.container(horizontal=True, vertical_alignment="bottom"):
        page = st.segmented_control(
            "Paper", list(PAGES), default="A4", required=True, key="blend_sheet_page", persist_state="session"
        )
        st.download_button(
            "Save the job sheet (PDF)",
            job_sheet(
                replace(sheet_content(found, names, remarks or "", invented), measured=_measured(check)), page or "A4"
            ),
            file_name="job-sheet.pdf",
            mime="application/pdf",
            icon=":material/download:",
            on_click="ignore",
        )


def sheet_content(found: RoomAnswer, names: list[str], remarks: str, invented: bool) -> JobSheetContent:
    """Return what the sheet prints; ``names`` are the person's words for car, panel and colour."""
    heading = ", ".join(name.strip() for name in names if name.strip()) or "Blend plan"
    lines = tuple(line for line in remarks.splitlines() if line.strip())
    return found.sheet(heading, date.today().isoformat(), invented, lines)


def _measured(check: LatestCheck | None) -> tuple[Measured, ...]:
    """Return the boxes that were measured, while their photo is on the bench."""
    files = {each.digest: each for each in session.photos()}
    if check is None or check.photo_digest not in files:
        return ()
    shown = measured.cut_out_pictures(files[check.photo_digest], check.regions)
    return tuple(Measured(*each) for each in zip(box_names(check.regions), shown, strict=True))
