"""Under which colour of the history something is kept: a kept one, or a new one by its name."""

from __future__ import annotations

import streamlit as st

from match.errors import StoreError
from match.history.records import NewColour
from match.history.words import colour_title, told_apart
from match.ui.store import store

MOST_COLOURS = 500


def ask_colour(label: str, key: str, name_key: str) -> None:
    """Ask for one of the kept colours, the newest first, or for the name of a new one."""
    colours = store().find_colours(per_page=MOST_COLOURS).items
    st.selectbox(
        label,
        list(colours),
        index=None,
        format_func=told_apart(colours, colour_title),
        key=key,
        placeholder="A new colour",
    )
    if st.session_state.get(key) is None:
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
