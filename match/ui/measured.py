"""The measurement behind the pages, remembered, so that moving a mark costs one measurement and no reading of files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from match import calibration as files
from match.camera import own
from match.camera.own import Measure, MeasureCards, PhotoCalibration
from match.check.calibration_files import Calibration, load_calibration
from match.check.cards import CardsAnswer, load_comparing_rules
from match.check.first_look import FirstLook, LookLimits, first_look
from match.check.measuring import measure_photo, measure_photo_cards
from match.check.result import CheckResult
from match.check.settings import CheckSettings
from match.measure.measurement import Measurement
from match.photo import cut_outs as photo_cut_outs
from match.photo import load as photo_reading
from match.photo.found_marks import sheet_tilt
from match.photo.load import Photo
from match.photo.proposals.tap import GrownBox, TapSettings, grow
from match.photo.regions import Region
from match.photo.sheet.layout import LAYOUT_OF_CARDS, SheetLayout
from match.several.cards import judge_cards_of_set
from match.several.flake import flake_in
from match.several.judge import Flake, SetAnswer, judge_set
from match.several.photo_set import MarkedPhoto, MeasuredPhoto, Tilt
from match.several.rules import SeveralRules, load_several_rules
from match.several.texture import TextureComparison
from match.ui import session
from match.ui.heavy import AppLimits, DecodedPhotos, heavy_work
from match.ui.kit import picture_url
from match.ui.marker.first_marks import FirstMarks, first_marks
from match.ui.marker.marks import Mark, to_regions
from match.ui.marker.tapped import Tap
from match.ui.session import ChosenPhoto

PREVIEW_SIDE_PX = 1800
"""Engineering choice: sharp on a desktop at two-fold zoom, and some 500 kB as JPEG."""


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
    with heavy_work():
        kept = _decoded().get(chosen.digest)
        if kept is not None and kept.name == chosen.name:
            return kept
        with st.spinner("Reading the photo…"):
            return _decoded().put(chosen.digest, photo_reading.load(chosen.content, chosen.name))


@st.cache_resource(show_spinner=False)
def _decoded() -> DecodedPhotos:
    return DecodedPhotos(files.load(AppLimits, "intake", "app").decoded_megabytes * 1e6)


def size_px(chosen: ChosenPhoto) -> tuple[int, int]:
    """Return width and height of the upright photo, known after it fell out of memory too."""
    return _facts(chosen.digest, chosen).size_px


@st.cache_data(max_entries=64, show_spinner=False)
def _facts(digest: str, _chosen: ChosenPhoto) -> Facts:
    photo = read_photo(_chosen)
    return Facts((photo.width, photo.height), photo.notes, photo.camera)


@dataclass(frozen=True)
class Facts:
    """What a photo says of itself besides its pixels."""

    size_px: tuple[int, int]
    notes: tuple[str, ...]
    camera: str | None


def camera_of(chosen: ChosenPhoto) -> str | None:
    """Return make and model of the photo's camera, where the photo says it."""
    return _facts(chosen.digest, chosen).camera


def calibration_for(chosen: ChosenPhoto) -> PhotoCalibration:
    """Return what to measure a photo by: its camera's own record and what the paint mirrors, where known."""
    facts = _facts(chosen.digest, chosen)
    return own.calibration_for(facts, calibration(), mirrored=session.mirrored(chosen.digest))


def preview(chosen: ChosenPhoto) -> bytes:
    """Return the upright photo as a JPEG of screen size."""
    with heavy_work():
        return _preview(chosen.digest, chosen)


@st.cache_data(max_entries=8, show_spinner=False)
def _preview(digest: str, _chosen: ChosenPhoto) -> bytes:
    return picture_url.encoded(_small(digest, _chosen))


@st.cache_resource(max_entries=3, show_spinner=False)
def _small(digest: str, _chosen: ChosenPhoto) -> NDArray[np.uint8]:
    """Return the photo at screen size; boxes are moved and cut out often, and the full photo is large."""
    return np.asarray(read_photo(_chosen).preview(PREVIEW_SIDE_PX))


def cut_outs(chosen: ChosenPhoto, regions: tuple[Region, ...]) -> tuple[bytes, ...]:
    """Return the cut-out of each marked region as a JPEG."""
    return _cut_outs(chosen.digest, regions, chosen)


@st.cache_data(max_entries=24, show_spinner=False)
def _cut_outs(digest: str, regions: tuple[Region, ...], _chosen: ChosenPhoto) -> tuple[bytes, ...]:
    return tuple(picture_url.encoded(each) for each in cut_out_pictures(_chosen, regions))


def cut_out_pictures(chosen: ChosenPhoto, regions: tuple[Region, ...]) -> tuple[NDArray[np.uint8], ...]:
    """Return the cut-out of each marked region (rows, columns, 3)."""
    return photo_cut_outs.cut_outs(_small(chosen.digest, chosen), size_px(chosen), regions)


@st.cache_resource(show_spinner=False)
def several_rules() -> SeveralRules:
    """Return the rules for several photos, read once."""
    return load_several_rules()


@st.cache_resource(show_spinner=False)
def sheet_layout(cards: int = 1) -> SheetLayout:
    """Return the capture sheet's layout for so many cards, read once."""
    return files.load(SheetLayout, "capture", LAYOUT_OF_CARDS[cards])


def found_marks(chosen: ChosenPhoto) -> FirstMarks:
    """Return the marks that the photo itself shows."""
    with heavy_work():
        return _found(chosen.digest, chosen)


@st.cache_data(max_entries=16, show_spinner="Looking for card, car and grey…")
def _found(digest: str, _chosen: ChosenPhoto) -> FirstMarks:
    return first_marks(read_photo(_chosen), calibration().greys.default_reflectance)


def looked_at(chosen: ChosenPhoto) -> FirstLook:
    """Return what the photo shows of itself, and what already speaks against it; raises as :func:`read_photo` does."""
    with heavy_work():
        return _looked_at(chosen.digest, chosen)


@st.cache_data(max_entries=64, show_spinner=False)
def _looked_at(digest: str, _chosen: ChosenPhoto) -> FirstLook:
    photo, camera = read_photo(_chosen), calibration().camera
    regions = tuple(to_regions(found_marks(_chosen).marks, photo.width, photo.height))
    limits = files.load(LookLimits, "network", "look")
    return first_look(photo, regions, camera.sampling, camera.quality, limits)


@st.cache_data(max_entries=24, show_spinner=False)
def _tilt(digest: str, _chosen: ChosenPhoto) -> Tilt | None:
    found = sheet_tilt(read_photo(_chosen), calibration().greys.default_reflectance)
    return Tilt(*found) if found else None


def tilt(chosen: ChosenPhoto) -> Tilt | None:
    """Return from how far off straight on the photo was taken, where it shows the capture sheet."""
    with heavy_work():
        return _tilt(chosen.digest, chosen)


def grown(chosen: ChosenPhoto, tap: Tap, others: Sequence[Mark]) -> GrownBox | None:
    """Return the largest clean box around a tapped point, clear of the other marks; None where there is none."""
    settings = files.load(TapSettings, "capture", "tap")
    with heavy_work():
        light = _small_light(chosen.digest, int(2 * settings.work_side_px), chosen)
    return grow(light, (tap.x, tap.y), settings, [(each.x, each.y, each.width, each.height) for each in others])


@st.cache_resource(max_entries=4, show_spinner=False)
def _small_light(digest: str, side_px: int, _chosen: ChosenPhoto) -> np.ndarray:
    small = read_photo(_chosen).reduced(side_px)
    return small.crop(0, 0, small.width, small.height).linear.astype(np.float32)


def check(chosen: ChosenPhoto, regions: tuple[Region, ...], settings: CheckSettings) -> CheckResult:
    """Return the verdict on the marked regions; raises :class:`match.errors.RegionError` for one of no use."""
    return calibration_for(chosen).check(_measure(chosen), regions, settings)


def check_cards(
    chosen: ChosenPhoto, regions: tuple[Region, ...], settings: CheckSettings, card_name: str
) -> CardsAnswer:
    """Return the verdicts on all cards of a photo; ``card_name`` as for :func:`match.check.cards.judge_cards`."""
    return calibration_for(chosen).check_cards(_measure_cards(chosen), regions, settings, card_name)


def photo_of_set_cards(chosen: ChosenPhoto, marked: MarkedPhoto) -> dict[str, MeasuredPhoto]:
    """Return one of several photos measured for each of its cards by name; raises as :func:`check` does."""
    return calibration_for(chosen).measured_cards(_measure_cards(chosen), marked, CheckSettings())


def photo_of_set(chosen: ChosenPhoto, marked: MarkedPhoto) -> MeasuredPhoto:
    """Return one of several photos measured; raises as :func:`check` does."""
    return calibration_for(chosen).measured(_measure(chosen), marked, CheckSettings())


def _measure(chosen: ChosenPhoto) -> Measure:
    """Return what measures this photo, from memory where no mark moved."""

    def measure(regions: Sequence[Region], settings: CheckSettings, used: Calibration) -> Measurement:
        return _measured(chosen.digest, tuple(regions), settings.seed, settings.draws, used.fingerprint, chosen, used)

    return measure


def _measure_cards(chosen: ChosenPhoto) -> MeasureCards:
    """Return what measures all cards of this photo, from memory where no mark moved."""

    def measure(regions: Sequence[Region], settings: CheckSettings, used: Calibration) -> tuple[Measurement, ...]:
        asked = (settings.seed, settings.draws, used.fingerprint)
        return _measured_cards(chosen.digest, tuple(regions), *asked, chosen, used)

    return measure


@st.cache_resource(max_entries=8, show_spinner=False)
def _measured_cards(
    digest: str,
    regions: tuple[Region, ...],
    seed: int,
    draws: int,
    fingerprint: str,
    _chosen: ChosenPhoto,
    _calibration: Calibration,
) -> tuple[Measurement, ...]:
    return measure_photo_cards(read_photo(_chosen), regions, CheckSettings(seed=seed, draws=draws), _calibration)


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


def together(
    chosen: Sequence[ChosenPhoto], photos: Sequence[MeasuredPhoto], settings: CheckSettings
) -> tuple[CheckResult, SetAnswer]:
    """Return the verdict on several photos, given in the same order as files and as measured."""
    asked = tuple(
        (file.digest, photo.name, photo.use, photo.regions, photo.calibration.fingerprint)
        for file, photo in zip(chosen, photos, strict=True)
    )
    return _together(asked, settings, tuple(chosen), tuple(photos))


def cards_together(
    chosen: Sequence[ChosenPhoto],
    by_card: Mapping[str, Sequence[MeasuredPhoto]],
    settings: CheckSettings,
    card_name: str,
) -> tuple[CheckResult, SetAnswer, CardsAnswer]:
    """Return the verdict on several cards in several photos; every card's photos stand in the order of the files."""
    asked = tuple(
        (file.digest, photo.name, photo.use, photo.regions, photo.calibration.fingerprint)
        for photos in by_card.values()
        for file, photo in zip(chosen, photos, strict=True)
    )
    return _cards_together(asked, settings, card_name, tuple(chosen), dict(by_card))


@st.cache_resource(max_entries=8, show_spinner=False)
def _cards_together(
    asked: tuple[object, ...],
    settings: CheckSettings,
    card_name: str,
    _chosen: tuple[ChosenPhoto, ...],
    _by_card: dict[str, Sequence[MeasuredPhoto]],
) -> tuple[CheckResult, SetAnswer, CardsAnswer]:
    flake = _flake_of(_chosen, next(iter(_by_card.values())))
    return judge_cards_of_set(_by_card, settings, several_rules(), load_comparing_rules(), flake, card_name)


@st.cache_resource(max_entries=16, show_spinner=False)
def _together(
    asked: tuple[object, ...],
    settings: CheckSettings,
    _chosen: tuple[ChosenPhoto, ...],
    _photos: tuple[MeasuredPhoto, ...],
) -> tuple[CheckResult, SetAnswer]:
    return judge_set(_photos, settings, several_rules(), _flake_of(_chosen, _photos))


def _flake_of(chosen: Sequence[ChosenPhoto], photos: Sequence[MeasuredPhoto]) -> Flake:
    """Return what compares flake in one of the photos, given in the order of the files."""
    files_of = {photo.name: file for file, photo in zip(chosen, photos, strict=True)}

    def flake(photo: MeasuredPhoto) -> TextureComparison | str:
        return _flake(files_of[photo.name].digest, photo.regions, files_of[photo.name])

    return flake


@st.cache_resource(max_entries=16, show_spinner=False)
def _flake(digest: str, regions: tuple[Region, ...], _chosen: ChosenPhoto) -> TextureComparison | str:
    return flake_in(read_photo(_chosen), regions, several_rules().texture)
