"""Two marked places of one paint measured like card and car, under their own names: chart fields, spots of a panel."""

from collections.abc import Sequence
from dataclasses import replace

from match.check.calibration_files import Calibration
from match.check.measuring import PhotoLike, measure_regions
from match.check.settings import CheckSettings
from match.errors import Called, RegionError
from match.measure.finding import Names, by_pixels
from match.measure.measurement import Measurement
from match.measure.photo_code import PhotoCode
from match.photo.regions import Kind, Region


def measure_pair(
    photo: PhotoLike,
    greys: Sequence[Region],
    pair: tuple[Region, Region],
    names: tuple[str, str],
    settings: CheckSettings,
    calibration: Calibration,
) -> Measurement:
    """Measure the first place of ``pair`` as the card and the second as the vehicle; both are of the same pigments.

    Raises :class:`RegionError` when a region is missing, outside, too small, or overlaps another.

    Parameters
    ----------
    photo, greys : the photo and its grey references
    pair : the two places; their kind does not matter
    names : what they are called in errors, such as ``the field over black``; see :func:`called_in_pair` for findings
    settings, calibration : as for :func:`match.check.measuring.measure_regions`
    """
    kinds = Kind.CARD, Kind.VEHICLE
    card, vehicle = (replace(place, kind=kind, label="") for place, kind in zip(pair, kinds, strict=True))
    try:
        return measure_regions(photo, (*greys, card, vehicle), settings, _of_one_paint(calibration))
    except RegionError as error:
        fault = error
    raise RegionError(lambda called: fault.said(called_in_pair(names, called))) from None


def _of_one_paint(calibration: Calibration) -> Calibration:
    camera = calibration.camera
    errors = replace(camera.errors, metamer_sd=0.0, other_pigments_sd=0.0)
    return replace(calibration, camera=replace(camera, errors=errors))


def called_in_pair(names: tuple[str, str], others: Called = by_pixels) -> Names:
    """Return what the regions of a pair are called: the two by their own names, the greys as by ``others``."""
    own = {Kind.CARD: names[0], Kind.VEHICLE: names[1]}
    return lambda region, photo="": own.get(region.kind) or others(region)


def is_far_apart(measurement: Measurement) -> bool:
    """Return whether the two differ more than two paints meant to be alike can."""
    return any(found.code is PhotoCode.FAR_APART for found in measurement.findings)
