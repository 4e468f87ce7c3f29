"""What the paint mirrors, where somebody said it: clear coat shows some 4 % of it, which counts on dark paint."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from enum import StrEnum

from match import calibration as files
from match.calibration import quantity
from match.check.check import Calibration


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


def mirrored_note(mirrored: Mirrored | None) -> tuple[str, ...]:
    """Return what to say with a result that was measured so."""
    return () if mirrored is None else (f"Measured as paint that mirrors {surroundings(mirrored).words}, as you said.",)
