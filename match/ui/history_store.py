"""The history behind the pages: opened once for everybody, at the place the app was started with."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import streamlit as st

from match.errors import MatchError
from match.history.store import Store
from match.saving import history_place, open_history
from match.ui.notices import notices


def store() -> Store:
    """Return the history; raises :class:`match.errors.StoreError` when it cannot be opened."""
    return _opened(history_place())


@st.cache_resource(show_spinner="Opening the history…")
def _opened(place: str | None) -> Store:
    return open_history(place)


@contextmanager
def told_plainly(what: str) -> Iterator[None]:
    """Show a refusal as ``what`` could not be done and why, and go on with the page."""
    try:
        yield
    except MatchError as error:
        st.html(notices([(what, str(error))]))
