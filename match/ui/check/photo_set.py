"""The photos of one check: what each is for, which one is on the bench, and which angle is still missing."""

from collections.abc import Mapping
from dataclasses import replace
from enum import StrEnum

import streamlit as st

from match.check.verdict import Finish
from match.several.angles import NEEDED
from match.several.judge import SECOND_LIGHT
from match.several.photo_set import USUAL_LIGHT, Angle, PhotoUse, Role
from match.several.travel import HOW_TO_TAKE
from match.ui import session
from match.ui.kit import say
from match.ui.kit.style import text
from match.ui.marker import marking
from match.ui.marker.page_photo import upload
from match.ui.session import ChosenPhoto

MOST_PHOTOS = 12
"""Engineering choice: three angles, each with a repeat, a swap and a second lamp."""


SURER = (
    "Laying the card again, or moving it to the other side, takes out tilt and uneven light. Under a second lamp, "
    "pigments that differ show. Keep the same phone and the same grey."
)


class Purpose(StrEnum):
    """What a photo is for, as a painter would say it."""

    FACE = "Face: looking straight at it"
    NEAR_GLARE = "Near the glare: lamp's reflection just beside it"
    FLOP = "Flop: low down, from the lamp's own side"
    REPEAT = "Same card, lifted and laid again"
    SWAP = "Card moved to the other side of the car's box"
    SECOND_LAMP = "Under a second lamp"


_ANGLE_OF = {Purpose.FACE: Angle.FACE, Purpose.NEAR_GLARE: Angle.NEAR_GLARE, Purpose.FLOP: Angle.FLOP}
_PURPOSE_OF = {angle: purpose for purpose, angle in _ANGLE_OF.items()}
_SHORT = {Angle.FACE: "face", Angle.NEAR_GLARE: "near the glare", Angle.FLOP: "flop"}


def choose_bench(shown: ChosenPhoto, finish: Finish) -> None:
    """Let another photo of the set be put on the bench."""
    photos = session.photos()
    if len(photos) > 1:
        _choose_bench(photos, shown, finish)


def ask_use(photo: ChosenPhoto, finish: Finish) -> None:
    """Ask what the photo on the bench is for, where that matters, and every other one that nobody was asked of yet."""
    photos = session.photos()
    if len(photos) == 1 and finish is Finish.SOLID:
        return
    asked = [each for each in photos if each.digest == photo.digest or not use_is_known(each, finish)]
    for each in asked:
        _ask_use(each, finish, is_first=each.digest == photos[0].digest)
    if photo.digest != photos[0].digest and st.button(
        "Take this photo out", key="remove_photo", icon=":material/delete:"
    ):
        session.remove_photo(photo.digest)
        st.rerun()


def use_is_known(photo: ChosenPhoto, finish: Finish) -> bool:
    """Return whether a photo's angle is known: of several photos of an effect finish each one's must be said.

    One alone counts as face-on until something else is said.
    """
    return finish is Finish.SOLID or len(session.photos()) == 1 or session.use_is_said(photo.digest)


def offer_more(finish: Finish) -> None:
    """Say which angles are still wanted, and let another photo be added."""
    is_set = len(session.photos()) > 1 or finish is not Finish.SOLID
    if not is_set and not st.toggle("Add more photos", key="more_photos", persist_state="session"):
        return
    wanted, more = st.columns([1, 1], gap="large")
    with wanted:
        st.header("More photos of this card", anchor=False)
        st.html(_needed(finish) + f'<p class="sm-note">{SURER}</p>')
    with more:
        _offer_more()


def name_of(photo: ChosenPhoto) -> str:
    """Return what the photo is called on the page: its number in the set."""
    return f"Photo {_number(photo)}"


def _number(photo: ChosenPhoto) -> int:
    return [each.digest for each in session.photos()].index(photo.digest) + 1


def exchange_uses(called: Mapping[Angle, Angle]) -> None:
    """Call the photos of some angles by others; a callback's work, since the boxes that ask hold their own answers."""
    for photo in session.photos():
        use = session.use(photo.digest)
        if use.angle not in called:
            continue
        use = replace(use, angle=called[use.angle])
        session.put_use(photo.digest, use)
        st.session_state[f"use-{photo.digest[:12]}"] = _purpose(use)
        if f"angle-{photo.digest[:12]}" in st.session_state:
            st.session_state[f"angle-{photo.digest[:12]}"] = use.angle


def _needed(finish: Finish) -> str:
    """Return the angles this finish needs, those taken ticked, as HTML; nothing for a solid."""
    if finish is Finish.SOLID:
        return ""
    uses = [session.use(each.digest) for each in session.photos() if use_is_known(each, finish)]
    taken = {use.angle for use in uses if use.light == USUAL_LIGHT}
    items = "".join(
        f"<li><b>{text(_SHORT[angle].capitalize())}</b> "
        f"{'✓ taken' if angle in taken else text(HOW_TO_TAKE[angle])}</li>"
        for angle in NEEDED[finish]
    )
    return (
        f'<p class="sm-meaning">A {finish.value} is judged at each of these, all under one lamp or the sun:</p>'
        f'<ul class="sm-angles">{items}</ul>'
    )


def _choose_bench(photos: tuple[ChosenPhoto, ...], shown: ChosenPhoto, finish: Finish) -> None:
    names = {photo.digest: _label(photo, finish) for photo in photos}
    picked = st.segmented_control(
        "Photo on the bench",
        list(names),
        default=shown.digest,
        required=True,
        format_func=lambda digest: names[digest],
        key=f"bench-{shown.digest[:12]}-{len(photos)}",
        width="stretch",
    )
    if picked and picked != shown.digest:
        session.put_bench(str(picked))
        st.rerun()


def _label(photo: ChosenPhoto, finish: Finish) -> str:
    use = session.use(photo.digest)
    if use_is_known(photo, finish):
        words = [_SHORT[use.angle], *{Role.REPEAT: ["again"], Role.SWAP: ["other side"]}.get(use.role, [])]
    else:
        words = ["which angle?"]
    words += ["second lamp"] if use.light != USUAL_LIGHT else []
    waits = marking.is_pending(photo) or marking.missing(session.marks(photo.digest))
    return f"{_number(photo)}: {', '.join(words)}{' (mark it)' if waits else ''}"


def _ask_use(photo: ChosenPhoto, finish: Finish, is_first: bool) -> None:
    offered = list(_ANGLE_OF) if is_first else list(Purpose)
    said = finish is Finish.SOLID or session.use_is_said(photo.digest)
    now = _purpose(session.use(photo.digest)) if said else None
    purpose = st.selectbox(
        f"What {name_of(photo).lower()} shows",
        offered,
        index=offered.index(now) if now in offered else None,
        format_func=lambda each: each.value,
        placeholder="Say from where it was taken",
        key=f"use-{photo.digest[:12]}{'-solid' * (finish is Finish.SOLID)}",  # which says nothing of an effect
    )
    if purpose is None:
        return
    angle = _ANGLE_OF.get(purpose)
    if angle is None:
        angle = st.selectbox(
            "Seen from",
            list(Angle),
            index=list(Angle).index(session.use(photo.digest).angle),
            format_func=lambda each: _SHORT[each],
            key=f"angle-{photo.digest[:12]}",
        )
    use = _use(purpose, angle or Angle.FACE)
    if use != session.use(photo.digest) or not said:
        session.put_use(photo.digest, use)
        st.rerun()


def _purpose(use: PhotoUse) -> Purpose:
    if use.light != USUAL_LIGHT:
        return Purpose.SECOND_LAMP
    if use.role is Role.FIRST:
        return _PURPOSE_OF[use.angle]
    return Purpose.REPEAT if use.role is Role.REPEAT else Purpose.SWAP


def _use(purpose: Purpose, angle: Angle) -> PhotoUse:
    if purpose is Purpose.SECOND_LAMP:
        return PhotoUse(angle, light=SECOND_LIGHT)
    roles = {Purpose.REPEAT: Role.REPEAT, Purpose.SWAP: Role.SWAP}
    return PhotoUse(angle, roles.get(purpose, Role.FIRST))


def _offer_more() -> None:
    count = len(session.photos())
    if count >= MOST_PHOTOS:
        say.note(f"{MOST_PHOTOS} photos are the most that are combined.")
        return
    photo = upload("Add a photo of the same card", f"add_photo-{count}")
    if photo is None:
        return
    if photo.digest in {each.digest for each in session.photos()}:
        say.notice("This photo is here already.", "A photo counts once: take another one.")
        return
    session.add_photo(photo, None)  # of a solid too: it may be called a metallic later, and each angle is asked then
    st.rerun()
