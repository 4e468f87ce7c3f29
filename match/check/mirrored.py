"""What the paint mirrors, where somebody said it: clear coat shows some 4 % of it, which counts on dark paint."""

import hashlib
from dataclasses import dataclass, replace
from enum import StrEnum

from match import calibration as files
from match.calibration import quantity
from match.check.calibration_files import Calibration
from match.colorimetry import fresnel_reflectance


class Mirrored(StrEnum):
    """What stands where card and car mirror it."""

    BLACK = "black"
    ROOM = "room"
    BRIGHT = "bright"


@dataclass(frozen=True)
class Surroundings:
    """One of them; see ``calibration/camera.toml``. ``words`` end the sentence "the paint mirrors"."""

    words: str
    reflectance: float = quantity("reflectance")
    log_sd: float = quantity("log units")


@dataclass(frozen=True)
class _Said:
    veil_share: float = quantity("fraction")
    veil_power: float = quantity("1")


def surroundings(mirrored: Mirrored) -> Surroundings:
    """Return what is known of these surroundings."""
    return files.load(Surroundings, "camera", "mirrored", mirrored.value)


def with_mirrored(calibration: Calibration, mirrored: Mirrored | None) -> Calibration:
    """Return the calibration for paint that mirrors this, and another fingerprint; the same one where nobody said it.

    The veil is the clear coat's Fresnel reflection of those surroundings. No dark paint is asked about them any more.
    """
    if mirrored is None:
        return calibration
    known, said = surroundings(mirrored), files.load(_Said, "camera", "mirrored_said")
    camera = calibration.camera
    errors = replace(
        camera.errors,
        veil_median=camera.errors.veil_most * known.reflectance,
        veil_log_sd=known.log_sd,
        veil_share=said.veil_share,
        veil_power=said.veil_power,
    )
    camera = replace(camera, errors=errors, quality=replace(camera.quality, mirrored=float("-inf")))
    digest = hashlib.sha256(f"{calibration.fingerprint} {mirrored.value}".encode()).hexdigest()
    return replace(calibration, camera=camera, fingerprint=digest[:12])


@dataclass(frozen=True)
class ViewedAngles:
    """Angles from the normal at which effect finishes are photographed; see ``calibration/camera.toml``."""

    refractive_index: float = quantity("1")
    near_glare: float = quantity("deg")
    flop: float = quantity("deg")


def seen_at(calibration: Calibration, angle_deg: float, refractive_index: float) -> Calibration:
    """Return the calibration for a photo taken this far from the normal, and another fingerprint.

    Clear coat mirrors more the lower one looks: Fresnel's reflection scales the veil that lies on dark paint.
    """
    more = float(fresnel_reflectance(angle_deg, refractive_index) / fresnel_reflectance(0.0, refractive_index))
    errors = calibration.camera.errors
    errors = replace(errors, veil_median=more * errors.veil_median, veil_most=more * errors.veil_most)
    digest = hashlib.sha256(f"{calibration.fingerprint} {angle_deg:g} {refractive_index:g}".encode()).hexdigest()
    camera = replace(calibration.camera, errors=errors)
    return replace(calibration, camera=camera, fingerprint=digest[:12])


def mirrored_note(mirrored: Mirrored | None) -> tuple[str, ...]:
    """Return what to say with a result that was measured so."""
    return () if mirrored is None else (f"Measured as paint that mirrors {surroundings(mirrored).words}, as you said.",)
