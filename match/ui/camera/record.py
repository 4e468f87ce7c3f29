"""Every camera on record: how far it can be trusted, what to change, and the photos that rests on."""

from collections.abc import Mapping
from pathlib import Path

import streamlit as st

from match.camera.null_test import NullShot
from match.camera.own import has_tone, trust
from match.camera.records_file import Camera, Cameras, change_cameras
from match.camera.rules import load_camera_rules
from match.camera.trust import CameraTrust, Grade
from match.measure.words import SURE_SD
from match.ui import measured
from match.ui.kit import say
from match.ui.kit.notices import notices, table
from match.ui.kit.style import unmarked
from match.ui.marker.page_photo import told
from match.ui.store import refusal_shown

_DEEDS = {
    Grade.GOOD: "Its own error is too small to matter.",
    Grade.FAIR: "Usable. Its own error makes verdicts a little less sure.",
    Grade.POOR: "Its own error alone can hide a match. Mend it first.",
}


def show_records(cameras: Cameras, file: Path) -> None:
    """Show each camera's grade, figures, advice and photos."""
    if not cameras.by_name:
        say.note("No camera has been tried out yet. Until then, each is taken to be a usual camera.")
        return
    for number, (name, camera) in enumerate(cameras.by_name.items()):
        st.header(unmarked(name), anchor=False)
        _show_camera(number, name, camera, file)


def _show_camera(number: int, name: str, camera: Camera, file: Path) -> None:
    judged = trust(camera, measured.calibration(), load_camera_rules())
    grade, figures = st.columns([1, 1.25], gap="large")
    with grade:
        if judged.floor:
            few = " Seen in one photo only: take two more." if judged.floor.shots == 1 else ""
            st.html(told(judged.grade.value.capitalize(), _DEEDS[judged.grade] + few, judged.grade.value))
        if judged.findings:
            st.html(notices((each.text(), each.remedy()) for each in judged.findings))
        say.note(_use(judged))
    with figures:
        st.html(_figures(judged))
        with st.expander("Photos kept"):  # no count in its name: it would close whenever that changes
            for sha256, words in _photos(camera).items():
                _show_photo(f"camera_out-{number}-{sha256[:12]}", name, sha256, words, file)


def _use(judged: CameraTrust) -> str:
    if judged.tone and not has_tone(judged):
        waits = "The contrast is used once a second photo of grey steps is kept."
        return (
            f"Every check of a photo by this camera uses its own error, and says so. {waits}" if judged.floor else waits
        )
    return "Every check of a photo by this camera uses this record, and says so."


def _figures(judged: CameraTrust) -> str:
    usual = measured.calibration().camera
    rows = []
    if judged.floor:
        low, high = judged.floor.interval
        rows.append(
            (
                "Own error (CIELAB)",
                f"{judged.floor.floor_sd:.2f} ({low:.2f} to {high:.2f})",
                f"{usual.errors.pair_floor:g}",
            )
        )
    if judged.tone:
        sd = SURE_SD * judged.tone.slope_sd
        rows.append(
            (
                "Contrast is multiplied by",
                f"{judged.tone.slope_mean:.2f} ± {sd:.2f}",
                f"{usual.tone.slope_mean:.2f} ± {SURE_SD * usual.tone.slope_sd:.2f}",
            )
        )
    return table(("Figure", "This camera (95\u00a0%\u00a0sure)", "Assumed of any camera"), rows)


def _photos(camera: Camera) -> Mapping[str, str]:
    """Return what each kept photo showed, by its SHA-256."""
    shown = {sha256: _null_words(shot) for sha256, shot in camera.nulls.items()}
    for sha256, shot in camera.greys.items():
        words = f"{shot.name}: contrast times {shot.slope:.2f}"
        shown[sha256] = f"{shown[sha256]}; {words}" if sha256 in shown else words
    return shown


def _null_words(shot: NullShot) -> str:
    lightness, red, yellow = (float(each) for each in shot.difference)
    return f"{shot.name}: spots differ by {lightness:+.2f} in L*, {red:+.2f} in a*, {yellow:+.2f} in b*"


def _show_photo(key: str, name: str, sha256: str, words: str, file: Path) -> None:
    with st.container(horizontal=True, vertical_alignment="center", horizontal_alignment="distribute"):
        say.meaning(words, width="content")
        pressed = st.button("Take out", key=key)
    if pressed:
        with refusal_shown("This photo was not taken out."):
            change_cameras(file, lambda cameras: cameras.without(name, sha256))
            st.rerun()
