"""From marked photos to the answer: one photo of a solid by itself, several photos or an effect finish together."""

from collections.abc import Iterable

import streamlit as st

from match.check.saved import CheckedPhoto
from match.check.settings import CheckSettings
from match.check.verdict import Finish, Junction
from match.errors import MatchError
from match.photo.regions import cards_in, named_cards
from match.several.cards import cards_of_set
from match.several.photo_set import MarkedPhoto, MeasuredPhoto
from match.ui import measured, session
from match.ui.check.photo_set import name_of, use_is_known
from match.ui.kit import say
from match.ui.marker import marking
from match.ui.marker.box_names import called_on
from match.ui.marker.marks import to_regions
from match.ui.session import ChosenPhoto, LatestCheck


def settings_asked() -> CheckSettings:
    """Return what the form on the check page says, also while another page is shown."""
    usual = CheckSettings()
    finish = st.session_state.get("check_finish") or usual.finish
    return CheckSettings(
        finish=Finish(finish), junction=Junction(st.session_state.get("check_junction") or usual.junction)
    )


def answer(settings: CheckSettings) -> LatestCheck | None:
    """Return the check of all photos that can be measured and keep it for the other pages; say what cannot be."""
    session.forget_check()
    photos = session.photos()
    if len(photos) == 1 and settings.finish is Finish.SOLID:
        checked = _single(photos[0], settings)
    else:
        checked = _several(photos, settings)
    if checked:
        session.remember_check(checked)
    return checked


def _single(photo: ChosenPhoto, settings: CheckSettings) -> LatestCheck | None:
    regions = to_regions(session.marks(photo.digest), *measured.size_px(photo))
    try:
        regions = session.as_said(photo.digest, named_cards(regions))
        cards = cards_in(regions)
        if len(cards) > 1:
            answer = measured.check_cards(photo, regions, settings, _chosen_name(card.label for card in cards))
            return LatestCheck(photo.name, photo.digest, regions, answer.front_card.result, cards=answer)
        result = measured.check(photo, regions, settings)
    except MatchError as error:
        say.notice("These marks cannot be measured.", error.said(called_on(regions)))
        return None
    return LatestCheck(photo.name, photo.digest, regions, result)


def _chosen_name(names: Iterable[str]) -> str:
    """Return the card that a person chose to go on with, if it is there; empty for the nearest."""
    name = str(st.session_state.get(session.CARD_NAME) or "")
    return name if name in set(names) else ""


def _several(photos: tuple[ChosenPhoto, ...], settings: CheckSettings) -> LatestCheck | None:
    read = [(photo, found) for photo in photos if (found := _measured(photo, settings.finish)) is not None]
    if not read:
        return None
    files, cards = [photo for photo, _ in read], None
    try:
        names = cards_of_set([marked for _, (marked, _) in read])
        by_card = {name: [found[name] for _, (_, found) in read] for name in names}
        if len(names) > 1:
            result, together, cards = measured.cards_together(files, by_card, settings, _chosen_name(names))
        else:
            result, together = measured.together(files, by_card[names[0]], settings)
    except MatchError as error:
        say.notice("These photos cannot be combined.", str(error))
        return None
    governing, (shown, _) = read[together.governing]
    kept = tuple(CheckedPhoto(photo.name, photo.digest, marked.regions) for photo, (marked, _) in read)
    return LatestCheck(governing.name, governing.digest, shown.regions, result, together, kept, cards)


def _measured(photo: ChosenPhoto, finish: Finish) -> tuple[MarkedPhoto, dict[str, MeasuredPhoto]] | None:
    """Return the photo measured for each of its cards by name; None, and a sentence, where its marks cannot be."""
    name = "These marks" if len(session.photos()) == 1 else name_of(photo)
    marks = session.marks(photo.digest)
    if marking.is_pending(photo) or marking.missing(marks):
        say.notice(
            f"{name} does not count yet.", "Put it on the bench, and mark grey, card and car, or accept its marks."
        )
        return None
    if not use_is_known(photo, finish):
        say.notice(f"{name} does not count yet.", f"Say what {name.lower()} shows: each angle is judged by itself.")
        return None
    regions = to_regions(marks, *measured.size_px(photo))
    tilt = None if finish is Finish.SOLID else measured.tilt(photo)
    try:
        regions = session.as_said(photo.digest, named_cards(regions))
        marked = MarkedPhoto(name_of(photo), session.use(photo.digest), regions, tilt=tilt)
        if len(cards_in(regions)) > 1:
            return marked, measured.photo_of_set_cards(photo, marked)
        return marked, {"": measured.photo_of_set(photo, marked)}
    except MatchError as error:
        say.notice(f"{name} cannot be measured.", error.said(called_on(regions)))
        return None
