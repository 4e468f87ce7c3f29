"""The job of the blend page: its steps in order, the page for the booth, and the job sheet."""

import pickle
from dataclasses import replace
from datetime import date
from itertools import groupby

import streamlit as st

from match.blend.booth_page import booth_page
from match.blend.job_sheet_pdf import PAGES, JobSheetContent, Measured, job_sheet
from match.blend.room_answer import NOT_YET, RoomAnswer
from match.blend.step import COLOUR, Deed
from match.blend.step_words import PARTS, StepText, hours
from match.photo.cut_outs import box_names
from match.ui import measured, session
from match.ui.kit.choice import one_of
from match.ui.kit.download import download
from match.ui.kit.notices import sentence
from match.ui.kit.style import text
from match.ui.kit.typed import line, lines
from match.ui.session import LatestCheck

COATS = (*COLOUR, Deed.CLEAR_COAT)
BOOTH_PX = 640
"""As high as a phone shows below the address bar."""
LONGEST_NAME, LONGEST_REMARKS = 60, 600
"""Engineering choice: characters that fit the job sheet's head, and its two pages."""


def show_job(found: RoomAnswer) -> None:
    """Show the steps; folded where the verdict is not to spray yet."""
    if found.is_to_spray:
        st.header("The job, step by step", anchor=False)
        _show_steps(found)
        _show_booth(found)
        return
    with st.expander(NOT_YET):
        _show_steps(found)


def _show_steps(found: RoomAnswer) -> None:
    numbered = list(enumerate(found.planned.step_texts, start=1))
    items = "".join(_part(part, list(steps)) for part, steps in groupby(numbered, key=lambda each: PARTS[each[1].deed]))
    low, high = found.planned.steps.minutes
    covering = " ".join(found.planned.covering)
    span = f"From the first coat to the last of clear: {hours(low)} to {hours(high)}."
    st.html(
        f'<p class="sm-meaning"><b>{text(found.planned.rests_on)}</b> {text(span)} {text(covering)}</p>'
        f'<div class="sm-steps sm-deeds">{items}</div>'
    )


def _part(part: str, numbered: list[tuple[int, StepText]]) -> str:
    """Return one part of the job, folded; the cautions stand open, before the first step that can hurt."""
    coats = sum(each.deed in COATS for _, each in numbered)
    title = f"{part}, {coats} {'coat' if coats == 1 else 'coats'}" if coats else part
    before, items = "", []
    for number, each in numbered:
        lines = [*each.lines, each.set_up if each.set_up != before else ""]  # the same set-up is not said again
        before = each.set_up or before
        said = "".join(f"<p>{text(sentence(line))}</p>" for line in lines if line)
        name = f"<b>{text(each.title)}</b>" if len(numbered) > 1 else ""
        items.append(f'<li value="{number}">{name}{said}</li>')
    opened = " open" if numbered[0][1].deed is Deed.PROTECT else ""
    return f"<details{opened}><summary>{text(title)}</summary><ol>{''.join(items)}</ol></details>"


def _show_booth(found: RoomAnswer) -> None:
    with st.expander("For the booth: one step a screen"):
        page = booth_page(found.planned)
        st.iframe(page, height=BOOTH_PX)
        st.download_button("Save the booth page", page, file_name="booth.html", mime="text/html", on_click="ignore")


def show_sheet(found: RoomAnswer, invented: bool, check: LatestCheck | None) -> None:
    """Show the fields of the job sheet and the button that saves it; ``check`` is the one that the plan is for."""
    with st.expander("Job sheet"):
        columns = st.columns(3)
        names = []
        for column, label in zip(columns, ("Car", "Panel", "Colour"), strict=True):
            with column:
                key = f"blend_sheet_{label.lower()}"
                names.append(line(label, LONGEST_NAME, "the job sheet", key=key))
        remarks = lines("Remarks", LONGEST_REMARKS, "the job sheet", key="blend_sheet_remarks", height=80)
        with st.container(horizontal=True, vertical_alignment="bottom"):
            page = one_of("Paper", PAGES, "A4", "blend_sheet_page")
            content = replace(sheet_content(found, names, remarks, invented), measured=_measured(check))
            download("Save the job sheet (PDF)", _sheet(content, page), "job-sheet.pdf")


@st.cache_data(max_entries=8, show_spinner=False, hash_funcs={JobSheetContent: pickle.dumps})
def _sheet(content: JobSheetContent, page: str) -> bytes:
    """Return the job sheet, from memory where nothing on it changed; what is equal and new may be drawn again."""
    return job_sheet(content, page)


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
