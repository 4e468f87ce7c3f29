"""What a visit to the app remembers from page to page: the photo, its marks, and the latest check.

Other pages read these; only the check page writes them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import streamlit as st

from match.check import CheckResult
from match.measure.regions import Region
from match.ui.marks import Mark

_PHOTO, _MARKS, _CHECK = "session_photo", "session_marks", "session_check"


@dataclass(frozen=True)
class ChosenPhoto:
    """The file a visitor chose; ``digest`` is the SHA-256 of its bytes in hexadecimal digits."""

    name: str
    content: bytes
    digest: str
    is_demo: bool = False


@dataclass(frozen=True)
class LatestCheck:
    """The last verdict with what it was made from; the regions are in pixels of the upright photo."""

    photo_name: str
    photo_digest: str
    regions: tuple[Region, ...]
    result: CheckResult


def chosen(name: str, content: bytes, is_demo: bool = False) -> ChosenPhoto:
    """Return the photo of these bytes, with its digest."""
    return ChosenPhoto(name, content, hashlib.sha256(content).hexdigest(), is_demo)


def photo() -> ChosenPhoto | None:
    """Return the photo on the bench, if there is one."""
    found = st.session_state.get(_PHOTO)
    return found if isinstance(found, ChosenPhoto) else None


def put_photo(photo: ChosenPhoto | None) -> None:
    """Put a photo on the bench, or clear it; the latest check was made from the old one, so it goes."""
    st.session_state[_PHOTO] = photo
    forget_check()


def marks(digest: str) -> list[Mark]:
    """Return the marks last made on the photo with this digest."""
    return list(st.session_state.get(_MARKS, {}).get(digest, ()))


def remember_marks(digest: str, marks: Sequence[Mark]) -> None:
    """Keep the marks of a photo, so that they are still there when it is shown again."""
    st.session_state[_MARKS] = {**st.session_state.get(_MARKS, {}), digest: tuple(marks)}


def latest_check() -> LatestCheck | None:
    """Return the last verdict of this visit, if its photo is still on the bench."""
    found = st.session_state.get(_CHECK)
    return found if isinstance(found, LatestCheck) else None


def remember_check(check: LatestCheck) -> None:
    """Keep a verdict for the other pages."""
    st.session_state[_CHECK] = check


def forget_check() -> None:
    """Drop the verdict: its marks or photo are no longer what it was made from."""
    st.session_state.pop(_CHECK, None)
