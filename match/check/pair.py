"""Two marked places measured like card and car, and told of under their own names: chart fields, spots of a panel."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from match.check.check import Calibration, CheckSettings, PhotoLike, measure_photo
from match.errors import RegionError
from match.measure.measurement import Measurement
from match.photo.regions import Kind, Region

_POINTED_AT = re.compile(r"\b([Tt])he (card|vehicle) region(?: at -?\d+,-?\d+)?")


def measure_pair(
    photo: PhotoLike,
    greys: Sequence[Region],
    pair: tuple[Region, Region],
    names: tuple[str, str],
    settings: CheckSettings,
    calibration: Calibration,
) -> Measurement:
    """Measure the first place of ``pair`` as the card and the second as the vehicle.

    Parameters
    ----------
    photo, greys : the photo and its grey references
    pair : the two places; their kind does not matter
    names : what they are called in findings and errors, such as ``the field over black``
    settings, calibration : as for :func:`match.check.check.measure_photo`

    Raises
    ------
    RegionError
        When a region is missing, outside, too small, or overlaps another.
    """
    card, vehicle = (replace(place, kind=kind) for place, kind in zip(pair, (Kind.CARD, Kind.VEHICLE), strict=True))
    try:
        measurement = measure_photo(photo, (*greys, card, vehicle), settings, calibration)
    except RegionError as error:
        raise RegionError(_renamed(str(error), names)) from None
    findings = tuple(
        replace(found, text=_renamed(found.text, names), remedy=_renamed(found.remedy, names))
        for found in measurement.findings
    )
    return replace(measurement, findings=findings)


def is_far_apart(measurement: Measurement) -> bool:
    """Return whether the two differ more than two paints meant to be alike can."""
    return any(found.code == "far-apart" for found in measurement.findings)


def _renamed(sentence: str, names: tuple[str, str]) -> str:
    def own(found: re.Match[str]) -> str:
        name = names[0] if found[2] == Kind.CARD.value else names[1]
        return name[0].upper() + name[1:] if found[1] == "T" else name

    return _POINTED_AT.sub(own, sentence)
