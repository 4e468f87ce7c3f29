"""Fields that drop nothing that was typed: what cannot be used stays in the field, and beside it stands what is used.

Streamlit's own limits keep a number out of range in the browser, so that the page goes on with the old one and cannot
say so, and let a text that is too long vanish.
"""

from collections.abc import Callable
from typing import Any, Literal

import streamlit as st

from match.ui.kit import say


def number(
    label: str,
    start: float,
    low: float,
    high: float,
    *,
    key: str,
    step: float,
    digits: int = 0,
    unit: str = "",
    tip: str = "",
    width: int | Literal["stretch", "content"] = "stretch",
    disabled: bool = False,
    label_visibility: Any = "visible",
    used: float | None = None,
    on_change: Callable[..., None] | None = None,
    args: tuple[Any, ...] = (),
) -> float:
    """Ask for a number and return it, or the last one that could be used while it is not from ``low`` to ``high``.

    ``start`` is what the field opens with, where its ``key`` holds nothing yet; whole numbers are asked for where it
    and ``step`` are. ``digits`` are those after the point. A caller that keeps the last usable number itself gives it
    as ``used``; the field is then forgotten with its page.
    """
    whole = isinstance(start, int) and isinstance(step, int)
    if key not in st.session_state:
        st.session_state[key] = start if whole else float(start)
    kept_under = f"{key}_used"
    with st.container(width=width):
        typed = st.number_input(
            label,
            step=step if whole else float(step),
            format="%d" if whole else f"%.{digits}f",
            key=key,
            help=tip or None,
            persist_state="session" if used is None else None,
            disabled=disabled,
            label_visibility=label_visibility,
            on_change=on_change,
            args=args,
        )
        if typed is not None and low <= typed <= high:
            st.session_state[kept_under] = float(typed)
            return float(typed)
        last = float(st.session_state.get(kept_under, start) if used is None else used)
        _beside(f"{_fault(typed, low, high, digits, unit)} In use: {_told(last, digits, unit)}.")
    return last


def number_or_none(
    label: str, nothing: str, low: float, high: float, *, key: str, step: float, digits: int, unit: str, tip: str = ""
) -> float | None:
    """Ask for a number that may be left out, as :func:`number` does; ``nothing`` says what counts then."""
    kept_under = f"{key}_used"
    typed = st.number_input(
        label,
        value=None,
        placeholder=nothing,
        step=float(step),
        format=f"%.{digits}f",
        key=key,
        help=tip or None,
        persist_state="session",
    )
    if typed is None or low <= typed <= high:
        st.session_state[kept_under] = typed
        return typed
    last: float | None = st.session_state.get(kept_under)
    told = nothing if last is None else _told(last, digits, unit)
    _beside(f"{_fault(typed, low, high, digits, unit)} In use: {told}.")
    return last


def _fault(typed: float | None, low: float, high: float, digits: int, unit: str) -> str:
    if typed is None:
        return "No number."
    if typed < low:
        return f"Below {_told(low, digits, unit)}."
    return f"Above {_told(high, digits, unit)}."


def _told(value: float, digits: int, unit: str) -> str:
    shown = f"{value:.{max(digits, 0)}f}" if round(value, digits) == value else f"{value:g}"
    return f"{shown} {unit}".strip()


def line(label: str, longest: int, used_for: str, *, key: str) -> str:
    """Ask for a line of text and return as much of it as ``used_for`` takes; the whole of it stays in the field."""
    return _cut(st.text_input(label, key=key, persist_state="session"), longest, used_for)


def lines(label: str, longest: int, used_for: str, *, key: str, height: int) -> str:
    """Ask for some lines of text; as :func:`line`."""
    return _cut(st.text_area(label, key=key, height=height, persist_state="session"), longest, used_for)


def _cut(typed: str | None, longest: int, used_for: str) -> str:
    words = typed or ""
    if len(words) > longest:
        _beside(f"{len(words)} characters: {used_for} takes the first {longest}.")
    return words[:longest]


def _beside(words: str) -> None:
    say.note(words, is_news=True)
