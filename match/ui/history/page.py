"""The history page: every check that was saved, found again, opened, taken back, kept safe and learned from."""

import streamlit as st

from match.check.verdict import Verdict
from match.colorimetry import triple
from match.history.check_fields import CheckFields
from match.history.records import DeletedRecord
from match.history.words import KIND_NAMES, NOTHING_SAVED, day_and_time
from match.ui import session
from match.ui.history.learned import show_learned
from match.ui.history.near import show_near
from match.ui.history.rows import apply_style, page_asked, show_row, show_unreadable, turn_pages
from match.ui.history.safe import show_safe
from match.ui.history.saved_check import deleted_just_now, forget_deleted, show_check
from match.ui.kit import say
from match.ui.store import refusal_shown, store

PER_PAGE = 20
_LIST = "history_list"


def page() -> None:
    """Show the page: one check where the address names one, else the list."""
    apply_style()
    with refusal_shown("The history could not do that."):
        check_id = st.query_params.get("check")
        if check_id:
            show_check(check_id)
            return
        _show_list()


def _show_list() -> None:
    st.title("Every colour you have matched", anchor=False)
    _offer_undo()
    if store().read_only:
        say.lead(NOTHING_SAVED, is_news=True)
    wanted = _ask_search()
    asked = repr(wanted)
    found = store().find_checks(page=page_asked(_LIST, asked), per_page=PER_PAGE, **wanted)
    if not found.total:
        searched = any(wanted.values())
        empty = (
            "No saved check matches." if searched else "Nothing is saved yet. Press Save this check under a verdict."
        )
        say.lead(empty)
    for row in found.items:
        show_row(row)
    show_unreadable(found.unreadable)
    turn_pages(_LIST, asked, found, "checks")
    _show_like_bench()
    with st.expander("What outcomes teach"), refusal_shown("The outcomes cannot be read."):
        show_learned(store())
    with st.expander("Keep it safe: export, backup, spreadsheet, verify"):
        show_safe(store(), wanted)
    _show_deleted()


def _ask_search() -> CheckFields:
    words = st.text_input(
        "Search",
        key="history_text",
        placeholder="Code, colour, car, plate or note",
        icon=":material/search:",
        persist_state="session",
    )
    with st.expander("Narrow the search"):
        left, middle, right = st.columns(3)
        code = left.text_input("Code starts with", key="history_code", persist_state="session")
        colour = middle.text_input("Colour name", key="history_colour", persist_state="session")
        car = right.text_input("Car or plate", key="history_car", persist_state="session")
        left, middle, right = st.columns(3)  # a second row: on a phone a column is read to its end before the next
        first = left.date_input("From", None, key="history_from", format="YYYY-MM-DD")
        last = middle.date_input("To", None, key="history_to", format="YYYY-MM-DD")
        verdict = right.selectbox(
            "Verdict", ["", *Verdict], format_func=lambda each: str(each).capitalize() or "Any", key="history_verdict"
        )
    return {
        "text": words,
        "code": code,
        "colour": colour,
        "car": car,
        "date_from": first,
        "date_to": last,
        "verdict": str(verdict or ""),
    }


def _show_like_bench() -> None:
    bench = session.latest_check()
    if bench is None:
        return
    with st.expander("Colours like the car on the bench"):
        show_near(store(), triple(bench.result.measurement.vehicle_lab), "the car on the bench")


def _offer_undo() -> None:
    gone = deleted_just_now()
    if gone is None:
        return
    with st.container(horizontal=True, vertical_alignment="center", border=True, key="history_undo"):
        say.meaning(f"Deleted: {gone[1]}.", is_news=True, width="content")
        if st.button("Undo", key="history_undo_press", icon=":material/undo:"):
            store().undelete(gone[0])
            forget_deleted()
            st.rerun()


def _show_deleted() -> None:
    gone = store().deleted()
    if not gone:
        return
    with st.expander(f"Deleted, and can be brought back ({len(gone)})"):
        for record in gone:
            _show_deleted_record(record)


def _show_deleted_record(record: DeletedRecord) -> None:
    with st.container(horizontal=True, vertical_alignment="center"):
        told = f"{KIND_NAMES[record.kind].capitalize()}: {record.title}; deleted {day_and_time(record.deleted_at)}"
        say.meaning(told, width="stretch")
        if st.button("Bring back", key=f"undelete_{record.id}"):
            with refusal_shown("It could not be brought back."):
                store().undelete(record.id)
                forget_deleted()
                st.rerun()
