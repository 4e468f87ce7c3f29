"""The form that says what a saved check belongs to: colour, car, spray-out card."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from match.belongings import Belongings, belongings, keep
from match.history.records import CheckRecord, ColourRecord, NewCard, NewColour, NewJob
from match.history.store import Store
from match.kept_words import colour_title

MOST_COLOURS = 500
CARD_LABELS = {
    "mix": "Mix or alternate",
    "batch": "Batch",
    "gun": "Gun set-up",
    "coats": "Coats",
    "reducer": "Reducer",
    "undercoat": "Undercoat shade of the card",
    "tinted": "What was tinted",
    "notes": "Notes on the card",
}


def choose_colour(store: Store, key: str, label: str, chosen: str | None = None) -> ColourRecord | None:
    """Ask for one of the kept colours, the newest first; typing narrows the list."""
    known = list(store.find_colours(per_page=MOST_COLOURS).items)
    start = next((place for place, colour in enumerate(known) if colour.id == chosen), None)
    found = st.selectbox(
        label,
        known,
        index=start,
        format_func=colour_title,
        key=key,
        placeholder="Choose or type a name or code" if known else "No colour is saved yet",
    )
    return found if isinstance(found, ColourRecord) else None


def details_form(store: Store, check: CheckRecord, key: str) -> None:
    """Show the form for a saved check, filled with what is known; keep it when pressed."""
    now = belongings(store, check)
    other = None  # a card ties the check to its colour
    if check.card is None:
        other = choose_colour(store, f"{key}_colour", "Part of this colour", check.colour)
    moving = other is not None and other.id != check.colour
    with st.form(f"{key}_form", border=False, enter_to_submit=False):
        if moving:
            st.caption("The check moves to that colour when you keep these.")
            colour = now.colour
        else:
            colour = _ask_colour(now.colour, key)
        job, card = _ask_job(now.job, key), _ask_card(now.card, key)
        pressed = st.form_submit_button("Keep these", type="primary")
    if pressed:
        keep(store, check, Belongings(colour, job, card, other.id if moving and other else None))
        st.toast("Kept.")
        st.rerun()


def _ask_colour(colour: NewColour, key: str) -> NewColour:
    left, right = st.columns(2)
    return NewColour(
        name=left.text_input("Colour name", colour.name, key=f"{key}_name"),
        code=right.text_input("Paint code, as you write it", colour.code, key=f"{key}_code"),
        finish=left.text_input("Finish", colour.finish, key=f"{key}_finish"),
        undercoat=right.text_input("Undercoat shade", colour.undercoat, key=f"{key}_undercoat"),
        notes=colour.notes,
    )


def _ask_job(job: NewJob, key: str) -> NewJob:
    left, middle, right = st.columns(3)
    return NewJob(
        car=left.text_input("Car", job.car, key=f"{key}_car"),
        plate=middle.text_input("Plate or nickname", job.plate, key=f"{key}_plate"),
        day=right.date_input("Day of the job", job.day, key=f"{key}_day", format="YYYY-MM-DD"),
        notes=job.notes,
    )


def _ask_card(card: NewCard, key: str) -> NewCard:
    columns = st.columns(2)
    typed = {
        name: columns[place % 2].text_input(label, getattr(card, name), key=f"{key}_card_{name}")
        for place, (name, label) in enumerate(CARD_LABELS.items())
    }
    return replace(NewCard(colour=card.colour, job=card.job), **typed)
