"""Offer to put wrong marks right where the photo shows how; one press does it, and the page says what was done."""

from __future__ import annotations

import streamlit as st

from match.check.marks.mend import changes, mend_words
from match.photo.regions import Region
from match.ui import measured, session
from match.ui.kit.style import text
from match.ui.marker.box_names import called_on
from match.ui.marker.marks import from_region
from match.ui.session import ChosenPhoto, LatestCheck

_DONE = "session_mended"


def offer_mend(check: LatestCheck) -> None:
    """Show the button that mends the marks, or say that they were mended."""
    regions, words = st.session_state.get(_DONE, ((), ""))
    if words and regions == check.regions:
        st.html(f'<p class="sm-note">The marks were mended: {text(words)}. Look at the boxes: is that right?</p>')
    mended = check.result.measurement.mended
    photo = next((each for each in session.photos() if each.digest == check.photo_digest), None)
    if not mended or photo is None:
        return
    words = mend_words(changes(check.regions, mended), called_on(check.regions))
    st.button(
        f"Mend the marks: {words}",
        key="mend_marks",
        icon=":material/build:",
        width="stretch",
        on_click=_mend,
        args=(photo, mended, words),
    )


def _mend(photo: ChosenPhoto, regions: tuple[Region, ...], words: str) -> None:
    width, height = measured.size_px(photo)
    session.replace_marks(photo.digest, [from_region(region, width, height) for region in regions])
    st.session_state[_DONE] = (regions, words)
