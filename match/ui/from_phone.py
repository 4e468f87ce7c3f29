"""The photos that phones sent, with what the first look found, on every screen that shows them.

The first screen of the app counts them, so what decodes a photo is imported where one is looked at.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from match.calibration import load
from match.errors import FileError, MatchError, StoreError
from match.history.inbox import Inbox, InboxLimits, SentPhoto
from match.history.place import data_folder, history_place, is_address
from match.network.phones import PHONES
from match.ui import libraries, menu, session, visit
from match.ui.kit import say
from match.ui.kit.notices import notices
from match.ui.kit.style import text
from match.ui.session import ChosenPhoto
from match.words import listed

if TYPE_CHECKING:
    from match.check.first_look import FirstLook

REFRESH_SECONDS = 2.0
"""Engineering choice: who has sent a photo looks up at the other screen in about this time."""

SHOWN = 6
"""Engineering choice: the newest photos, as many as a screen holds; older ones are one press away."""

_THUMBNAIL_PX = 480
_ALL, _SENT = "from_phone_all", "from_phone_sent"


@dataclass(frozen=True)
class _LookedAt:
    """A photo made small, as JPEG, and its first look; or why it cannot be read."""

    small: bytes = b""
    look: FirstLook | None = None
    refusal: MatchError | None = None


def inbox() -> Inbox:
    """Return the photos from phones, which lie on this computer also where the history is on a server."""
    place = history_place()
    return Inbox(data_folder(None if is_address(place) else place), load(InboxLimits, "network", "inbox"))


def send(chosen: ChosenPhoto, upload: str) -> bool:
    """Put a photo that can be read where every screen sees it, once an ``upload``; return whether it is there.

    A page runs many times with one upload: a photo that was removed at the desk stays removed until it is sent anew.
    """
    sent = st.session_state.setdefault(_SENT, set())
    if (upload, chosen.digest) in sent:
        return True
    try:
        inbox().put(chosen.name, chosen.content)
    except (FileError, StoreError) as error:
        say.notice("The photo could not be put where the other screens see it.", error)
        return False
    sent.add((upload, chosen.digest))
    return True


def show_count() -> None:
    """Show a link to the photos from phones that says how many there are; it counts on while phones can come in."""
    st.fragment(_count, run_every=REFRESH_SECONDS if PHONES.opened else None)()


def _count() -> None:
    count = 0
    with suppress(MatchError):  # a data folder that is none is said where something is kept
        count = len(inbox().photos())
    if count:
        menu.link_to_phone(f"From the phone: {count} photo{'s' if count > 1 else ''}")
    elif not visit.is_phone():
        menu.link_to_phone("Use a phone on this network")


@st.fragment(run_every=REFRESH_SECONDS)
def show_photos() -> None:
    """Show the photos from phones, the newest first, and look again by itself."""
    photos = inbox().photos()
    if not photos:
        say.note("No photo has come from a phone yet.")
    for photo in photos if st.session_state.get(_ALL) else photos[:SHOWN]:
        _show(photo)
    if len(photos) > SHOWN:
        st.toggle(f"Show all {len(photos)}", key=_ALL)


def _show(photo: SentPhoto) -> None:
    seen = _looked_at(photo.digest, photo.name)
    with st.container(border=True, key=f"from_phone_{photo.digest[:12]}"):
        picture, words = st.columns([1, 2], gap="medium")
        if seen.small:
            picture.image(seen.small, alt="The photo, small")
        with words:
            when = photo.arrived.astimezone()
            st.html(f'<p class="sm-note">{when:%d %b, %H:%M} · {text(photo.name)}</p>{_told(seen)}')
            with st.container(horizontal=True):
                usable = not seen.refusal
                if usable and st.button("Use this photo", key=f"use_{photo.digest}", type="primary"):
                    _use(photo)
                st.button("Remove", key=f"remove_{photo.digest}", on_click=inbox().remove, args=(photo.digest,))


def _told(seen: _LookedAt) -> str:
    from match.check.first_look import names_by_kind
    from match.measure.finding import told

    if seen.look is None:
        return notices([("This photo cannot be used.", seen.refusal or "")])
    names = [_SEEN[kind] for kind in seen.look.seen]
    findings = notices([(each.text, each.remedy) for each in told(seen.look.findings, names_by_kind)])
    if not names:
        return findings
    good = "" if seen.look.findings else " Nothing speaks against it."
    return f'<p class="sm-title">{text(f"Seen: {listed(names)}.{good}")}</p>{findings}'


_SEEN = {"grey": "grey", "card": "card", "vehicle": "car"}


def _looked_at(digest: str, name: str) -> _LookedAt:
    libraries.wait()
    from match.ui.heavy import heavy_work

    with heavy_work():
        return _look(digest, name)


@st.cache_data(max_entries=64, show_spinner="Looking at the photo…")
def _look(digest: str, name: str) -> _LookedAt:
    """Look once at a photo; why one cannot be read is kept too, as a screen asks every other second."""
    from match.ui import measured
    from match.ui.kit import picture_url

    try:
        chosen = session.chosen(name, inbox().content(digest))
        small = picture_url.encoded(measured.read_photo(chosen).preview(_THUMBNAIL_PX))
        return _LookedAt(small, measured.looked_at(chosen))
    except MatchError as error:
        return _LookedAt(refusal=error)


def _use(photo: SentPhoto) -> None:
    """Lay a photo on the bench and turn to it."""
    try:
        session.put_photo(session.chosen(photo.name, inbox().content(photo.digest)))
    except StoreError as error:
        say.notice("This photo cannot be used.", error)
    else:
        menu.go_to_check_page()
