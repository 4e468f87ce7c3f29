"""Offer to put right what the photos show to be wrong, or to say that a doubted mark is right: one press each."""

import streamlit as st

from match.check.marks.code import words_on
from match.check.marks.mend import changes, mend_words
from match.photo.regions import Region
from match.several.angle_order import exchanged, exchanged_words
from match.several.photo_set import Angle
from match.several.travel import CALLED
from match.ui import measured, session
from match.ui.check.photo_set import exchange_uses
from match.ui.kit import say
from match.ui.kit.style import unmarked
from match.ui.marker.box_names import called_on
from match.ui.marker.marks import from_region
from match.ui.session import ChosenPhoto, LatestCheck
from match.words import listed

_DONE = "session_mended"
_EXCHANGED = "session_exchanged"


def offer_mend(check: LatestCheck) -> None:
    """Show the button that mends the marks, or say that they were mended."""
    photo = next((each for each in session.photos() if each.digest == check.photo_digest), None)
    if photo is None:
        return
    regions, words, before = st.session_state.get(_DONE, ((), "", ()))
    if words and regions == check.regions:
        say.note(f"The marks were mended: {words}. Look at the boxes: is that right?")
        st.button(
            "No: put them back", key="mend_back", icon=":material/undo:", on_click=_put_marks, args=(photo, before)
        )
    mended = check.result.measurement.mended
    if not mended:
        return
    words = mend_words(changes(check.regions, mended), called_on(check.regions))
    st.button(
        f"Mend the marks: {unmarked(words)}",
        key="mend_marks",
        type="primary",
        icon=":material/build:",
        width="stretch",
        on_click=_mend,
        args=(photo, mended, words, check.regions),
    )


def ask_whether_right(check: LatestCheck) -> None:
    """Show a button for each photo that answers what is asked of its marks, where a person's word would do.

    Of several photos any may be in doubt, not only the one that governs.
    """
    on_bench = {photo.digest for photo in session.photos()}
    if check.together is None:
        asked = [("", check.photo_digest, check.regions, check.result.measurement.if_sure)]
    else:
        pairs = zip(check.together.photos, check.photos, strict=True)
        asked = [(read.name, kept.sha256, kept.regions, read.measurement.if_sure) for read, kept in pairs]
    for name, digest, regions, sure in asked:
        if sure and digest in on_bench:
            _ask_of_photo(name, digest, regions, sure)


def _ask_of_photo(name: str, digest: str, regions: tuple[Region, ...], sure: tuple[Region, ...]) -> None:
    names = called_on(regions)
    said = [
        f"{names(was)} is {listed(words_on(now, was.sure))}"
        for was, now in zip(regions, sure, strict=True)
        if now.sure != was.sure
    ]
    st.button(
        unmarked(f"{f'{name}, I looked' if name else 'I looked'}: {', '.join(said)}"),
        key=f"marks_are_right_{digest[:12]}" if name else "marks_are_right",
        icon=":material/visibility:",
        width="stretch",
        on_click=session.say_marks_are_right,
        args=(digest, sure),
    )


def offer_to_take_back(digest: str) -> None:
    """Show the button that takes a person's word on a photo's marks back: one press gave it, so one press undoes it."""
    st.button(
        "Take that back",
        key=f"take_word_back_{digest[:12]}",
        icon=":material/undo:",
        on_click=session.take_word_back,
        args=(digest,),
    )


def offer_exchange(check: LatestCheck) -> None:
    """Show the button that exchanges two angles that look swapped, or say that they were exchanged."""
    photos = tuple(photo.digest for photo in session.photos())
    done_with, words = st.session_state.get(_EXCHANGED, ((), ""))
    if words and done_with == photos:
        say.note(words)
    called = exchanged(check.result.warnings)
    if not called:
        return
    st.button(
        f"Exchange them: what is called {' with what is called '.join(CALLED[angle] for angle in called)}",
        key="exchange_angles",
        icon=":material/swap_vert:",
        width="stretch",
        on_click=_exchange,
        args=(called, photos),
    )


def _exchange(called: dict[Angle, Angle], photos: tuple[str, ...]) -> None:
    exchange_uses(called)
    st.session_state[_EXCHANGED] = (photos, exchanged_words(called))


def _mend(photo: ChosenPhoto, regions: tuple[Region, ...], words: str, before: tuple[Region, ...]) -> None:
    _put_marks(photo, regions)
    # the page forgets every word once a mark is another, so that is what the next check will have
    st.session_state[_DONE] = (tuple(region.unsaid for region in regions), words, before)


def _put_marks(photo: ChosenPhoto, regions: tuple[Region, ...]) -> None:
    width, height = measured.size_px(photo)
    session.replace_marks(photo.digest, [from_region(region, width, height) for region in regions])
