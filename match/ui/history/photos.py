"""The photos of a saved check: shown with its marks, missing or changed ones said, and put back on the bench."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import streamlit as st

from match.check.saved import read_saved
from match.check.verdict import Finish
from match.errors import MatchError, StoreError
from match.history.check_marks import marks_by_photo
from match.history.records import CheckRecord
from match.history.store import Store
from match.history.words import day_and_time
from match.photo import load as photo_reading
from match.photo.cut_outs import box_names, cut_outs, with_marks
from match.photo.regions import Region
from match.several.photo_set import Angle, PhotoUse, Role
from match.ui import measured, session
from match.ui.history.save import correct_with
from match.ui.kit import picture_url, say
from match.ui.kit.strip import strip
from match.ui.marker.box_names import said_right
from match.ui.marker.first_marks import Source, Start
from match.ui.marker.marks import Mark, from_region
from match.ui.menu import go_to_check_page
from match.ui.session import ChosenPhoto
from match.ui.store import refusal_shown

SIDE_PX = 900
"""Engineering choice: sharp on a phone held upright and at half the width of a desktop."""

_LOST = {
    "missing": "The file is gone from the data folder: put it back from a backup.",
    "changed": "The file is no longer the one that was measured: put it back from a backup.",
}


def show_photos(store: Store, check: CheckRecord, width_px: int = 520) -> None:
    """Show every photo of a check with its marks; the result stays even where a photo is lost."""
    marked = marks_by_photo(check)
    for photo in check.photos:
        if photo.state != "whole":
            say.notice(f"The photo {photo.name} is {photo.state}.", _LOST[photo.state])
            continue
        try:
            shown = _shrunk(photo.sha256, photo.name, marked.get(photo.sha256, ()), store)
        except MatchError as error:
            say.notice(f"The photo {photo.name} cannot be shown.", error)
        else:
            _show_photo(photo.name, marked.get(photo.sha256, ()), shown, check, width_px)


def _show_photo(
    name: str, regions: tuple[Region, ...], shown: tuple[bytes, ...], check: CheckRecord, width_px: int
) -> None:
    whole, *cut = shown
    told = f"The photo {name} of the check of {day_and_time(check.created_at)}"
    if cut:
        told += f", marked: {', '.join(box_names(regions))}"
        st.html(strip(box_names(regions), cut, f"What was measured in {name}"))
    if word := said_right(regions):
        say.note(word)
    st.image(whole, alt=told, width=width_px)


@st.cache_data(max_entries=64, show_spinner="Reading the photo…")
def _shrunk(sha256: str, name: str, regions: tuple[Region, ...], _store: Store) -> tuple[bytes, ...]:
    """Return the photo with its marks, then the cut-out of each, as JPEG."""
    loaded = photo_reading.load(_store.photo_bytes(sha256), name)
    small, size = np.asarray(loaded.preview(SIDE_PX)), (loaded.width, loaded.height)
    pictures = (with_marks(small, size, regions, box_names(regions)), *cut_outs(small, size, regions))
    return tuple(picture_url.encoded(each) for each in pictures)


def offer_measuring_again(store: Store, check: CheckRecord, key: str) -> None:
    """Offer to put the photos and their marks back on the bench; what is saved from there corrects this check."""
    whole = check.photos and all(photo.state == "whole" for photo in check.photos)
    if not whole or check.corrected_by:
        return
    pressed = st.button(
        "Measure this photo again" if len(check.photos) == 1 else "Measure these photos again",
        key=key,
        icon=":material/straighten:",
        help="Opens it with its marks on the Check page. What you save there corrects this check; both are kept.",
    )
    if pressed:
        with refusal_shown("The photo cannot be put on the bench."):
            put_on_bench(store, check)
            go_to_check_page()


def put_on_bench(store: Store, check: CheckRecord) -> None:
    """Put the photos of a check on the bench with their marks; the next check saved from there corrects it.

    Raises :class:`match.errors.SavedCheckError` or :class:`StoreError` when the check, its marks or a photo's use were
    not kept by this app; the bench is then left as it was.
    """
    first = check.photos[0]
    beside = {"photo": first.name, "photo_sha256": first.sha256, "regions": check.regions}  # not in old documents
    saved = read_saved({**beside, **check.result}, f"of {day_and_time(check.created_at)}")
    regions = {photo.sha256: photo.regions for photo in saved.photos}
    ready = []
    try:
        uses = dict(check.settings or {}).get("photos", {})
        for place, photo in enumerate(check.photos):
            chosen = session.chosen(photo.name, store.photo_bytes(photo.sha256))
            told = said_use(uses.get(photo.sha256), saved.finish, place == 0)
            ready.append((chosen, _marks(chosen, regions[photo.sha256]), told))
    except (AttributeError, KeyError, TypeError):
        raise StoreError("the marks of this check are in a form not known here: choose its photo and mark it") from None
    for place, (chosen, marks, use) in enumerate(ready):
        if place == 0:
            session.put_photo(chosen)
            if use is not None:  # alone it counts as face-on; beside another its angle is still to be said
                session.put_use(chosen.digest, use)
        else:
            session.add_photo(chosen, use)
        session.replace_marks(chosen.digest, marks)
        session.put_start(chosen.digest, Start(Source.HAND))
    governing = saved.photos[0].sha256
    session.put_bench(governing)
    correct_with(governing, check.id)


def said_use(kept: Mapping[str, Any] | None, finish: Finish, is_first: bool) -> PhotoUse | None:
    """Return what somebody said that a kept photo is for; of a solid its angle is not asked, so face-on says nothing.

    Called a metallic later, such a photo is asked for its angle like one just added.
    """
    if not kept:
        return None
    use = PhotoUse(Angle(kept["angle"]), Role(kept["role"]), str(kept["light"]))
    unsaid = PhotoUse(role=Role.FIRST if is_first else Role.REPEAT)
    return None if finish is Finish.SOLID and use == unsaid else use


def _marks(chosen: ChosenPhoto, regions: Sequence[Region]) -> list[Mark]:
    loaded = measured.read_photo(chosen)
    return [from_region(region, loaded.width, loaded.height) for region in regions]
