"""The measurement behind the pages, remembered, so that moving a mark costs one measurement and no reading of files."""

from __future__ import annotations

import numpy as np
import streamlit as st

from match.check import Calibration, CheckResult, CheckSettings, check_photo, load_calibration
from match.measure import photo as photo_reading
from match.measure.photo import Photo
from match.measure.regions import Region
from match.ui import picture_url
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
    return _read(chosen.digest, chosen.name, chosen.content)


@st.cache_resource(max_entries=3, show_spinner="Reading the photo…")
def _read(digest: str, name: str, _content: bytes) -> Photo:
    return photo_reading.load(_content, name)


def preview(chosen: ChosenPhoto) -> bytes:
    """Return the upright photo as a JPEG of screen size."""
    return _preview(chosen.digest, chosen)


@st.cache_data(max_entries=8, show_spinner=False)
def _preview(digest: str, _chosen: ChosenPhoto) -> bytes:
    return picture_url.encoded(np.asarray(read_photo(_chosen).preview(PREVIEW_SIDE_PX)))


def check(chosen: ChosenPhoto, regions: tuple[Region, ...], settings: CheckSettings) -> CheckResult:
    """Return the verdict on the marked regions; raises :class:`match.errors.RegionError` for one of no use."""
    return _check(chosen.digest, regions, settings, calibration().fingerprint, chosen)


@st.cache_data(max_entries=64, show_spinner=False)
def _check(
    digest: str, regions: tuple[Region, ...], settings: CheckSettings, fingerprint: str, _chosen: ChosenPhoto
) -> CheckResult:
    return check_photo(read_photo(_chosen), regions, settings, calibration())
