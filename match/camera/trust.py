"""What a shop knows of its own camera: its floor, its tone curve, and what to change when they are poor."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np

from match.calibration import quantity
from match.camera.null_test import CameraFloor, NullRules, NullShot, camera_floor
from match.measure.finding import Code, Finding, findings_for_json
from match.measure.tone import TonePrior
from match.measure.words import SURE_SD
from match.record import Rounded
from match.several.random_effects import fit_group, spread_grid


@dataclass(frozen=True)
class TrustRules:
    """Table ``camera_trust`` of ``calibration/own_camera.toml``."""

    fair_floor: float = quantity("CIELAB")
    poor_floor: float = quantity("CIELAB")
    slope_between_steps: tuple[float, ...] = quantity("log true per log decoded")
    slope_between_scale: float = quantity("log true per log decoded")
    restless_slope: float = quantity("log true per log decoded")
    flat_slope: float = quantity("log true per log decoded")
    grey_misfit: float = quantity("standard deviations")
    colour_share: float = quantity("fraction of variance")


@dataclass(frozen=True)
class GreyShot:
    """One photo with grey steps: the fitted slope at the paint's level, its sd, and the fit's misfit (1 = as expected).

    ``ToneFit.slope_at`` and ``ToneFit.misfit`` of :mod:`match.measure.tone` give all three.
    """

    name: str
    slope: float
    slope_sd: float
    misfit: float


@dataclass(frozen=True)
class CameraTone(Rounded):
    """The next photo's slope, for ``TonePrior.slope_mean`` and ``slope_sd``; and how far it changes between photos."""

    slope_mean: float
    slope_sd: float
    between_sd: float
    shots: int


class CameraCode(Code):
    """What can be wrong with a camera."""

    WHITE_BALANCE_HUNTS = (
        "white-balance-hunts",
        "the error lies mostly in colour, as when white balance hunts or two lamps mix.",
        "Lock white balance, switch off all lamps but one kind, and keep coloured things out of the frame.",
    )
    CAMERA_LOCAL = (
        "camera-local",
        "the error lies mostly in lightness, as when the camera brightens parts of the picture on its own.",
        "Switch off HDR, night mode and scene modes, wipe the lens, keep lamps out of the frame; try camera raw.",
    )
    CONTRAST_CHANGES = (
        "contrast-changes",
        "the camera changes its contrast from photo to photo.",
        "Switch off HDR, night mode and scene modes, and keep grey steps in every photo.",
    )
    PICTURES_FLAT = (
        "pictures-flat",
        "the pictures are flat: less contrast reaches them than there is.",
        "Wipe the lens, shade it from the lamp, and switch HDR off.",
    )
    GREYS_DISAGREE = (
        "greys-disagree",
        "the grey steps do not fit one tone curve.",
        "Check the reflectances given for the greys, wipe them, and switch HDR off.",
    )


class Grade(StrEnum):
    """How far the camera can be trusted."""

    GOOD = "good"
    FAIR = "fair"
    POOR = "poor"


@dataclass(frozen=True)
class CameraTrust:
    """A camera's floor and tone (None where no shots were given), a grade, and what to change."""

    floor: CameraFloor | None
    tone: CameraTone | None
    grade: Grade
    findings: tuple[Finding, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """The result in plain words."""
        told = []
        if self.floor:
            shots = "1 photo" if self.floor.shots == 1 else f"{self.floor.shots} photos"
            told.append(
                f"From {shots} of two spots of one panel: this camera adds an error of about {self.floor.floor_sd:.2f} "
                f"CIELAB of its own (at most {self.floor.interval[1]:.2f}), which is {self.grade.value}."
            )
        if self.tone:
            told.append(
                f"Its pictures need their contrast multiplied by {self.tone.slope_mean:.2f}, give or take "
                f"{SURE_SD * self.tone.slope_sd:.2f}."
            )
        return (*told, *(f"{found.text()} {found.remedy()}" for found in self.findings))

    def as_dict(self) -> dict[str, Any]:
        """Return the result for JSON."""
        return {
            "floor": self.floor.as_dict() if self.floor else None,
            "tone": self.tone.as_dict() if self.tone else None,
            "grade": self.grade.value,
            "sentences": list(self.sentences),
            "findings": findings_for_json(self.findings),
        }


def judge_camera(
    nulls: Sequence[NullShot],
    greys: Sequence[GreyShot],
    usual_floor: float,
    usual_tone: TonePrior,
    null_rules: NullRules,
    rules: TrustRules,
) -> CameraTrust:
    """Judge one camera from the shots kept of it; either list may be empty.

    Parameters
    ----------
    nulls, greys : photos by one camera in the settings it is used with
    usual_floor, usual_tone : what is assumed of any camera (``calibration/camera.toml``)
    null_rules, rules : ``calibration/own_camera.toml``, tables ``null_test`` and ``camera_trust``
    """
    floor = camera_floor(nulls, usual_floor, null_rules) if nulls else None
    tone = camera_tone(greys, usual_tone, rules) if greys else None
    grade = Grade.GOOD
    if floor and floor.floor_sd > rules.fair_floor:
        grade = Grade.POOR if floor.floor_sd > rules.poor_floor else Grade.FAIR
    findings = _floor_findings(floor, grade, rules) + _tone_findings(tone, greys, rules)
    return CameraTrust(floor, tone, grade, findings)


def camera_tone(greys: Sequence[GreyShot], usual: TonePrior, rules: TrustRules) -> CameraTone:
    """Return what the next photo's slope will be, from at least one shot, starting from the usual prior.

    A random-effects fit (:mod:`match.several.random_effects`) with the usual prior on the camera's mean: the predicted
    sd holds how far photos differ and how well the mean is known.
    """
    values = np.array([[shot.slope] for shot in greys])
    variances = np.array([[[shot.slope_sd**2]] for shot in greys])
    grid = spread_grid(rules.slope_between_steps, rules.slope_between_scale)
    prior = (np.array([usual.slope_mean]), np.array([[usual.slope_sd**2]]))
    fit = fit_group(values, variances, np.zeros(len(greys)), np.eye(1), np.ones(1), grid, prior)
    between = fit.expected_between_sd
    return CameraTone(float(fit.centre[0]), float(np.sqrt(fit.spread[0, 0] + between**2)), between, len(greys))


def _floor_findings(floor: CameraFloor | None, grade: Grade, rules: TrustRules) -> tuple[Finding, ...]:
    if floor is None or grade is Grade.GOOD:
        return ()
    code = CameraCode.WHITE_BALANCE_HUNTS if floor.colour_share > rules.colour_share else CameraCode.CAMERA_LOCAL
    return (Finding(code, grade is Grade.POOR),)


def _tone_findings(tone: CameraTone | None, greys: Sequence[GreyShot], rules: TrustRules) -> tuple[Finding, ...]:
    if tone is None:
        return ()
    found = []
    if len(greys) > 1 and tone.between_sd > rules.restless_slope:
        found.append(CameraCode.CONTRAST_CHANGES)
    if tone.slope_mean > rules.flat_slope:
        found.append(CameraCode.PICTURES_FLAT)
    if float(np.median([shot.misfit for shot in greys])) > rules.grey_misfit:
        found.append(CameraCode.GREYS_DISAGREE)
    return tuple(Finding(code, False) for code in found)
