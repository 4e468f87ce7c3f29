"""The check page: photo in, marks on it, verdict out; the answer follows every change."""

from __future__ import annotations

import streamlit as st

from match.check import CheckSettings
from match.errors import MatchError
from match.ui import measured, session
from match.ui.box_names import with_box_names
from match.ui.checklist import checklist
from match.ui.details import show_details
from match.ui.marks import CHECK_KINDS, Mark, to_regions
from match.ui.notices import notices, sentence
from match.ui.photo_input import choose_photo
from match.ui.region_marker import region_marker
from match.ui.style import text
from match.ui.verdict_panel import COLUMNS, show_difference, show_verdict
from match.verdict import Finish, Junction


def page() -> None:
    """Show the page."""
    photo = session.photo()
    if photo is None:
        st.title("Does the card match the car?", anchor=False)
        st.html('<p class="sm-lead">Photograph the spray-out card on the panel with a grey reference beside it.</p>')
        choose_photo()
        return
    _show_bench(photo)
    left, right = st.columns(COLUMNS, gap="large")
    with left:
        marks = _show_marker(photo)
        settings = _ask_settings()
    with right:
        checked = _check(photo, marks, settings)
        if checked:
            show_verdict(checked)
    if checked:
        show_difference(checked)
        show_details(checked)


def marker_key(photo: session.ChosenPhoto) -> str:
    """Return the name under which the photo's marks live in the session state."""
    return f"marks-{photo.digest[:12]}"


def _show_bench(photo: session.ChosenPhoto) -> None:
    shown = "Demo photo: an invented car and card" if photo.is_demo else photo.name
    with st.container(horizontal=True, vertical_alignment="center", horizontal_alignment="distribute"):
        st.html(f'<p class="sm-lead"><b>{text(shown)}</b></p>', width="content")
        with st.container(horizontal=True, width="content"):
            with st.popover("Photo checklist", icon=":material/checklist:"):
                st.html(checklist())
            if st.button("Another photo", key="another_photo", icon=":material/photo_camera:"):
                session.put_photo(None)
                st.rerun()


def _show_marker(photo: session.ChosenPhoto) -> list[Mark]:
    loaded = measured.read_photo(photo)
    marks = region_marker(
        measured.preview(photo),
        session.marks(photo.digest),
        marker_key(photo),
        photo_size_px=(loaded.width, loaded.height),
        greys=measured.greys(),
    )
    session.remember_marks(photo.digest, marks)
    return marks


def _ask_settings() -> CheckSettings:
    junctions = measured.calibration().tolerances.junctions
    finish = st.segmented_control(
        "Finish",
        list(Finish),
        default=Finish.SOLID,
        required=True,
        format_func=lambda finish: finish.value.capitalize(),
        help="Metallic and pearl change with the angle, so one face-on photo is not enough to say go.",
        key="check_finish",
        persist_state="session",
    )
    junction = st.selectbox(
        "Where the new paint meets the old",
        list(Junction),
        index=list(Junction).index(CheckSettings.junction),
        format_func=lambda junction: sentence(junctions[junction.value].label)[:-1],
        help="An edge in the middle of a panel shows sooner than one at a gap: this moves the limit for go.",
        key="check_junction",
        persist_state="session",
    )
    return CheckSettings(finish=Finish(finish or Finish.SOLID), junction=Junction(junction or CheckSettings.junction))


def _check(photo: session.ChosenPhoto, marks: list[Mark], settings: CheckSettings) -> session.LatestCheck | None:
    """Return the check of these marks and keep it for the other pages; say what is missing where it cannot be made."""
    session.forget_check()
    if _missing(marks):
        st.html(_waiting(marks))
        return None
    loaded = measured.read_photo(photo)
    regions = to_regions(marks, loaded.width, loaded.height)
    try:
        result = measured.check(photo, regions, settings)
    except MatchError as error:
        st.html(notices([("These marks cannot be measured.", with_box_names(str(error), regions))]))
        return None
    checked = session.LatestCheck(photo.name, photo.digest, regions, result)
    session.remember_check(checked)
    return checked


def _missing(marks: list[Mark]) -> list[str]:
    marked = {mark.kind for mark in marks}
    return [kind.name for kind in CHECK_KINDS if kind.required and kind.name not in marked]


def _waiting(marks: list[Mark]) -> str:
    missing = _missing(marks)
    items = "".join(f"<li>{text(kind.label)}{'' if kind.name in missing else ' ✓ marked'}</li>" for kind in CHECK_KINDS)
    return (
        '<div class="sm-waiting"><b>Mark these three on the photo; the answer then appears here.</b>'
        f"<ol>{items}</ol></div>"
    )
