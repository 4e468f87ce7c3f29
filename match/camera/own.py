"""A check by a camera that was tried out: its own floor and tone take the place of what any camera is assumed to have.

Composition only: photos become shots (:func:`measure_null`, :func:`measure_greys`), shots a
:class:`match.camera.trust.CameraTrust`, and that another :class:`match.check.check.Calibration`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from match.camera.null_test import NullShot, null_shot
from match.camera.records_file import Camera, Cameras, read_cameras, records_file
from match.camera.rules import CameraRules, load_camera_rules
from match.camera.trust import CameraTrust, GreyShot, judge_camera
from match.check.check import Calibration, CheckResult, CheckSettings, PhotoLike, read_patch
from match.check.mirrored import Mirrored, mirrored_note, with_mirrored
from match.check.pair import is_far_apart, measure_pair
from match.errors import EvidenceError, MatchError
from match.measure.light import fit_light
from match.measure.quality import Finding, photo_findings
from match.measure.sampling import sample_region
from match.measure.tone import fit_tone, prior_curve
from match.photo.regions import Kind, Region, check_regions

SPOTS = ("the first spot", "the second spot")

LEAST_TONE_SHOTS = 2
"""One photo of grey steps says nothing of how far the contrast changes from photo to photo."""

UNKNOWN_SLOPE = 1.0
"""Standard deviation of the slope before a shot of grey steps: the shot speaks for itself, since the usual prior is
counted where a camera's shots are put together."""

LEAST_GREYS = 3
"""Two steps give a slope but nothing to test it by."""


@dataclass(frozen=True)
class OwnCamera:
    """The calibration to check a photo by, and what to say of it; ``notes`` is empty for a camera not tried out."""

    calibration: Calibration
    notes: tuple[str, ...] = ()

    def told(self, result: CheckResult) -> CheckResult:
        """Return the result with a note that the camera's own record was used."""
        return replace(result, notes=(*result.notes, *self.notes))


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


def own_camera(calibration: Calibration, named: str | None, cameras: Cameras, rules: CameraRules) -> OwnCamera:
    """Return the calibration for a photo that says ``named`` of its camera: the usual one where nothing is known."""
    name = cameras.name_for(named)
    kept = cameras.by_name.get(name) if name else None
    if name is None or kept is None:
        return OwnCamera(calibration)
    judged = trust(kept, calibration, rules)
    if judged.floor is None and not has_tone(judged):
        return OwnCamera(calibration)
    return OwnCamera(for_camera(calibration, judged), (_note(name, judged),))


def own_camera_at(
    calibration: Calibration, named: str | None, place: str | None = None, mirrored: Mirrored | None = None
) -> OwnCamera:
    """Return the same from the records at ``place``, for paint that mirrors what somebody said.

    Records that cannot be read are said, and the check goes on.
    """
    own = _recorded(with_mirrored(calibration, mirrored), named, place)
    return replace(own, notes=(*own.notes, *mirrored_note(mirrored)))


def _recorded(calibration: Calibration, named: str | None, place: str | None) -> OwnCamera:
    try:
        file = records_file(place)
        if not file.is_file():
            return OwnCamera(calibration)
        return own_camera(calibration, named, read_cameras(file), load_camera_rules())
    except MatchError as error:
        return OwnCamera(calibration, (f"This camera's own record was not used: {error}.",))


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
