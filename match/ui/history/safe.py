"""Keep the history safe: take it away as a file, bring one in, look whether all is whole, and say where it lives."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import streamlit as st

from match.history.archive import ExportSummary
from match.history.check_fields import CheckFields
from match.history.scratch import scratch_elsewhere
from match.history.store import Store
from match.history.words import NOTHING_SAVED, export_words, health_words, import_words
from match.ui.kit import say
from match.ui.kit.download import download
from match.ui.kit.notices import steps
from match.ui.kit.style import text
from match.ui.store import keep_first, refusal_shown, show_refusal

_READY, _BROUGHT_IN = "history_file_ready", "history_brought_in"


@dataclass(frozen=True)
class _ReadyFile:
    """A file made ready for the browser to fetch."""

    name: str
    content: bytes
    words: tuple[str, ...]


def show_safe(store: Store, wanted: CheckFields) -> None:
    """Show the place and the ways to take it away and bring it back; ``wanted`` narrows the spreadsheet only."""
    st.html(f'<p class="sm-meaning">It lives in <b>{text(store.place)}</b> on the computer that runs this app.</p>')
    with refusal_shown("The file could not be made."):
        _offer_files(store, wanted)
    if store.read_only:
        say.notice(NOTHING_SAVED, "To go on saving, copy the folder to a disk that may be written")
    _offer_verify(store)
    _offer_import(store)
    _offer_restore()
    st.html(
        '<p class="sm-note">A file too big to upload is brought in on the command line: '
        "<code>python -m match history import FILE</code>, or <code>restore FILE --data FOLDER</code>.</p>"
    )


def _offer_files(store: Store, wanted: CheckFields) -> None:
    with st.container(horizontal=True):
        export = st.button("Make an export", key="safe_export", help="Every record and photo in an open layout (zip).")
        backup = st.button("Make a backup", key="safe_backup", help="The database as it stands now, with photos (zip).")
        sheet = st.button("Make a spreadsheet", key="safe_csv", help="The checks found above, one a line (CSV).")
    day = datetime.now(UTC).astimezone().strftime("%Y-%m-%d")
    if export:
        _make_ready(f"colours-{day}.zip", store.export_archive)
    if backup:
        _make_ready(f"colours-backup-{day}.zip", store.back_up)
    if sheet:
        content = store.checks_csv(**wanted)
        st.session_state[_READY] = _ReadyFile(f"checks-{day}.csv", content, ())
    ready = st.session_state.get(_READY)
    if isinstance(ready, _ReadyFile):
        if ready.words:
            st.html(steps(ready.words))
        download(f"Save {ready.name}", ready.content, ready.name, key="safe_download", is_main=True)


def _make_ready(name: str, write: Callable[[Path], ExportSummary]) -> None:
    with st.spinner("Packing…"), scratch_elsewhere() as folder:
        target = folder / name
        summary = write(target)
        content = target.read_bytes()
    st.session_state[_READY] = _ReadyFile(name, content, export_words(summary))


def _offer_verify(store: Store) -> None:
    if st.button("Verify everything", key="safe_verify", help="Reads the database and every byte of every photo."):
        with st.spinner("Looking at everything…"), refusal_shown("It could not be looked at."):
            st.html(f'<div role="status">{steps(health_words(store.verify()))}</div>')
    left = store.leftovers()
    if left and not store.read_only:
        st.button(
            f"Clear {len(left)} leftover{'s' * (len(left) != 1)}",
            key="safe_clear",
            help="What programs left that were stopped while writing; nothing that is kept.",
            on_click=keep_first,
            args=("The leftovers could not be cleared.", "safe_clear", _clear, store),
        )
    show_refusal("safe_clear")


def _clear(store: Store) -> None:
    st.toast(f"Cleared {store.clear_leftovers()}.")


def _offer_import(store: Store) -> None:
    given = st.file_uploader("Bring in an export", type="zip", key="safe_import")
    if given is not None and st.button("Add what is in it", key="safe_import_press"):
        with st.spinner("Reading the export…"), refusal_shown("Nothing was brought in."):
            st.session_state[_BROUGHT_IN] = import_words(store.import_archive(given))
            st.rerun()
    words = st.session_state.get(_BROUGHT_IN)
    if words:
        st.html(f'<div role="status">{steps(words)}</div>')


def _offer_restore() -> None:
    given = st.file_uploader("Restore a backup into a new folder", type="zip", key="safe_restore")
    if given is None:
        return
    folder = st.text_input("New data folder", key="safe_restore_folder", placeholder="A folder that does not exist yet")
    if st.button("Restore", key="safe_restore_press", disabled=not folder.strip()):
        with st.spinner("Restoring…"), refusal_shown("Nothing was restored."):
            with Store.restore(given, folder.strip()) as restored:
                place, total = restored.place, restored.find_checks(per_page=1).total
            st.html(
                f'<p class="sm-meaning" role="status">Restored {total} checks into <b>{text(place)}</b>. To use it, '
                "start the app again with <code>--data</code> and this folder.</p>"
            )
