"""Fields in which one of several is chosen, and stays chosen from page to page."""

from collections.abc import Callable, Iterable
from enum import Enum
from typing import Any, TypeVar

import streamlit as st

Choice = TypeVar("Choice")
Said = Callable[[Any], str]
"""Returns what a choice is called on the page."""


def one_of(
    label: str,
    options: Iterable[Choice],
    start: Choice,
    key: str,
    said: Said = str,
    *,
    tip: str = "",
    is_titled: bool = True,
) -> Choice:
    """Ask for one of a few that stand side by side; ``start`` is chosen until another is, and one always is."""
    chosen = st.segmented_control(
        label,
        list(options),
        default=start,
        required=True,
        format_func=said,
        key=key,
        help=tip or None,
        label_visibility="visible" if is_titled else "collapsed",
        persist_state="session",
    )
    return _like(start, chosen)


def one_from_list(
    label: str, options: Iterable[Choice], start: Choice, key: str, said: Said = str, *, tip: str = ""
) -> Choice:
    """Ask for one of many, in a list that opens; as :func:`one_of`."""
    offered = list(options)
    chosen = st.selectbox(
        label,
        offered,
        index=offered.index(start),
        format_func=said,
        key=key,
        help=tip or None,
        persist_state="session",
    )
    return _like(start, chosen)


def _like(start: Choice, chosen: Any) -> Choice:
    """Return the choice as the member that it is: a session may hold no more than its value."""
    kind: Any = type(start)
    return kind(chosen) if isinstance(start, Enum) else chosen  # type: ignore[no-any-return]
