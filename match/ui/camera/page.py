"""The camera page: photos that show what a camera adds of its own, and how far it can be trusted."""

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path

import streamlit as st

from match.camera.null_test import NullShot
from match.camera.records_file import Cameras, change_cameras, named, read_cameras, records_file
from match.camera.shots import measure_greys, measure_null
from match.camera.trust import GreyShot
from match.errors import MatchError
from match.measure.words import SURE_SD
from match.ui import measured
from match.ui.camera.record import show_records
from match.ui.kit import say
from match.ui.kit.choice import one_of
from match.ui.kit.layout import COLUMNS
from match.ui.kit.style import text
from match.ui.marker.box_names import called_on
from match.ui.marker.marks import CHECK_KINDS, Mark, two_places
from match.ui.marker.page_photo import greys_in, lacks, mark, place, upload
from match.ui.session import ChosenPhoto
from match.ui.store import refusal_shown

FIRST_SPOT, SECOND_SPOT = two_places(
    ("first-spot", "First spot", "on a clean, flat part of the panel, clear of reflections"),
    ("second-spot", "Second spot", "on the same panel beside the first, in the same light"),
)
GREY = CHECK_KINDS[0]
_PHOTO, _KEPT, _TURN = "camera_photo", "camera_kept", "camera_turn"


class Trial(StrEnum):
    """What a photo is for."""

    NULL = "Two spots of one panel"
    GREYS = "Grey steps"


_KINDS = {Trial.NULL: (GREY, FIRST_SPOT, SECOND_SPOT), Trial.GREYS: (GREY,)}
_WHY = {
    Trial.NULL: "Photograph one clean panel with your grey reference, the way you photograph a card. Two spots of one "
    "panel are the same colour, so whatever difference is measured is the camera's own error. Three photos or more "
    "tell it well; take each from a slightly different place.",
    Trial.GREYS: "Photograph three or more grey steps whose reflectances you know, in one light. They show how much "
    "contrast the camera gives its pictures. Tap each box to say its reflectance.",
}


def page() -> None:
    """Show the page."""
    st.title("What can this camera be trusted with?", anchor=False)
    try:
        file = records_file()
        cameras = read_cameras(file)
    except MatchError as error:
        say.notice("The camera records cannot be used.", error)
        return
    _show_trial(one_of("Photo of", Trial, Trial.NULL, "camera_trial", is_titled=False), file)
    show_records(cameras, file)


def _show_trial(trial: Trial, file: Path) -> None:
    photo = st.session_state.get(_PHOTO)
    say.lead(_WHY[trial])
    if photo is None:
        if st.session_state.get(_KEPT):
            st.html(f'<p class="sm-meaning" role="status"><b>Kept: {text(st.session_state[_KEPT])}</b></p>')
        chosen = upload("Photo taken with this camera", f"camera_file-{st.session_state.get(_TURN, 0)}")
        if chosen is not None:
            st.session_state[_PHOTO] = chosen
            st.session_state.pop(_KEPT, None)
            st.rerun()
        return
    left, right = st.columns(COLUMNS, gap="large")
    with left:
        marks = mark(photo, f"camera-{trial.name.lower()}", _KINDS[trial])
    with right:
        if not lacks(marks, _KINDS[trial]):
            _show_shot(trial, photo, marks, file)
        if st.button("Take another photo instead", key="camera_again", icon=":material/photo_camera:"):
            _clear()
            st.rerun()


def _clear() -> None:
    st.session_state.pop(_PHOTO, None)
    st.session_state[_TURN] = st.session_state.get(_TURN, 0) + 1


def _show_shot(trial: Trial, photo: ChosenPhoto, marks: Sequence[Mark], file: Path) -> None:
    try:
        shot = _measured(trial, photo, marks)
    except MatchError as error:
        say.notice("This photo cannot be kept.", error.said(called_on(greys_in(marks, photo))))
        return
    st.html(f'<p class="sm-title">This photo</p><p class="sm-meaning">{_told(shot)}</p>')
    try:
        camera = named(measured.camera_of(photo))
    except MatchError as error:
        say.notice("This photo is no camera's.", error)
        return
    st.html(f'<p class="sm-meaning">Taken by: <b>{text(camera)}</b></p>')
    if st.button("Keep in this camera's record", key="camera_keep", type="primary", width="stretch"):
        _keep(shot, photo, camera, file)


def _measured(trial: Trial, photo: ChosenPhoto, marks: Sequence[Mark]) -> NullShot | GreyShot:
    loaded, greys = measured.read_photo(photo), greys_in(marks, photo)
    if trial is Trial.GREYS:
        return measure_greys(loaded, photo.name, greys, measured.calibration())
    spots = place(marks, FIRST_SPOT, photo), place(marks, SECOND_SPOT, photo)
    return measure_null(loaded, photo.name, greys, spots, measured.calibration())


def _told(shot: NullShot | GreyShot) -> str:
    if isinstance(shot, GreyShot):
        return (
            f"Its contrast has to be multiplied by {shot.slope:.2f}, give or take {SURE_SD * shot.slope_sd:.2f}, to be "
            "that of the scene."
        )
    lightness, red, yellow = (float(each) for each in shot.difference)
    return (
        f"Between the two spots: {lightness:+.2f} in lightness (L*), {red:+.2f} in a*, {yellow:+.2f} in b*. "
        "Without any error all three would be 0."
    )


def _with_shot(cameras: Cameras, name: str, digest: str, shot: NullShot | GreyShot) -> Cameras:
    if isinstance(shot, NullShot):
        return cameras.with_null(name, digest, shot)
    return cameras.with_greys(name, digest, shot)


def _keep(shot: NullShot | GreyShot, photo: ChosenPhoto, name: str, file: Path) -> None:
    with refusal_shown("This photo was not kept."):
        change_cameras(file, lambda cameras: _with_shot(cameras, name, photo.digest, shot))
        st.session_state[_KEPT] = photo.name
        _clear()
        st.rerun()
