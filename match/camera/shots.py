"""A photo becomes a shot that says something of its camera: two spots of one panel, or steps of grey."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from match.camera.null_test import NullShot, null_shot
from match.camera.trust import GreyShot
from match.check.calibration_files import Calibration
from match.check.measuring import PhotoLike, read_patch
from match.check.pair import called_in_pair, is_far_apart, measure_pair
from match.check.settings import CheckSettings
from match.errors import Called, EvidenceError
from match.measure.finding import Finding
from match.measure.light import fit_light
from match.measure.photo_code import PhotoCode
from match.measure.quality import photo_findings
from match.measure.sampling import sample_region
from match.measure.tone import fit_tone, prior_curve
from match.photo.regions import Kind, Region, check_regions

SPOTS = ("the first spot", "the second spot")

UNKNOWN_SLOPE = 1.0
"""Standard deviation of the slope before a shot of grey steps: the shot speaks for itself, since the usual prior is
counted where a camera's shots are put together."""

LEAST_GREYS = 3
"""Two steps give a slope but nothing to test it by."""


def measure_null(
    photo: PhotoLike, name: str, greys: Sequence[Region], spots: tuple[Region, Region], calibration: Calibration
) -> NullShot:
    """Measure two spots of one panel.

    Parameters
    ----------
    photo, name : the photo, and what it is called
    greys, spots : at least one grey, and the two spots (their kind does not matter)
    calibration : the usual one, of any camera

    Raises
    ------
    RegionError
        When a region is missing, outside, too small, or overlaps another.
    EvidenceError
        When the photo itself is spoiled, which says nothing of the camera.
    """
    measurement = measure_pair(photo, greys, spots, SPOTS, CheckSettings(), calibration)
    if is_far_apart(measurement):
        raise EvidenceError(
            f"the two spots differ by {measurement.delta_e00:.0f}, so they are not one paint in one light: "
            "mark two spots of the same panel, side by side"
        )
    _refuse_spoiled(measurement.findings, SPOTS)
    return null_shot(name, measurement, calibration.camera.errors.pair_floor)


def measure_greys(photo: PhotoLike, name: str, regions: Sequence[Region], calibration: Calibration) -> GreyShot:
    """Measure the camera's tone curve by grey steps.

    Raises
    ------
    RegionError
        When a region is outside, too small, or overlaps another.
    EvidenceError
        With fewer than three different greys, for camera raw, or when the photo is spoiled.
    """
    greys = [region for region in regions if region.kind is Kind.GREY]
    steps = len({region.reflectance for region in greys})
    if steps < LEAST_GREYS:
        raise EvidenceError(
            f"{steps} different grey{'' if steps == 1 else 's'} marked: mark at least {LEAST_GREYS} steps, "
            "each with its own reflectance"
        )
    if photo.scene_linear:
        raise EvidenceError("camera raw has no tone curve of its own: take grey steps only as JPEG or HEIC")
    check_regions(greys, photo.width, photo.height, (Kind.GREY,))
    camera = calibration.camera
    samples = [sample_region(read_patch(photo, region), camera.sampling) for region in greys]
    light = fit_light(samples, float(max(photo.width, photo.height)), camera.light)
    levels = light.grey_levels
    level_sd = np.sqrt(np.stack([np.diag(covariance)[2:] for covariance in light.covariance], axis=-1))
    tolerances = [calibration.greys.tolerance(reflectance) for reflectance in light.reflectances]
    prior = prior_curve(replace(camera.tone, slope_sd=UNKNOWN_SLOPE), scene_linear=False)
    tone = fit_tone(levels, level_sd, light.reflectances, tolerances, prior, camera.tone.gain_tolerance)
    findings = photo_findings(samples, light, tone, camera.quality, scene_linear=False)
    # What the camera's own judge says is left to it.
    _refuse_spoiled([each for each in findings if each.code is not PhotoCode.GREYS_DISAGREE])
    return GreyShot(name, *tone.slope_at(float(levels.mean())), tone.misfit)


def _refuse_spoiled(findings: Sequence[Finding], spots: tuple[str, str] | None = None) -> None:
    spoiled = next((each for each in findings if each.spoils), None)
    if spoiled is None:
        return

    def words(called: Called) -> str:
        names = called_in_pair(spots, called) if spots else lambda region, photo="": called(region)
        return f"{spoiled.text(names)} {spoiled.remedy(names)} It says nothing of the camera, and was not kept"

    raise EvidenceError(words)
