"""The history behind the pages: opened once for everybody, at the place the app was started with."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import streamlit as st

from match.errors import MatchError
from match.history.place import history_place
from match.history.store import Store
from match.ui.kit import say
from match.ui.kit.notices import notices


def store() -> Store:
    """Return the history; raises :class:`match.errors.StoreError` when it cannot be opened."""
    return _opened(history_place())


@st.cache_resource(show_spinner="Opening the history…")
def _opened(place: str | None) -> Store:
    return Store.open(place)


@contextmanager
def refusal_shown(what: str) -> Iterator[None]:
    """Show a refusal as ``what`` could not be done and why, and go on with the page."""
    try:
        yield
    except MatchError as error:
        say.notice(what, error)


def keep_first(what: str, place: str, deed: Callable[..., None], *args: Any) -> None:
    """Run ``deed`` as the callback of a press, and remember a refusal for :func:`show_refusal` of the same ``place``.

    A callback runs before the page is drawn again. What is kept there is kept also when the person follows a link
    while the page is still being drawn; what is kept at the end of a page is lost then.
    """
    try:
        deed(*args)
    except MatchError as error:
        st.session_state[_refusal(place)] = (what, error)


def show_refusal(place: str) -> None:
    """Say once why the last press at this place kept nothing, if it did not."""
    refused = st.session_state.pop(_refusal(place), None)
    if refused is not None:
        st.html(notices([refused]))


def _refusal(place: str) -> str:
    return f"{place}_refused"
