"""Keep the bench whenever something on it changed, and offer it to whoever comes back."""

import json
import time
from pathlib import Path

import streamlit as st

from match.errors import MatchError
from match.history.place import data_folder, history_place, is_address
from match.ui import session
from match.ui.bench import fields, whose

RETRY_SECONDS = 15.0
"""Engineering choice: a try may wait long for a lock, so what was refused is not tried again at every press."""

_LAST, _FAULT, _REFUSED = "bench_last", "bench_fault", "bench_refused"
_WORK = ("tint_story", "tint_letdowns", "hiding_photo", "camera_photo", "let_down_steps")


def is_empty() -> bool:
    """Return whether neither photo nor pot lies on this visit's bench."""
    return session.photo() is None and not any(st.session_state.get(name) for name in _WORK)


def _has_work() -> bool:
    """Return whether anything worth keeping lies on this visit's bench: photo, pot or a planned room."""
    planned = fields.is_room_planned()
    return planned or not is_empty()


def keep(page: str) -> None:
    """Keep the bench if it changed since it was last kept; a refusal is remembered, and tried again a while later.

    ``page`` is the address of the page that was shown. Asks nothing of Streamlit but the session's values, so that it
    can be called while a page is being left.
    """
    owner = whose.owner()
    if owner is None:
        return
    if not _has_work():
        if _LAST in st.session_state:
            del st.session_state[_LAST]
            whose.begin_anew()
        return
    from match.ui.bench import contents
    from match.ui.store import store

    told = contents.document(page)
    written = json.dumps(told, sort_keys=True)
    if written == st.session_state.get(_LAST) and not _is_due():
        return
    st.session_state[_LAST] = written
    try:
        kept_at = store().benches.keep(whose.row(), owner, told, contents.photos(), whose.seen())
        if kept_at is None:  # another screen went on with it since: what both have is kept
            whose.begin_anew()
            kept_at = store().benches.keep(whose.row(), owner, told, contents.photos())
        if kept_at is not None:
            whose.go_on_in(whose.row(), kept_at)
        st.session_state.pop(_FAULT, None)
    except MatchError as error:
        st.session_state[_FAULT], st.session_state[_REFUSED] = str(error), time.monotonic()


def _is_due() -> bool:
    """Return whether the bench was refused so long ago that it is worth another try."""
    return _FAULT in st.session_state and time.monotonic() - st.session_state[_REFUSED] >= RETRY_SECONDS


def fault() -> str | None:
    """Return why the bench could not be kept last, if it could not."""
    found = st.session_state.get(_FAULT)
    return str(found) if found else None


def were_any_kept() -> bool:
    """Return whether any bench was ever kept on this computer: looked at before a database is opened."""
    place = history_place()
    folder = data_folder(None) if is_address(place) else data_folder(place)
    return (Path(folder) / "bench").is_dir()
