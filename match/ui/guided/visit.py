"""A visit's guided check: begun on an invented photo beside the person's own work, left without a trace, or resumed.

The person's work is laid aside and put back; the guided check is kept in a row of its own until it is left, so that a
reload goes on with it. Nothing of it reaches the history unless *Save this check* is pressed in its last step.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

import streamlit as st

from match.errors import MatchError
from match.ui import libraries, session
from match.ui.bench import aside, keeping, offer, whose
from match.ui.menu import page_at

if TYPE_CHECKING:
    from match.history.benches import KeptBench
    from match.ui.guided.steps import Step
    from match.ui.marker.marks import Mark

ADDRESS = "practice"
"""What the page's address holds meanwhile, so that a reload is known from a new visit."""

_STEP, _PLACES, _ASIDE, _DONE, _TURN = (f"guided_{name}" for name in ("step", "places", "aside", "done", "turn"))


def is_on() -> bool:
    """Return whether this visit is in the guided check."""
    return _STEP in st.session_state


def may_save() -> bool:
    """Return whether saving is on offer: always, but in the guided check in its last step alone."""
    return not is_on() or step().value == "save"


def step() -> Step:
    """Return the step that the visit is at."""
    found: Step = st.session_state[_STEP]
    return found


def put_step(step: Step) -> Step:
    """Go on at a step, and return it."""
    st.session_state[_STEP] = step
    return step


def places() -> tuple[Mark, ...]:
    """Return the demo photo's own boxes."""
    from match.ui.marker.marks import Mark

    return tuple(Mark(**each) for each in st.session_state[_PLACES])


def ask_for(page: str) -> None:
    """Let the next run turn to the page of this address: a callback cannot turn itself."""
    st.session_state[_TURN] = page


def turn(page: str) -> None:
    """Turn to the page that was asked for, if that is not the one of this address."""
    asked = st.session_state.pop(_TURN, page)
    if asked != page:
        st.switch_page(page_at(asked))


def begin() -> None:
    """Lay the person's own work aside and put the demo photo on the bench, nothing marked on it."""
    libraries.wait()
    from match.demo.photos import demo_photo
    from match.ui import measured
    from match.ui.guided.steps import ORDER
    from match.ui.marker.first_marks import Source, Start
    from match.ui.marker.marks import from_region

    content, regions = demo_photo()
    photo = session.chosen("demo.jpg", content, is_demo=True)
    size = measured.size_px(photo)
    _forget_kept()
    st.session_state[_ASIDE] = aside.lay_aside()
    session.put_photo(photo)
    session.put_start(photo.digest, Start(Source.HAND))
    st.session_state[_PLACES] = tuple(from_region(region, *size).as_dict() for region in regions)
    st.session_state[_STEP] = ORDER[0]


def leave(*, done: bool = False) -> None:
    """Put the person's own work back as it was; before any field of the page is drawn."""
    work = st.session_state.pop(_ASIDE, {})
    for name in (_STEP, _PLACES):
        st.session_state.pop(name, None)
    aside.put_back(work)
    _forget_kept()
    if ADDRESS in st.query_params:
        del st.query_params[ADDRESS]
    st.session_state[_DONE] = done


def was_done() -> bool:
    """Return, once, whether the guided check was just gone through to its end."""
    return bool(st.session_state.pop(_DONE, False))


def resume() -> None:
    """Go on with the guided check after a reload, where the address tells of one and this browser left one."""
    if is_on() or ADDRESS not in st.query_params:
        return
    libraries.wait()
    left = _kept() if keeping.is_empty() else []
    with suppress(MatchError):
        if left:
            offer.bring_back(left[0])
    if not is_on():
        del st.query_params[ADDRESS]


def _kept() -> list[KeptBench]:
    """Return the guided checks that this browser left, the newest first."""
    owner = whose.owner()
    with suppress(MatchError):
        if owner is not None and keeping.were_any_kept():
            from match.ui.store import store

            return [each for each in store().benches.of(owner) if offer.is_guided(each)]
    return []


def _forget_kept() -> None:
    owner = whose.owner()
    with suppress(MatchError):
        for each in _kept():
            from match.ui.store import store

            store().benches.forget(each.id, str(owner))
