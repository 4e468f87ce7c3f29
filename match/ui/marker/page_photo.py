"""A photo that belongs to one page alone: chosen, kept for the visit, and marked with that page's own kinds of mark."""

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from match.errors import PhotoError
from match.photo.regions import Kind, Region
from match.ui import measured, session
from match.ui.kit import say
from match.ui.kit.style import text
from match.ui.marker.marks import Mark, MarkKind, to_region, to_regions
from match.ui.marker.region_marker import region_marker
from match.ui.session import ChosenPhoto


def upload(label: str, key: str) -> ChosenPhoto | None:
    """Ask for a photo; None until one is there that can be read."""
    given = st.file_uploader(label, key=key)
    if given is None:
        return None
    photo = session.chosen(given.name, given.getvalue())
    try:
        measured.read_photo(photo)
    except PhotoError as error:
        say.notice("This file cannot be used.", error)
        return None
    return photo


def mark(photo: ChosenPhoto, page: str, kinds: Sequence[MarkKind]) -> list[Mark]:
    """Show the photo with its marks and return them."""
    marks = region_marker(
        measured.preview(photo),
        marks_of(photo, page),
        marks_key(photo, page),
        photo_size_px=measured.size_px(photo),
        greys=measured.greys(),
        kinds=kinds,
        grow=lambda tap, others: measured.grown(photo, tap, others),
        invented=photo.is_demo,
    )
    put_marks(photo, page, marks)
    return marks


def marks_key(photo: ChosenPhoto, page: str) -> str:
    """Return the name under which the browser's marks of a photo live in the session state."""
    return f"{page}-marks-{photo.digest[:12]}"


def marks_of(photo: ChosenPhoto, page: str) -> tuple[Mark, ...]:
    """Return the marks last made on a photo of a page."""
    return tuple(st.session_state.get(f"{marks_key(photo, page)}-kept", ()))


def put_marks(photo: ChosenPhoto, page: str, marks: Sequence[Mark]) -> None:
    """Keep the marks of a photo for the visit; before it is first shown, those that it begins with."""
    st.session_state[f"{marks_key(photo, page)}-kept"] = tuple(marks)


def greys_in(marks: Sequence[Mark], photo: ChosenPhoto) -> tuple[Region, ...]:
    """Return the grey references among marks, in pixels."""
    return to_regions([each for each in marks if each.kind == Kind.GREY.value], *measured.size_px(photo))


def place(marks: Sequence[Mark], kind: MarkKind, photo: ChosenPhoto) -> Region:
    """Return the one place marked as ``kind``, in pixels."""
    found = next(each for each in marks if each.kind == kind.name)
    return to_region(replace(found, kind=Kind.CARD.value), *measured.size_px(photo))


def lacks(marks: Sequence[Mark], kinds: Sequence[MarkKind]) -> bool:
    """Return whether a required kind is not marked yet, and list what is still wanted."""
    marked = {each.kind for each in marks}
    if all(kind.name in marked for kind in kinds if kind.required):
        return False
    items = "".join(f"<li>{text(kind.label)}{' ✓ marked' if kind.name in marked else ''}</li>" for kind in kinds)
    st.html(
        f'<div class="sm-waiting"><b>Mark these on the photo; the answer then appears here.</b><ol>{items}</ol></div>'
    )
    return True


def told(word: str, deed: str, state: str) -> str:
    """Return an answer in the look of a verdict, as HTML; ``state`` names it for tests."""
    return (
        f'<div class="sm-verdict" data-answer="{text(state)}" role="status"><div><div class="word">{text(word)}</div>'
        f'<div class="deed">{text(deed)}</div></div></div>'
    )
