"""Fields that choose one of the kept records, and under which colour something is kept: a kept one, or a new one."""

from collections.abc import Callable, Sequence

import streamlit as st

from match.errors import StoreError
from match.history.records import ColourRecord, NewColour
from match.history.words import Titled, colour_title, told_apart
from match.ui.store import store

MOST_COLOURS = 500


def one_record(
    label: str,
    records: Sequence[Titled],
    title: Callable[[Titled], str],
    key: str,
    placeholder: str,
    chosen: str | None = None,
) -> Titled | None:
    """Ask for one of several records, no two of which read alike; ``chosen`` is the id of the one it opens with."""
    return st.selectbox(
        label,
        list(records),
        index=next((place for place, each in enumerate(records) if each.id == chosen), None),
        format_func=told_apart(records, title),
        key=key,
        placeholder=placeholder,
    )


def kept_colour(label: str, key: str, placeholder: str = "", chosen: str | None = None) -> ColourRecord | None:
    """Ask for one of the kept colours, the newest first; typing narrows the list."""
    known = store().find_colours(per_page=MOST_COLOURS).items
    usual = "Choose or type a name or code" if known else "No colour is saved yet"
    return one_record(label, known, colour_title, key, placeholder or usual, chosen)


def ask_colour(label: str, key: str, name_key: str) -> None:
    """Ask for one of the kept colours, or for the name of a new one."""
    if kept_colour(label, key, "A new colour") is None:
        st.text_input("The new colour's name", key=name_key)


def chosen_colour(key: str, name_key: str, finish: str = "") -> str | NewColour:
    """Return the id of the colour that was chosen, or a new one of this finish; a new one without a name is refused."""
    known = st.session_state.get(key)
    if known is not None:
        return str(known.id)
    name = str(st.session_state.get(name_key) or "").strip()
    if not name:
        raise StoreError("the colour has no name: choose a colour or name a new one")
    return NewColour(name=name, finish=finish)
