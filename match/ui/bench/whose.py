"""Whose bench a visit has: said here alone.

A browser is known by its cookie, and everything that its visits leave belongs to it. Each visit that begins something
keeps it in a row of its own, so that two open tabs do not write over one another; a visit that goes on with earlier
work goes on in its row, and one that finds its row gone on with elsewhere begins another. A phone that the desk let in
has the desk's: what is begun at the car is gone on with there.
"""

import uuid
from datetime import datetime

import streamlit as st

from match.network.phones import PHONES
from match.ui import visit
from match.ui.bench.cookie import COOKIE, is_id

OWNER = "bench_owner"
"""The session's key for whose bench it is."""

_ROW, _SEEN = "bench_row", "bench_row_seen"


def owner() -> str | None:
    """Return whose bench this visit has, 32 hexadecimal digits; None for a browser that takes no cookies."""
    known = st.session_state.get(OWNER)
    if known is None:
        given = PHONES.shares_with if visit.is_phone() and PHONES.shares_with else st.context.cookies.get(COOKIE)
        known = st.session_state[OWNER] = given if is_id(given) else ""
    return str(known) or None


def row() -> str:
    """Return the id under which this visit keeps its work."""
    if _ROW not in st.session_state:
        st.session_state[_ROW] = uuid.uuid4().hex
    return str(st.session_state[_ROW])


def is_own_row(row_id: str) -> bool:
    """Return whether this visit keeps its work under this id."""
    return bool(st.session_state.get(_ROW) == row_id)


def seen() -> datetime | None:
    """Return when the row was kept that this visit kept or read last."""
    found = st.session_state.get(_SEEN)
    return found if isinstance(found, datetime) else None


def go_on_in(row_id: str, kept_at: datetime) -> None:
    """Keep this visit's work in this row, its own or an earlier one's, as it was kept then."""
    st.session_state[_ROW], st.session_state[_SEEN] = row_id, kept_at


def begin_anew() -> None:
    """Keep what comes next in a row of its own: the photo was cleared away, and can still be had back."""
    st.session_state.pop(_ROW, None)
    st.session_state.pop(_SEEN, None)
