"""The form that says what a saved check belongs to: colour, car, spray-out card."""

from collections.abc import Iterable
from dataclasses import replace

import streamlit as st

from match.history.filing import FiledUnder, filed_under, keep
from match.history.records import CheckRecord, NewCard, NewColour, NewJob
from match.history.store import Store
from match.history.words import card_title
from match.ui.record_choice import kept_colour, one_record
from match.ui.store import keep_first, show_refusal

_COLOUR_FIELDS = ("name", "code", "finish", "undercoat")
_JOB_FIELDS = ("car", "plate")
CARD_LABELS = {
    "mix": "Mix or alternate",
    "batch": "Batch",
    "gun": "Gun set-up",
    "coats": "Coats",
    "reducer": "Reducer",
    "undercoat": "Undercoat shade of the card",
    "tinted": "What was tinted",
    "notes": "Notes on the card",
    "place": "Where it is (drawer, number)",
}


def details_form(store: Store, check: CheckRecord, key: str) -> None:
    """Show the form for a saved check, filled with what is known; keep it when pressed."""
    now = filed_under(store, check)
    other = None  # a card ties the check to its colour
    if check.card is None:
        other = kept_colour("Part of this colour", f"{key}_colour", chosen=check.colour)
    moves_to = other.id if other is not None and other.id != check.colour else None
    same_card = _same_card(store, check, moves_to, key)
    with st.form(f"{key}_form", border=False, enter_to_submit=False):
        if moves_to is None:
            _ask_colour(now.colour, key)
        else:
            st.caption("The check moves to that colour when you keep these.")
        _ask_job(now.job, key)
        if same_card is None:
            _ask_card(now.card, key)
        st.form_submit_button(
            "Keep these",
            type="primary",
            on_click=keep_first,
            args=("That could not be kept.", key, _keep_typed, store, check, now, moves_to, same_card, key),
        )
    show_refusal(key)


def _same_card(store: Store, check: CheckRecord, moves_to: str | None, key: str) -> str | None:
    """Ask whether a kept card of the colour was measured again; none where the check has a card already."""
    colour = moves_to or check.colour
    if check.card is not None or colour is None:
        return None
    known = {entry.card.id: entry.card for entry in store.timeline(colour).entries if entry.card}
    if not known:
        return None
    words = "A kept card, measured again"
    found = one_record(words, list(known.values()), card_title, f"{key}_same_card", "A new card")
    return found.id if found else None


def _keep_typed(
    store: Store, check: CheckRecord, now: FiledUnder, moves_to: str | None, same_card: str | None, key: str
) -> None:
    colour = now.colour if moves_to else replace(now.colour, **_typed(key, _COLOUR_FIELDS))
    job = replace(now.job, **_typed(key, _JOB_FIELDS), day=st.session_state[f"{key}_day"])
    typed = {} if same_card else _typed(f"{key}_card", CARD_LABELS)
    card = replace(NewCard(colour=now.card.colour, job=now.card.job), **typed)
    keep(store, check, FiledUnder(colour, job, card, moves_to, same_card))
    st.toast("Kept.")


def _typed(key: str, fields: Iterable[str]) -> dict[str, str]:
    return {field: st.session_state[f"{key}_{field}"] for field in fields}


def _ask_colour(colour: NewColour, key: str) -> None:
    left, right = st.columns(2)
    left.text_input("Colour name", colour.name, key=f"{key}_name")
    right.text_input("Paint code, as you write it", colour.code, key=f"{key}_code")
    left, right = st.columns(2)  # row by row: on a phone a column is read to its end before the next
    left.text_input("Finish", colour.finish, key=f"{key}_finish")
    right.text_input("Undercoat shade", colour.undercoat, key=f"{key}_undercoat")


def _ask_job(job: NewJob, key: str) -> None:
    left, middle, right = st.columns(3)
    left.text_input("Car", job.car, key=f"{key}_car")
    middle.text_input("Plate or nickname", job.plate, key=f"{key}_plate")
    right.date_input("Day of the job", job.day, key=f"{key}_day", format="YYYY-MM-DD")


def _ask_card(card: NewCard, key: str) -> None:
    columns = st.columns(2)
    for place, (name, label) in enumerate(CARD_LABELS.items()):
        if place and place % 2 == 0:
            columns = st.columns(2)
        columns[place % 2].text_input(label, getattr(card, name), key=f"{key}_card_{name}")
