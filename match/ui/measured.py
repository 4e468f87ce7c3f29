"""The measurement behind the pages, remembered, so that moving a mark costs one measurement and no reading of files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import streamlit as st

from match import calibration as files
from match.camera.own import OwnCamera, own_camera_at
from match.check.check import Calibration, CheckResult, CheckSettings, judge, load_calibration, measure_photo
from match.colorimetry import Array
from match.errors import EvidenceError
from match.measure.measurement import Measurement
from match.photo import load as photo_reading
from match.photo.load import Photo
from match.photo.regions import Kind, Region
from match.photo.sheet.layout import SheetLayout
from match.several.judge import PhotoUse, SetAnswer, SetPhoto, judge_set
from match.several.rules import SeveralRules, load_several_rules
from match.several.texture import TextureComparison, compare_texture
from match.ui import session
from match.ui.kit import picture_url
from match.ui.marker.box_names import with_box_names
from match.ui.marker.first_marks import FirstMarks, first_marks
from match.ui.session import ChosenPhoto

PREVIEW_SIDE_PX = 1800
"""Engineering choice: sharp on a desktop at two-fold zoom, and some 500 kB as JPEG."""

MOST_FLAKE_PX = 768
"""Engineering choice: 256 tiles of 48 pixels; more would not make the comparison of flake surer."""


@st.cache_resource(show_spinner=False)
def calibration() -> Calibration:
    """Return the calibration files, read once; restart the app after editing them."""
    return load_calibration()


def greys() -> list[tuple[str, float]]:
    """Return label and luminous reflectance of every grey reference on file, the default first."""
    known = calibration().greys
    ordered = sorted(known.greys.items(), key=lambda entry: entry[0] != known.default)
    return [(grey.label, grey.reflectance) for _, grey in ordered]


def read_photo(chosen: ChosenPhoto) -> Photo:
    """Return the photo decoded, from memory where it was read before; raises :class:`match.errors.PhotoError`."""
    return _read(chosen.digest, chosen.name, chosen.content)


@st.cache_resource(max_entries=3, show_spinner="Reading the photo…")
def _read(digest: str, name: str, _content: bytes) -> Photo:
    return photo_reading.load(_content, name)


def size_px(chosen: ChosenPhoto) -> tuple[int, int]:
    """Return width and height of the upright photo, known after it fell out of memory too."""
    return _facts(chosen.digest, chosen)[0]


@st.cache_data(max_entries=64, show_spinner=False)
def _facts(digest: str, _chosen: ChosenPhoto) -> tuple[tuple[int, int], tuple[str, ...], str | None]:
    photo = read_photo(_chosen)
    return (photo.width, photo.height), photo.notes, photo.camera


def camera_of(chosen: ChosenPhoto) -> str | None:
    """Return make and model of the photo's camera, where the photo says it."""
    return _facts(chosen.digest, chosen)[2]


def own_calibration(chosen: ChosenPhoto) -> OwnCamera:
    """Return the calibration to measure a photo by: its camera's own record and what the paint mirrors, where known."""
    return own_camera_at(calibration(), camera_of(chosen), mirrored=session.mirrored(chosen.digest))


def preview(chosen: ChosenPhoto) -> bytes:
    """Return the upright photo as a JPEG of screen size."""
    return _preview(chosen.digest, chosen)


@st.cache_data(max_entries=8, show_spinner=False)
def _preview(digest: str, _chosen: ChosenPhoto) -> bytes:
    return picture_url.encoded(np.asarray(read_photo(_chosen).preview(PREVIEW_SIDE_PX)))


@st.cache_resource(show_spinner=False)
def several_rules() -> SeveralRules:
    """Return the rules for several photos, read once."""
    return load_several_rules()


@st.cache_resource(show_spinner=False)
def sheet_layout() -> SheetLayout:
    """Return the capture sheet's layout, read once."""
    return files.load(SheetLayout, "capture", "sheet")


def found_marks(chosen: ChosenPhoto) -> FirstMarks:
    """Return the marks that the photo itself shows."""
    return _found(chosen.digest, chosen)


@st.cache_data(max_entries=16, show_spinner="Looking for card, car and grey…")
def _found(digest: str, _chosen: ChosenPhoto) -> FirstMarks:
    return first_marks(read_photo(_chosen), calibration().greys.default_reflectance)


def check(chosen: ChosenPhoto, regions: tuple[Region, ...], settings: CheckSettings) -> CheckResult:
    """Return the verdict on the marked regions; raises :class:`match.errors.RegionError` for one of no use."""
    own = own_calibration(chosen)
    notes = (*_facts(chosen.digest, chosen)[1], *own.notes)
    return judge(measure(chosen, regions, settings), settings, own.calibration, notes=notes)


def measure(chosen: ChosenPhoto, regions: tuple[Region, ...], settings: CheckSettings) -> Measurement:
    """Return what the marked regions show, from memory where none of them moved; raises as :func:`check` does."""
    used = own_calibration(chosen).calibration
    return _measured(chosen.digest, regions, settings.seed, settings.draws, used.fingerprint, chosen, used)


@st.cache_resource(max_entries=24, show_spinner=False)
def _measured(
    digest: str,
    regions: tuple[Region, ...],
    seed: int,
    draws: int,
    fingerprint: str,
    _chosen: ChosenPhoto,
    _calibration: Calibration,
) -> Measurement:
    # Finish and junction decide on a measurement; they do not change it, so they are not asked for here.
    return measure_photo(read_photo(_chosen), regions, CheckSettings(seed=seed, draws=draws), _calibration)


def set_photo(name: str, chosen: ChosenPhoto, use: PhotoUse, regions: tuple[Region, ...]) -> SetPhoto:
    """Return one measured photo of several; raises as :func:`check` does."""
    notes = (*_facts(chosen.digest, chosen)[1], *own_calibration(chosen).notes)
    return SetPhoto(name, use, regions, _named(measure(chosen, regions, CheckSettings()), regions), notes)


def _named(measurement: Measurement, regions: tuple[Region, ...]) -> Measurement:
    """Return the measurement with its boxes called as on the photo: in a set nobody knows whose pixels they were."""
    findings = tuple(
        replace(found, text=with_box_names(found.text, regions), remedy=with_box_names(found.remedy, regions))
        for found in measurement.findings
    )
    return replace(measurement, findings=findings)


def together(
    chosen: Sequence[ChosenPhoto], photos: Sequence[SetPhoto], settings: CheckSettings
) -> tuple[CheckResult, SetAnswer]:
    """Return the verdict on several photos, given in the same order as files and as measured."""
    asked = tuple(
        (file.digest, photo.name, photo.use, photo.regions) for file, photo in zip(chosen, photos, strict=True)
    )
    used = own_calibration(chosen[0]).calibration
    return _together(asked, settings, used.fingerprint, tuple(photos), used)


@st.cache_resource(max_entries=16, show_spinner=False)
def _together(
    asked: tuple[object, ...],
    settings: CheckSettings,
    fingerprint: str,
    _photos: tuple[SetPhoto, ...],
    _calibration: Calibration,
) -> tuple[CheckResult, SetAnswer]:
    return judge_set(_photos, settings, _calibration, several_rules())


def texture(chosen: ChosenPhoto, regions: tuple[Region, ...]) -> TextureComparison | str:
    """Compare the flake of the card with the nearest car paint; a sentence where the boxes are too small for it."""
    return _texture(chosen.digest, regions, chosen)


@st.cache_resource(max_entries=16, show_spinner=False)
def _texture(digest: str, regions: tuple[Region, ...], _chosen: ChosenPhoto) -> TextureComparison | str:
    photo = read_photo(_chosen)
    card = next(region for region in regions if region.kind is Kind.CARD)
    car = min((region for region in regions if region.kind is Kind.VEHICLE), key=lambda region: _apart(region, card))
    least = several_rules().texture.tile
    greys = [region for region in regions if region.kind is Kind.GREY and min(region.width, region.height) >= least]
    grey = _middle(photo, greys[0]) if greys else None
    try:
        return compare_texture(_middle(photo, card), _middle(photo, car), several_rules().texture, grey)
    except EvidenceError as error:
        return str(error)


def _apart(one: Region, other: Region) -> float:
    return float(
        np.hypot(
            one.x + one.width / 2 - other.x - other.width / 2,
            one.y + one.height / 2 - other.y - other.height / 2,
        )
    )


def _middle(photo: Photo, region: Region) -> Array:
    """Return the middle of a region in linear light, no larger than the comparison needs."""
    width, height = min(region.width, MOST_FLAKE_PX), min(region.height, MOST_FLAKE_PX)
    x, y = region.x + (region.width - width) // 2, region.y + (region.height - height) // 2
    return np.asarray(photo.crop(x, y, width, height).linear)
