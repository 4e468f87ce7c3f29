"""The shop's shelves (paint lines) to choose from, and a list of toners pasted, uploaded or downloaded."""

import streamlit as st

from match.errors import MatchError
from match.tint import shelf_file as shelves
from match.tint.shelf_file import Shelf
from match.tint.toner_table import COLUMNS, COLUMNS_HELP, RowFault, TonerTable, read_table, table_text, written_table
from match.ui.kit import say
from match.ui.kit.download import download
from match.ui.kit.notices import notices, sentence
from match.ui.store import keep_first, show_refusal
from match.ui.tint import state

_SHELF, _PASTED, _FILE, _NEW, _SAID = (f"tint_list_{each}" for each in ("shelf", "pasted", "file", "new_shelf", "said"))
_PLACE, _REFUSED = "tint_list", "The list could not be kept."
_HEIGHT_PX = 120


def ask_shelf(shelf: Shelf) -> None:
    """Let another shelf be chosen, where there are several."""
    names = list(shelves.read_shelves().entries)
    if len(names) < 2:
        return
    st.session_state[_SHELF] = shelf.name
    st.selectbox(
        "Shelf",
        names,
        format_func=lambda name: name or shelves.FIRST_SHELF_WORDS.capitalize(),
        key=_SHELF,
        on_change=keep_first,
        args=(_REFUSED, _PLACE, _choose),
    )


def ask_list(shelf: Shelf) -> None:
    """Show the form for a list, what is wrong with it, and the list of what is on the shelf."""
    st.html("<p class='sm-title'>Read a list</p>")
    st.text_area(
        "Paste the cells of a table",
        key=_PASTED,
        height=_HEIGHT_PX,
        placeholder="name;like;strength;lowest;highest;own binder;weak version of",
        help=f"The first row names the columns: {COLUMNS_HELP}.",
    )
    uploaded = st.file_uploader("Or upload it", type=["csv", "tsv", "txt"], key=_FILE)
    st.text_input("Onto a new shelf (a paint line); empty for this one", key=_NEW)
    if said := st.session_state.pop(_SAID, ""):
        say.meaning(said, is_news=True)
    show_refusal(_PLACE)
    content = uploaded.getvalue() if uploaded is not None else st.session_state[_PASTED].encode()
    if content.strip():
        _show_read(content)
    own = shelves.read_shelves().entries[shelf.name]
    words = "Download my toners as a list" if own else "Download the headings of a list"
    written = written_table(own) if own else ",".join(COLUMNS) + "\r\n"
    download(words, written, "toners.csv", key="tint_list_download")


def _show_read(content: bytes) -> None:
    """Say which rows are good and which are not, and offer to keep the good ones."""
    try:
        found = _read(content)
    except MatchError as error:
        say.notice("This list cannot be read.", error)
        return
    if found.unread:
        say.note(f"Not read: the columns {', '.join(found.unread)}.")
    if found.faults:
        st.html(notices([(_where(fault), sentence(fault.words)) for fault in found.faults]))
    if not found.entries:
        return
    good, bad = len(found.entries), len(found.faults)
    st.button(
        f"Put the {good} good rows on the shelf, leave out {bad}" if bad else f"Put the {good} toners on the shelf",
        key="tint_list_keep",
        on_click=keep_first,
        args=(_REFUSED, _PLACE, _keep, found),
    )


def _read(content: bytes) -> TonerTable:
    shelf = st.session_state[_NEW] or None
    return read_table(table_text(content), shelves.known_for_table(state.calibration().limits, shelf))


def _where(fault: RowFault) -> str:
    return f"Line {fault.line}, {fault.name}" if fault.name else f"Line {fault.line}"


def _keep(found: TonerTable) -> None:
    shelves.keep_entries(found.entries, st.session_state[_NEW] or None)
    state.allow_all()
    st.session_state[_SAID] = f"{len(found.entries)} toners are on the shelf."
    st.session_state[_PASTED] = st.session_state[_NEW] = ""


def _choose() -> None:
    shelves.choose(st.session_state[_SHELF])
    state.allow_all()
