"""*Go on where you were*: what this browser left, offered to a visit with neither photo nor pot on its bench."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from match.errors import MatchError
from match.ui import libraries
from match.ui.bench import fields, keeping, whose
from match.ui.kit import say
from match.ui.kit.notices import notices
from match.ui.kit.style import text
from match.ui.menu import page_at
from match.words import capital

if TYPE_CHECKING:
    from match.history.benches import KeptBench

MOST_OFFERED = 4
"""Engineering choice: what was left by the last few visits; more would hide the page."""

_LOST = "bench_lost"


def place(page: str) -> DeltaGenerator | None:
    """Return the place of the offer at the top of the page of this address; None where there is nothing to offer."""
    if page not in fields.WORK_PAGES or whose.owner() is None or not keeping.is_empty():
        return None
    try:
        return st.empty() if keeping.were_any_kept() else None
    except MatchError:
        return None  # the page of the history says what is wrong with its place


def offer(at: DeltaGenerator | None, page: str) -> None:
    """Show at this place what can be gone on with; ``page`` is the address of the page that is shown."""
    owner = whose.owner()
    if at is None or owner is None:
        return
    with at.container(border=True):
        say.meaning("Looking for what you left here…")
    libraries.wait()
    from match.ui.store import store

    try:
        theirs = [each for each in store().benches.of(owner) if not (whose.is_own_row(each.id) or is_guided(each))]
        left = theirs[:MOST_OFFERED]
    except MatchError:
        left = []
    if not left:
        at.empty()
        return
    with at.container(border=True, key="bench_offer"):
        _show(left[0], page, first=True)
        if left[1:]:
            with st.expander("Left earlier"):
                for each in left[1:]:
                    _show(each, page, first=False)


def _show(left: KeptBench, page: str, *, first: bool) -> None:
    """Show what one visit left, and the press that goes on with it."""
    with st.container(horizontal=True, vertical_alignment="center"):
        st.html(
            f'<p class="sm-meaning"><b>{text(_what(left.document))}</b><br>{text(_ago(left.saved_at))}</p>',
            width="stretch",
        )
        pressed = st.button(
            "Go on where you were" if first else "Go on with this",
            key=f"bench_go_on_{left.id}",
            type="primary" if first else "secondary",
            icon=":material/resume:",
        )
    if pressed:
        _go_on(left, page)


def is_guided(left: KeptBench) -> bool:
    """Return whether a visit left the guided check here: that goes on at its own address alone."""
    return "guided_step" in (left.document.get("fields") or ())


def _go_on(left: KeptBench, page: str) -> None:
    """Put everything back, and turn to the page where it was left."""
    try:
        bring_back(left)
    except MatchError as error:
        say.notice("This cannot be gone on with.", error)
        return
    target = str(left.document["page"])
    if target == page:
        st.rerun()
    st.switch_page(page_at(target))


def bring_back(left: KeptBench) -> None:
    """Put everything back on this visit's bench, and measure again where a verdict is gone on with on another page.

    Raises :class:`match.errors.MatchError`, and leaves the bench as it is, for what this version cannot read.
    """
    from match.ui.bench import contents
    from match.ui.store import store

    with st.spinner("Putting everything back…"):
        st.session_state[_LOST] = contents.put_back(left.document, store().benches.photo)
        whose.go_on_in(left.id, left.saved_at)
        if left.document["check"] and left.document["page"] != "check":
            _measure_again()


def _measure_again() -> None:
    """Make the verdict that other pages go on with; the check page itself makes its own."""
    from match.ui.check.answers import answer, settings_asked

    answer(settings_asked())


def _what(document: Mapping[str, Any]) -> str:
    """Say in a line what was left."""
    parts = [*_photo_words(document), *_page_words(document), *_pot_words(document)]
    if document.get("page") == "blend" or not parts:
        parts.append("the room of a blend")
    return capital("; ".join(parts))


def _photo_words(document: Mapping[str, Any]) -> list[str]:
    photos, check = document.get("photos") or (), document.get("check")
    if not photos:
        return []
    names = "the demo photo" if photos[0]["is_demo"] else str(photos[0]["name"])
    if len(photos) > 1:
        names += f" and {len(photos) - 1} more"
    if not check:
        return [f"{names}, {'marked' if photos[0]['marks'] else 'not marked yet'}"]
    far = "" if check["delta_e00"] is None else f", {check['delta_e00']:.1f} apart"
    return [f"{names}: {check['verdict']}{far}"]


def _page_words(document: Mapping[str, Any]) -> list[str]:
    pages = document.get("pages") or {}
    single = pages.get("single") or {}
    told = {"hiding_photo": "a card over black and white", "camera_photo": "a photo of the camera's trial"}
    steps = len(pages.get("steps") or ())
    found = [words for name, words in told.items() if name in single]
    return [*found, *([f"{steps} step{'s' * (steps != 1)} of a let-down card"] if steps else [])]


def _pot_words(document: Mapping[str, Any]) -> list[str]:
    story = (document.get("tint") or {}).get("story")
    if story is None:
        return []
    steps = len(story["steps"])
    if not steps:
        return ["a pot, nothing added yet"]
    waiting = ", its next card to come" if story["steps"][-1]["card"] is None else ""
    return [f"a pot with {steps} step{'s' * (steps != 1)}{waiting}"]


def _ago(moment: datetime) -> str:
    from match.history.words import day_and_time  # the first screen of the app comes without the history

    minutes = int((datetime.now(UTC) - moment).total_seconds() // 60)
    if minutes < 1:
        return "Left a moment ago"
    if minutes < 60:
        return f"Left {minutes} minute{'s' * (minutes != 1)} ago"
    return f"Left {day_and_time(moment)}"


def tell() -> None:
    """Say once what could not be put back, and why the bench is not kept, if it is not."""
    lost = st.session_state.pop(_LOST, ())
    if lost:
        st.html(notices((each, "Choose the photo again") for each in lost))
    why = keeping.fault()
    if why:
        say.notice("What lies on the bench is not kept for coming back.", why)
