"""A photo on the bench: marks on it, verdict out; the answer follows every change."""

import streamlit as st

from match.check.settings import CheckSettings
from match.check.verdict import Finish, Junction
from match.ui import measured, session
from match.ui.check.answers import answer
from match.ui.check.cards import show_cards
from match.ui.check.checklist import checklist
from match.ui.check.details import show_details
from match.ui.check.photo_set import ask_use, choose_bench, name_of, offer_more
from match.ui.check.set_answer import show_together
from match.ui.check.verdict_panel import show_difference, show_verdict
from match.ui.guided import visit
from match.ui.history.save import save_panel
from match.ui.kit.choice import one_from_list, one_of
from match.ui.kit.layout import COLUMNS
from match.ui.kit.style import text
from match.ui.marker.marking import ask_for_marks, ask_to_accept, is_pending, mark_photo, missing, sheet_note
from match.ui.marker.marks import Mark
from match.words import capital


def show_bench(photo: session.ChosenPhoto) -> None:
    """Show the photo with its marks, and what they say."""
    if not visit.is_on():  # its strip says the name, and the way out
        _show_name(photo)
    left, right = st.columns(COLUMNS, gap="large")
    with left:
        choose_bench(photo, st.session_state.get("check_finish") or Finish.SOLID)
        marks = mark_photo(photo, _marks_before(photo))
    with right:
        answer_place = st.container()
    pending = is_pending(photo)
    with st.container() if pending else left:
        settings = _ask_settings(photo)
    with answer_place:
        checked = _show_answer(photo, marks, settings)
    if not visit.is_on():
        offer_more(settings.finish)
    if checked:
        if checked.cards:
            show_cards(checked.cards)
        if checked.together:
            show_together(checked.together, settings.finish)
        show_difference(checked)
        show_details(checked)


def _marks_before(photo: session.ChosenPhoto) -> list[Mark]:
    """Return the first photo's marks, from which those of any other begin."""
    first = session.photo()
    return [] if first is None or first.digest == photo.digest else session.marks(first.digest)


def _show_answer(photo: session.ChosenPhoto, marks: list[Mark], settings: CheckSettings) -> session.LatestCheck | None:
    """Show the verdict, or what has to be done with the marks before there is one."""
    if is_pending(photo):
        session.forget_check()
        ask_to_accept(photo)
        return None
    if missing(marks):
        session.forget_check()
        ask_for_marks(photo, marks)
        return None
    checked = answer(settings)
    if checked:
        show_verdict(checked)
        if visit.may_save():
            save_panel(checked)
    return checked


def _show_name(photo: session.ChosenPhoto) -> None:
    shown = "Demo photo, invented" if photo.is_demo else photo.name
    if len(session.photos()) > 1:
        shown = f"{name_of(photo)}: {shown}"
    with st.container(horizontal=True, vertical_alignment="center", horizontal_alignment="distribute"):
        st.html(f'<p class="sm-lead"><b>{text(shown)}</b></p>', width="content")
        with st.container(horizontal=True, width="content"):
            with st.popover("Checklist", icon=":material/checklist:"):
                st.html(checklist())
            if st.button("Start again", key="another_photo", icon=":material/photo_camera:"):
                session.put_photo(None)
                st.rerun()


def _ask_settings(photo: session.ChosenPhoto) -> CheckSettings:
    sheet_note(photo)
    junctions = measured.calibration().tolerances.junctions
    tip = "Metallic and pearl change with the angle, so one face-on photo is not enough to say go."
    finish = one_of("Finish", Finish, Finish.SOLID, "check_finish", str.capitalize, tip=tip)
    ask_use(photo, finish)
    junction = one_from_list(
        "New paint ends",
        Junction,
        CheckSettings.junction,
        "check_junction",
        lambda junction: capital(junctions[junction.value].label),
        tip="Where the new paint meets the old. An edge in the middle of a panel shows sooner than one at a gap: this "
        "moves the limit for go.",
    )
    return CheckSettings(finish=finish, junction=junction)
