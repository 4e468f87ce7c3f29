"""Save the check on the bench: one press, then name its colour, car and card if you like."""

import hashlib
from dataclasses import replace
from datetime import datetime

import streamlit as st

from match.check.verdict import Verdict
from match.errors import StoreError
from match.history.filing import take_back
from match.history.from_check import new_check
from match.history.place import history_place, is_begun
from match.history.records import CheckRecord, CheckRow, NewColour
from match.history.words import day_and_time, named
from match.ui import session
from match.ui.history.save_form import details_form
from match.ui.kit import say
from match.ui.kit.style import text, unmarked
from match.ui.menu import link_to_check, link_to_colour
from match.ui.record_choice import kept_colour
from match.ui.session import LatestCheck
from match.ui.store import keep_first, refusal_shown, show_refusal, store

_SAVED, _OF_PHOTO, _LAST_COLOUR = "save_saved", "save_of_photo", "save_last_colour"
DEMO_COLOUR = NewColour(name="Harbour Slate (invented demo)", notes="Invented: no real car or paint.")


def save_panel(checked: LatestCheck) -> None:
    """Show the panel under a verdict; the history is opened only when it is needed."""
    with st.container(border=True, key="save_panel"), refusal_shown("The history could not do that."):
        kept = _kept(checked)
        if kept is None:
            _offer(checked)
        else:
            _show_kept(kept, checked)


def correct_with(photo_digest: str, check_id: str) -> None:
    """Remember that the next check saved from this photo corrects an earlier one."""
    st.session_state[_OF_PHOTO] = {**st.session_state.get(_OF_PHOTO, {}), photo_digest: check_id}


def last_colour() -> tuple[str, str] | None:
    """Return public id and title of the colour last saved to in this visit."""
    found = st.session_state.get(_LAST_COLOUR)
    return found if isinstance(found, tuple) else None


def _kept(checked: LatestCheck) -> CheckRecord | None:
    """Return this very check as kept, unless it was not saved in this visit or is deleted by now."""
    check_id = st.session_state.get(_SAVED, {}).get(_fingerprint(checked))
    if check_id is None:
        return None
    kept = store().get_check(check_id)
    return kept if kept.deleted_at is None else None


def _fingerprint(checked: LatestCheck) -> str:
    """Return what tells this very check from any other, short enough to be kept with the bench."""
    result = checked.result
    uses = tuple(session.use(each.sha256) for each in checked.photos)
    settings = (result.settings, result.calibration_fingerprint)
    front = checked.cards.front_card.name if checked.cards else ""
    whole = (checked.photo_digest, checked.regions, checked.photos, uses, front, *settings)
    return hashlib.sha256(repr(whole).encode()).hexdigest()


def _is_demo() -> bool:
    return any(photo.is_demo for photo in session.photos())


def _offer(checked: LatestCheck) -> None:
    earlier = _earlier(checked)
    if earlier is not None:
        _say_saved_before(earlier)
    answers = checked.result.verdict is not Verdict.RETAKE
    corrects = (
        earlier is not None
        and st.checkbox(
            f"Corrects the check saved {day_and_time(earlier.created_at)} from this photo",
            value=answers,  # what is no answer takes the place of one only where it is asked to
            key=f"save_corrects_{checked.photo_digest[:12]}_{answers}",
            help="The earlier one stays in the history, marked as corrected; the new one counts.",
        )
    )
    button = st.container()
    colour, into = (None, "the colour of the check it corrects") if corrects else _ask_colour()
    correcting = earlier.id if corrects and earlier else None
    button.button(
        "Save this check",
        key="save_check",
        type="primary" if answers else "secondary",
        icon=":material/save:",
        width="stretch",
        help="Keeps photo, marks and result in your history.",
        on_click=keep_first,
        args=("The check was not saved.", "save_check", _save, checked, colour, correcting),
    )
    with button:
        show_refusal("save_check")
        say.note(f"Under {into}.")


def _earlier(checked: LatestCheck) -> CheckRow | None:
    """Return the check of this photo that the next one corrects: the one put back from the history, else the latest."""
    try:
        found = store().checks_of_photo(checked.photo_digest) if is_begun(history_place()) else ()
    except StoreError:
        return None  # what is wrong with the history is said when something is to be saved there
    chosen = st.session_state.get(_OF_PHOTO, {}).get(checked.photo_digest)
    return next((each for each in found if each.id == chosen), found[0] if found else None)


def _say_saved_before(earlier: CheckRow) -> None:
    told = f"This photo is in the history already: {earlier.verdict}, saved {day_and_time(earlier.created_at)} under "
    told += f"{named(earlier.colour_name, earlier.code)}."
    with st.container(horizontal=True, vertical_alignment="center"):
        say.meaning(told, is_news=True, width="stretch")
        link_to_check(earlier.id, "See it", "saved_before")


def _ask_colour() -> tuple[str | NewColour, str]:
    """Return the colour to save under and its name: the last one, a chosen one, or a new one."""
    last = None if _is_demo() else last_colour()  # what is invented is nobody's car
    choices = ["new", "kept"] if last is None else ["last", "new", "kept"]
    labels = {"new": "A new colour", "kept": "An earlier colour", "last": unmarked(last[1]) if last else ""}
    with st.popover("Change"):
        choice = st.segmented_control(
            "Save under", choices, default=choices[0], required=True, format_func=labels.__getitem__, key="save_under"
        )
        if choice == "kept":
            chosen = kept_colour("Earlier colour", "save_earlier_colour")
            if chosen is not None:
                return chosen.id, named(chosen.name, chosen.code)
    if choice == "last" and last is not None:
        return last
    return (DEMO_COLOUR, DEMO_COLOUR.name) if _is_demo() else (_unnamed(), "a new colour that you can name next")


def _unnamed() -> NewColour:
    return NewColour(name=f"Colour of {datetime.now().astimezone():%Y-%m-%d %H:%M}")


def _save(checked: LatestCheck, colour: str | NewColour | None, corrects: str | None) -> None:
    if _kept(checked) is not None:
        return  # pressed twice before the page was drawn again
    if isinstance(colour, NewColour):
        colour = replace(colour, finish=checked.result.settings.finish.value)
    measured = {each.sha256 for each in checked.photos} or {checked.photo_digest}
    photos = [photo for photo in session.photos() if photo.digest in measured]
    new = new_check(
        checked.result,
        checked.photo,
        photos=checked.photos,
        together=checked.together.as_dict() if checked.together else None,
        cards=checked.cards,
        colour=colour,
        corrects=corrects,
        note="Invented demo" if _is_demo() else "",
        more_settings={"photos": {photo.digest: _use(photo.digest) for photo in photos}} if checked.photos else {},
    )
    kept = store().save_check(new, [(photo.content, photo.name) for photo in photos])
    st.session_state[_SAVED] = {**st.session_state.get(_SAVED, {}), _fingerprint(checked): kept.id}
    correct_with(checked.photo_digest, kept.id)
    _remember_colour(kept)


def _use(digest: str) -> dict[str, str]:
    use = session.use(digest)
    return {"angle": use.angle.value, "role": use.role.value, "light": use.light}


def _remember_colour(kept: CheckRecord) -> None:
    if kept.colour is not None and not _is_demo():
        st.session_state[_LAST_COLOUR] = (kept.colour, named(kept.colour_name, kept.code))


def _show_kept(kept: CheckRecord, checked: LatestCheck) -> None:
    _remember_colour(kept)
    told = f"Saved {day_and_time(kept.created_at)} under {named(kept.colour_name, kept.code)}."
    if kept.corrects:
        told += " It corrects the check saved before."
    st.html(f'<div role="status"><b class="sm-saved">{text(told)}</b></div>')
    whole = all(photo.state == "whole" for photo in kept.photos)
    if not whole:
        say.notice("Its photo is not whole in the data folder.", "Verify the history on the History page.")
    with st.container(horizontal=True, vertical_alignment="center"):
        if kept.colour:
            link_to_colour(kept.colour, "Its colour")
        link_to_check(kept.id, "In the history")
        if st.button("Take it back", key="save_undo", icon=":material/undo:"):
            _take_back(kept, checked)
            st.rerun()
    with st.expander("Name its colour, car and card"):
        details_form(store(), kept, f"save_{kept.id}")


def _take_back(kept: CheckRecord, checked: LatestCheck) -> None:
    """Delete the saved check, and the colour with it when nothing else is in it; both can be brought back."""
    gone = take_back(store(), kept)
    saved = dict(st.session_state.get(_SAVED, {}))
    saved.pop(_fingerprint(checked), None)
    st.session_state[_SAVED] = saved
    if gone == kept.colour:
        st.session_state.pop(_LAST_COLOUR, None)
