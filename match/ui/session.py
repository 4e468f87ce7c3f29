"""What a visit to the app remembers from page to page: the photos, their marks, and the latest check.

Other pages read these; only the check page writes them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import streamlit as st

from match.ui.bench import whose

if TYPE_CHECKING:  # the first screen of the app needs none of them
    from match.check.cards import CardsAnswer
    from match.check.mirrored import Mirrored
    from match.check.result import CheckResult
    from match.check.saved import CheckedPhoto
    from match.photo.regions import Region
    from match.several.judge import SetAnswer
    from match.several.photo_set import PhotoUse
    from match.ui.marker.first_marks import Start
    from match.ui.marker.marks import Mark

MIRRORED = "session_mirrored"
"""What the paint of the photos on the bench mirrors: the key of the box that asks, and of its answer."""

CARD_NAME = "session_card_name"
"""Which of several cards on the bench counts: the key of the choice, and of its answer; none is the nearest."""

_PHOTO, _MARKS, _CHECK = "session_photo", "session_marks", "session_check"
_ADDED, _USES, _BENCH, _STARTS, _TURNS = (f"session_{name}" for name in ("added", "uses", "bench", "starts", "turns"))
_SURE = "session_sure"


@dataclass(frozen=True)
class ChosenPhoto:
    """The file a visitor chose; ``digest`` is the SHA-256 of its bytes in hexadecimal digits."""

    name: str
    content: bytes
    digest: str
    is_demo: bool = False


@dataclass(frozen=True)
class LatestCheck:
    """The last verdict with what it was made from; the regions are in pixels of the upright photo.

    Of several photos, name, digest and regions are those of the first at the angle that governs; ``together`` then
    holds what all of them say, and ``photos`` every photo. Of several cards, the result is that of the one at the
    front, and ``cards`` holds all.
    """

    photo_name: str
    photo_digest: str
    regions: tuple[Region, ...]
    result: CheckResult
    together: SetAnswer | None = None
    photos: tuple[CheckedPhoto, ...] = ()
    cards: CardsAnswer | None = None

    @property
    def photo(self) -> CheckedPhoto:
        """The photo at the front."""
        from match.check.saved import CheckedPhoto

        return CheckedPhoto(self.photo_name, self.photo_digest, self.regions)

    def document(self) -> dict[str, Any]:
        """Return the check as it is saved; see :func:`match.check.saved.document`."""
        from match.check.saved import document

        together = self.together.as_dict() if self.together else None
        return document(self.result, self.photo, self.photos, together, self.cards)


def chosen(name: str, content: bytes, is_demo: bool = False) -> ChosenPhoto:
    """Return the photo of these bytes, with its digest."""
    return ChosenPhoto(name, content, hashlib.sha256(content).hexdigest(), is_demo)


def mirrored(digest: str) -> Mirrored | None:
    """Return what the paint mirrors, as somebody said of the photos on the bench; nothing for other photos."""
    from match.check.mirrored import Mirrored

    said = st.session_state.get(MIRRORED)
    on_bench = any(each.digest == digest for each in photos())
    return Mirrored(said) if said and on_bench else None


def photo() -> ChosenPhoto | None:
    """Return the first photo of the check, if there is one."""
    found = st.session_state.get(_PHOTO)
    return found if isinstance(found, ChosenPhoto) else None


def put_photo(photo: ChosenPhoto | None) -> None:
    """Begin with a photo, or clear the bench; what was said of the old photos goes with them."""
    if st.session_state.get(_PHOTO) is not None:
        whose.begin_anew()
    for name in (_ADDED, _USES, _BENCH, MIRRORED, CARD_NAME):
        st.session_state.pop(name, None)
    st.session_state[_PHOTO] = photo
    forget_check()


def photos() -> tuple[ChosenPhoto, ...]:
    """Return all photos of the check, in the order they were given."""
    first = photo()
    return () if first is None else (first, *st.session_state.get(_ADDED, ()))


def add_photo(photo: ChosenPhoto, use: PhotoUse | None) -> None:
    """Add a photo to the check and put it on the bench; without a use, what it is for is still to be said."""
    st.session_state[_ADDED] = (*st.session_state.get(_ADDED, ()), photo)
    if use:
        put_use(photo.digest, use)
    put_bench(photo.digest)


def remove_photo(digest: str) -> None:
    """Take an added photo out of the check; the first one stays."""
    st.session_state[_ADDED] = tuple(each for each in st.session_state.get(_ADDED, ()) if each.digest != digest)


def bench() -> ChosenPhoto | None:
    """Return the photo whose marks are shown: the one last put there, else the first."""
    digest = st.session_state.get(_BENCH)
    return next((each for each in photos() if each.digest == digest), photo())


def put_bench(digest: str) -> None:
    """Show the photo with this digest."""
    st.session_state[_BENCH] = digest


def use(digest: str) -> PhotoUse:
    """Return what the photo with this digest is for: face-on, an added one the card again, until something is said."""
    from match.several.photo_set import PhotoUse, Role

    found = st.session_state.get(_USES, {}).get(digest)
    if isinstance(found, PhotoUse):
        return found
    is_added = any(each.digest == digest for each in photos()[1:])
    return PhotoUse(role=Role.REPEAT) if is_added else PhotoUse()


def use_is_said(digest: str) -> bool:
    """Return whether somebody said what the photo is for."""
    return digest in st.session_state.get(_USES, {})


def put_use(digest: str, use: PhotoUse) -> None:
    """Say what a photo is for."""
    _put(_USES, digest, use)


def marks(digest: str) -> list[Mark]:
    """Return the marks last made on the photo with this digest."""
    return list(st.session_state.get(_MARKS, {}).get(digest, ()))


def remember_marks(digest: str, marks: Sequence[Mark]) -> None:
    """Keep the marks of a photo, so that they are still there when it is shown again."""
    _put(_MARKS, digest, tuple(marks))


def say_marks_are_right(digest: str, regions: tuple[Region, ...]) -> None:
    """Keep a person's word on some of a photo's marks for as long as none of them moves or is called another."""
    _put(_SURE, digest, regions)


def take_word_back(digest: str) -> None:
    """Forget what a person said of a photo's marks."""
    _put(_SURE, digest, ())


def said(digest: str) -> tuple[Region, ...]:
    """Return the marks of a photo as a person last said that some are right; none where nobody did."""
    found: tuple[Region, ...] = st.session_state.get(_SURE, {}).get(digest, ())
    return found


def as_said(digest: str, regions: tuple[Region, ...]) -> tuple[Region, ...]:
    """Return the marks with what a person said of them, where they are still those that it was said of."""
    said_of = said(digest)
    return said_of if tuple(each.unsaid for each in said_of) == regions else regions


def start(digest: str) -> Start | None:
    """Return where the photo's first marks came from; None for a photo not yet looked at."""
    found: Start | None = st.session_state.get(_STARTS, {}).get(digest)
    return found


def put_start(digest: str, start: Start) -> None:
    """Say where the photo's first marks came from, and whether they still wait to be accepted."""
    _put(_STARTS, digest, start)


def marker_key(digest: str) -> str:
    """Return the name under which the photo's marks live in the session state while it is on the bench."""
    turn = st.session_state.get(_TURNS, {}).get(digest, 0)
    return f"marks-{digest[:12]}" + (f"-{turn}" if turn else "")


def replace_marks(digest: str, marks: Sequence[Mark]) -> None:
    """Put other marks in place of those the browser holds: it owns them under one name, so the name changes."""
    _put(_TURNS, digest, st.session_state.get(_TURNS, {}).get(digest, 0) + 1)
    remember_marks(digest, marks)


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


def _put(name: str, digest: str, value: Any) -> None:
    st.session_state[name] = {**st.session_state.get(name, {}), digest: value}
