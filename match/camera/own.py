"""What one photo is measured by: what is known of any camera, of its own camera, and of what its paint mirrors.

A camera that was tried out has a floor and a tone of its own, which take the place of what any camera is assumed to
have. Composition only: photos become shots (:func:`measure_null`, :func:`measure_greys`), shots a
:class:`match.camera.trust.CameraTrust`, and that another :class:`match.check.check.Calibration`. Every check, of one
photo or of several, at a page or on the command line, begins with :func:`calibration_for`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from match.camera.null_test import NullShot, null_shot
from match.camera.records_file import Camera, Cameras, read_cameras, records_file
from match.camera.rules import CameraRules, load_camera_rules
from match.camera.trust import CameraTrust, GreyShot, judge_camera
from match.check.check import Calibration, CheckResult, CheckSettings, PhotoLike, Planner, judge, read_patch
from match.check.mirrored import Mirrored, mirrored_note, with_mirrored
from match.check.pair import is_far_apart, measure_pair
from match.errors import EvidenceError, MatchError
from match.measure.light import fit_light
from match.measure.measurement import Measurement
from match.measure.quality import Finding, photo_findings
from match.measure.sampling import sample_region
from match.measure.tone import fit_tone, prior_curve
from match.photo.regions import Kind, Region, check_regions
from match.several.photo_set import MarkedPhoto, MeasuredPhoto

SPOTS = ("the first spot", "the second spot")

LEAST_TONE_SHOTS = 2
"""One photo of grey steps says nothing of how far the contrast changes from photo to photo."""

UNKNOWN_SLOPE = 1.0
"""Standard deviation of the slope before a shot of grey steps: the shot speaks for itself, since the usual prior is
counted where a camera's shots are put together."""

LEAST_GREYS = 3
"""Two steps give a slope but nothing to test it by."""


class PhotoFacts(Protocol):
    """What decides by which calibration a photo is measured (see :class:`match.photo.load.Photo`)."""

    @property
    def camera(self) -> str | None:
        """Make and model, where the photo says it."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What the user should know of the file."""


Measure = Callable[[Sequence[Region], CheckSettings, Calibration], Measurement]
"""Measures marked regions of one photo: :func:`match.check.check.measure_photo` of it, or what remembers that."""


@dataclass(frozen=True)
class PhotoCalibration:
    """The calibration to measure one photo by; ``notes`` is what to say with every result: of file, camera, mirrors."""

    calibration: Calibration
    notes: tuple[str, ...] = ()

    def check(
        self, measure: Measure, regions: Sequence[Region], settings: CheckSettings, planner: Planner | None = None
    ) -> CheckResult:
        """Return the verdict on one photo's marks; raises as :func:`match.check.check.check_photo` does."""
        measurement = measure(regions, settings, self.calibration)
        return judge(measurement, settings, self.calibration, planner, self.notes)

    def measured(self, measure: Measure, marked: MarkedPhoto, settings: CheckSettings) -> MeasuredPhoto:
        """Return one of several photos measured; raises ``RegionError`` as a check does."""
        measurement = measure(marked.regions, settings, self.calibration)
        return MeasuredPhoto(marked.name, marked.use, marked.regions, measurement, self.calibration, self.notes)


def trust(camera: Camera, calibration: Calibration, rules: CameraRules) -> CameraTrust:
    """Judge one camera from its record; ``calibration`` is the usual one, of any camera."""
    usual = calibration.camera
    return judge_camera(
        tuple(camera.nulls.values()),
        tuple(camera.greys.values()),
        usual.errors.pair_floor,
        usual.tone,
        rules.null_test,
        rules.camera_trust,
    )


def for_camera(calibration: Calibration, judged: CameraTrust) -> Calibration:
    """Return the calibration with the camera's own floor and tone where they are known, and another fingerprint.

    The tone of a single photo is not used: see :data:`LEAST_TONE_SHOTS`.
    """
    camera = calibration.camera
    if judged.floor:
        camera = replace(camera, errors=replace(camera.errors, pair_floor=judged.floor.floor_sd))
    if judged.tone and has_tone(judged):
        tone = replace(camera.tone, slope_mean=judged.tone.slope_mean, slope_sd=judged.tone.slope_sd)
        camera = replace(camera, tone=tone)
    own = json.dumps([part.as_dict() if part else None for part in (judged.floor, judged.tone)])
    digest = hashlib.sha256((calibration.fingerprint + own).encode()).hexdigest()
    return replace(calibration, camera=camera, fingerprint=digest[:12])


def has_tone(judged: CameraTrust) -> bool:
    """Return whether enough photos of grey steps are kept for the camera's own tone to be used."""
    return judged.tone is not None and judged.tone.shots >= LEAST_TONE_SHOTS


def own_camera(calibration: Calibration, named: str | None, cameras: Cameras, rules: CameraRules) -> PhotoCalibration:
    """Return the calibration for a photo that says ``named`` of its camera: the usual one where nothing is known."""
    name = cameras.name_for(named)
    kept = cameras.by_name.get(name) if name else None
    if name is None or kept is None:
        return PhotoCalibration(calibration)
    judged = trust(kept, calibration, rules)
    if judged.floor is None and not has_tone(judged):
        return PhotoCalibration(calibration)
    return PhotoCalibration(for_camera(calibration, judged), (_note(name, judged),))


def calibration_for(
    photo: PhotoFacts, calibration: Calibration, place: str | None = None, mirrored: Mirrored | None = None
) -> PhotoCalibration:
    """Return what to measure a photo by.

    Parameters
    ----------
    photo : says its camera, and what is to be known of the file
    calibration : the usual one, of any camera
    place : where the cameras' records are kept; the usual place where None. Records that cannot be read are said, and
        the check goes on
    mirrored : what the paint mirrors, where somebody said it
    """
    own = _recorded(with_mirrored(calibration, mirrored), photo.camera, place)
    return replace(own, notes=(*photo.notes, *own.notes, *mirrored_note(mirrored)))


def _recorded(calibration: Calibration, named: str | None, place: str | None) -> PhotoCalibration:
    try:
        file = records_file(place)
        if not file.is_file():
            return PhotoCalibration(calibration)
        return own_camera(calibration, named, read_cameras(file), load_camera_rules())
    except MatchError as error:
        return PhotoCalibration(calibration, (f"This camera's own record was not used: {error}.",))


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
    _refuse_spoiled(measurement.findings)
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
    levels = light.mean_log_level[2:]  # the first two are card and vehicle, of which there are none here
    level_sd = np.sqrt(np.stack([np.diag(covariance)[2:] for covariance in light.covariance], axis=-1))
    tolerance = max(calibration.greys.tolerance(region.reflectance or 0.0) for region in greys)
    prior = prior_curve(replace(camera.tone, slope_sd=UNKNOWN_SLOPE), scene_linear=False)
    tone = fit_tone(levels, level_sd, light.reflectances, tolerance, prior, camera.tone.gain_tolerance)
    findings = photo_findings(samples, light, tone, camera.quality, scene_linear=False)
    _refuse_spoiled([each for each in findings if each.code != "greys-disagree"])  # the camera's judge says that
    return GreyShot(name, *tone.slope_at(float(levels.mean())), tone.misfit)


def _refuse_spoiled(findings: Sequence[Finding]) -> None:
    spoiled = next((each for each in findings if each.spoils), None)
    if spoiled:
        raise EvidenceError(f"{spoiled.text} {spoiled.remedy} It says nothing of the camera, and was not kept")


def _note(name: str, judged: CameraTrust) -> str:
    known = []
    if judged.floor:
        known.append(f"an error of its own of {judged.floor.floor_sd:.2f} CIELAB, which is {judged.grade.value}")
    if judged.tone and has_tone(judged):
        known.append(f"a contrast of {judged.tone.slope_mean:.2f}")
    return f"This camera's own record ({name}) was used: {' and '.join(known)}."
