"""One photo on the bench: its first marks come from the photo itself or the photo before, and a person accepts them."""

from collections.abc import Sequence

import streamlit as st

from match.ui import measured, session
from match.ui.kit import say
from match.ui.kit.style import text
from match.ui.marker.first_marks import Source, Start, carried, joined
from match.ui.marker.marks import CHECK_KINDS, Mark
from match.ui.marker.region_marker import region_marker
from match.ui.session import ChosenPhoto

_TITLES = {
    Source.SHEET: "These marks were found for you",
    Source.PICTURE: "These marks were found for you",
    Source.CARRIED: "These boxes come from your first photo",
}


def mark_photo(photo: ChosenPhoto, before: Sequence[Mark] = ()) -> list[Mark]:
    """Show the photo with its marks and return them; ``before`` are those of the photo before it."""
    _begin(photo, before)
    loaded = measured.read_photo(photo)
    marks = region_marker(
        measured.preview(photo),
        session.marks(photo.digest),
        session.marker_key(photo.digest),
        photo_size_px=(loaded.width, loaded.height),
        greys=measured.greys(),
        grow=lambda tap, others: measured.grown(photo, tap, others),
        invented=photo.is_demo,
    )
    session.remember_marks(photo.digest, marks)
    return marks


def _begin(photo: ChosenPhoto, before: Sequence[Mark]) -> None:
    """Look for marks once, and only where none was made by hand."""
    if session.start(photo.digest) is not None:
        return
    if session.marks(photo.digest) or "regions" in (st.session_state.get(session.marker_key(photo.digest)) or {}):
        session.put_start(photo.digest, Start(Source.HAND))
        return
    found = measured.found_marks(photo)
    if before and found.start.source is not Source.SHEET:
        found = carried(before)
    session.remember_marks(photo.digest, found.marks)
    session.put_start(photo.digest, found.start)


def is_pending(photo: ChosenPhoto) -> bool:
    """Return whether the photo's marks still wait for a person's word."""
    start = session.start(photo.digest)
    return start is not None and start.pending


def missing(marks: Sequence[Mark]) -> list[str]:
    """Return the required kinds that are not marked."""
    marked = {mark.kind for mark in marks}
    return [kind.name for kind in CHECK_KINDS if kind.required and kind.name not in marked]


def ask_to_accept(photo: ChosenPhoto) -> None:
    """Say what was found, and ask for a look at every box before anything is measured."""
    start = session.start(photo.digest)
    if start is None:
        return
    told = "".join(f"<p>{text(words)}</p>" for words in start.sentences)
    st.html(
        f'<div class="sm-found" role="status"><b>{_TITLES[start.source]}</b>{told}'
        "<p>Look at each box: it must lie inside what it names, clear of edges, reflections and shadow. Drag what does "
        "not. Nothing is measured before you accept.</p></div>"
    )
    if st.button("Use these marks", key="use_marks", type="primary", icon=":material/check:", width="stretch"):
        session.put_start(photo.digest, start.accepted())
        st.rerun()
    if st.button("Clear them and mark by hand", key="clear_marks", width="stretch"):
        session.replace_marks(photo.digest, ())
        session.put_start(photo.digest, Start(Source.HAND))
        st.rerun()


def ask_for_marks(photo: ChosenPhoto, marks: Sequence[Mark]) -> None:
    """Say which marks are still wanted, and what the photo itself did not show."""
    start = session.start(photo.digest)
    lacking = missing(marks)
    items = "".join(f"<li>{text(kind.label)}{'' if kind.name in lacking else ' ✓ marked'}</li>" for kind in CHECK_KINDS)
    told = "".join(f"<p>{text(words)}</p>" for words in start.sentences) if start else ""
    st.html(
        '<div class="sm-waiting"><b>Mark these three on the photo; the answer then appears here.</b>'
        f"<ol>{items}</ol>{told}</div>"
    )
    if start and start.source is Source.HAND:
        _offer_search(photo, marks)


def _offer_search(photo: ChosenPhoto, marks: Sequence[Mark]) -> None:
    if not st.button("Look for the missing marks", key="find_marks", icon=":material/search:", width="stretch"):
        return
    loaded = measured.read_photo(photo)
    found = joined(marks, measured.found_marks(photo), loaded.width, loaded.height)
    session.replace_marks(photo.digest, found.marks)
    session.put_start(photo.digest, found.start)
    st.rerun()


def sheet_note(photo: ChosenPhoto) -> None:
    """Keep the sheet's scale and tilt in sight after its marks were accepted."""
    start = session.start(photo.digest)
    if start and start.source is Source.SHEET and not start.pending:
        say.note(start.sentences[0])
