"""The measurement behind the pages, remembered, so that moving a mark costs one measurement and no reading of files."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

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
from match.ui.heavy import AppLimits, DecodedPhotos, heavy_work, in_turn
from match.ui.kit import picture_url
from match.ui.marker.first_marks import FirstMarks, first_marks
from match.ui.marker.marks import Mark, to_regions
from match.ui.marker.tapped import Tap
from match.ui.session import ChosenPhoto

PREVIEW_SIDE_PX = 1800
"""Engineering choice: sharp on a desktop at two-fold zoom, and some 500 kB as JPEG."""


KNOWN_BY: dict[str | type, Callable[[Any], object]] = {
    ChosenPhoto: lambda photo: photo.digest,
    MeasuredPhoto: lambda photo: (photo.name, photo.use, photo.regions, photo.calibration.fingerprint),
    Calibration: lambda used: used.fingerprint,
    PhotoCalibration: lambda used: (used.calibration.fingerprint, used.notes),
}
"""What tells one of these from another, for Streamlit's memory."""


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
    return _facts(chosen).size_px


@dataclass(frozen=True)
class Facts:
    """What a photo says of itself besides its pixels."""

    size_px: tuple[int, int]
    notes: tuple[str, ...]
    camera: str | None


@st.cache_data(max_entries=64, show_spinner=False, hash_funcs=KNOWN_BY)
def _facts(chosen: ChosenPhoto) -> Facts:
    photo = read_photo(chosen)
    return Facts((photo.width, photo.height), photo.notes, photo.camera)


def camera_of(chosen: ChosenPhoto) -> str | None:
    """Return make and model of the photo's camera, where the photo says it."""
    return _facts(chosen).camera


def calibration_for(chosen: ChosenPhoto) -> PhotoCalibration:
    """Return what to measure a photo by: its camera's own record and what the paint mirrors, where known."""
    return own.calibration_for(_facts(chosen), calibration(), mirrored=session.mirrored(chosen.digest))


@in_turn
@st.cache_data(max_entries=8, show_spinner=False, hash_funcs=KNOWN_BY)
def preview(chosen: ChosenPhoto) -> bytes:
    """Return the upright photo as a JPEG of screen size."""
    return picture_url.encoded(_small(chosen))


@st.cache_resource(max_entries=3, show_spinner=False, hash_funcs=KNOWN_BY)
def _small(chosen: ChosenPhoto) -> NDArray[np.uint8]:
    """Return the photo at screen size; boxes are moved and cut out often, and the full photo is large."""
    return np.asarray(read_photo(chosen).preview(PREVIEW_SIDE_PX))


@st.cache_data(max_entries=24, show_spinner=False, hash_funcs=KNOWN_BY)
def cut_outs(chosen: ChosenPhoto, regions: tuple[Region, ...]) -> tuple[bytes, ...]:
    """Return the cut-out of each marked region as a JPEG."""
    return tuple(picture_url.encoded(each) for each in cut_out_pictures(chosen, regions))


def cut_out_pictures(chosen: ChosenPhoto, regions: tuple[Region, ...]) -> tuple[NDArray[np.uint8], ...]:
    """Return the cut-out of each marked region (rows, columns, 3)."""
    return photo_cut_outs.cut_outs(_small(chosen), size_px(chosen), regions)


@st.cache_resource(show_spinner=False)
def several_rules() -> SeveralRules:
    """Return the rules for several photos, read once."""
    return load_several_rules()


@st.cache_resource(show_spinner=False)
def sheet_layout(cards: int = 1) -> SheetLayout:
    """Return the capture sheet's layout for so many cards, read once."""
    return files.load(SheetLayout, "capture", LAYOUT_OF_CARDS[cards])


@in_turn
@st.cache_data(max_entries=16, show_spinner="Looking for card, car and grey…", hash_funcs=KNOWN_BY)
def found_marks(chosen: ChosenPhoto) -> FirstMarks:
    """Return the marks that the photo itself shows."""
    return first_marks(read_photo(chosen), calibration().greys.default_reflectance)


@in_turn
@st.cache_data(max_entries=64, show_spinner=False, hash_funcs=KNOWN_BY)
def looked_at(chosen: ChosenPhoto) -> FirstLook:
    """Return what the photo shows of itself, and what already speaks against it; raises as :func:`read_photo` does."""
    photo, camera = read_photo(chosen), calibration().camera
    regions = tuple(to_regions(found_marks(chosen).marks, photo.width, photo.height))
    limits = files.load(LookLimits, "network", "look")
    return first_look(photo, regions, camera.sampling, camera.quality, limits)


@in_turn
@st.cache_data(max_entries=24, show_spinner=False, hash_funcs=KNOWN_BY)
def tilt(chosen: ChosenPhoto) -> Tilt | None:
    """Return from how far off straight on the photo was taken, where it shows the capture sheet."""
    found = sheet_tilt(read_photo(chosen), calibration().greys.default_reflectance)
    return Tilt(*found) if found else None


def grown(chosen: ChosenPhoto, tap: Tap, others: Sequence[Mark]) -> GrownBox | None:
    """Return the largest clean box around a tapped point, clear of the other marks; None where there is none."""
    settings = files.load(TapSettings, "capture", "tap")
    with heavy_work():
        light = _small_light(chosen, int(2 * settings.work_side_px))
    return grow(light, (tap.x, tap.y), settings, [(each.x, each.y, each.width, each.height) for each in others])


@st.cache_resource(max_entries=4, show_spinner=False, hash_funcs=KNOWN_BY)
def _small_light(chosen: ChosenPhoto, side_px: int) -> np.ndarray:
    small = read_photo(chosen).reduced(side_px)
    return small.crop(0, 0, small.width, small.height).linear.astype(np.float32)


def check(chosen: ChosenPhoto, regions: tuple[Region, ...], settings: CheckSettings) -> CheckResult:
    """Return the verdict on the marked regions; raises :class:`match.errors.RegionError` for one of no use."""
    return _checked(chosen, regions, settings, calibration_for(chosen))


@st.cache_resource(max_entries=16, show_spinner=False, hash_funcs=KNOWN_BY)
def _checked(
    chosen: ChosenPhoto, regions: tuple[Region, ...], settings: CheckSettings, used: PhotoCalibration
) -> CheckResult:
    """Return the check, which holds nothing of the photo's name; what would make it surer takes as long as a page."""
    return used.check(_measure(chosen), regions, settings)


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
    return lambda regions, settings, used: _measured(chosen, regions, settings.seed, settings.draws, used)


def _measure_cards(chosen: ChosenPhoto) -> MeasureCards:
    """Return what measures all cards of this photo, from memory where no mark moved."""
    return lambda regions, settings, used: _measured_cards(chosen, regions, settings.seed, settings.draws, used)


@st.cache_resource(max_entries=8, show_spinner=False, hash_funcs=KNOWN_BY)
def _measured_cards(
    chosen: ChosenPhoto, regions: Sequence[Region], seed: int, draws: int, used: Calibration
) -> tuple[Measurement, ...]:
    return measure_photo_cards(read_photo(chosen), regions, CheckSettings(seed=seed, draws=draws), used)


@st.cache_resource(max_entries=24, show_spinner=False, hash_funcs=KNOWN_BY)
def _measured(chosen: ChosenPhoto, regions: Sequence[Region], seed: int, draws: int, used: Calibration) -> Measurement:
    # Finish and junction decide on a measurement; they do not change it, so they are not asked for here.
    return measure_photo(read_photo(chosen), regions, CheckSettings(seed=seed, draws=draws), used)


@st.cache_resource(max_entries=16, show_spinner=False, hash_funcs=KNOWN_BY)
def together(
    chosen: Sequence[ChosenPhoto], photos: Sequence[MeasuredPhoto], settings: CheckSettings
) -> tuple[CheckResult, SetAnswer]:
    """Return the verdict on several photos, given in the same order as files and as measured."""
    return judge_set(photos, settings, several_rules(), _flake_of(chosen, photos))


@st.cache_resource(max_entries=8, show_spinner=False, hash_funcs=KNOWN_BY)
def cards_together(
    chosen: Sequence[ChosenPhoto],
    by_card: Mapping[str, Sequence[MeasuredPhoto]],
    settings: CheckSettings,
    card_name: str,
) -> tuple[CheckResult, SetAnswer, CardsAnswer]:
    """Return the verdict on several cards in several photos; every card's photos stand in the order of the files."""
    flake = _flake_of(chosen, next(iter(by_card.values())))
    return judge_cards_of_set(by_card, settings, several_rules(), load_comparing_rules(), flake, card_name)


def _flake_of(chosen: Sequence[ChosenPhoto], photos: Sequence[MeasuredPhoto]) -> Flake:
    """Return what compares flake in one of the photos, given in the order of the files."""
    files_of = {photo.name: file for file, photo in zip(chosen, photos, strict=True)}

    def flake(photo: MeasuredPhoto) -> TextureComparison | str:
        return _flake(files_of[photo.name], photo.regions)

    return flake


@st.cache_resource(max_entries=16, show_spinner=False, hash_funcs=KNOWN_BY)
def _flake(chosen: ChosenPhoto, regions: tuple[Region, ...]) -> TextureComparison | str:
    return flake_in(read_photo(chosen), regions, several_rules().texture)
