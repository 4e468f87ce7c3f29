"""What the paint mirrors, where somebody said it: clear coat shows some 4 % of it, which counts on dark paint."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from match import calibration as files
from match.calibration import quantity
from match.check import Calibration


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


@dataclass(frozen=True)
class _File:
    mirrored: Mapping[str, Surroundings]
    mirrored_said: _Said


def surroundings(mirrored: Mirrored) -> Surroundings:
    """Return what is known of these surroundings."""
    return files.load(_File, "camera").mirrored[mirrored.value]


def with_mirrored(calibration: Calibration, mirrored: Mirrored | None) -> Calibration:
    """Return the calibration for paint that mirrors this, and another fingerprint; the same one where nobody said it.

    The veil is the clear coat's Fresnel reflection of those surroundings.
    """
    if mirrored is None:
        return calibration
    known, errors = surroundings(mirrored), calibration.camera.errors
    said = files.load(_File, "camera").mirrored_said
    errors = replace(
        errors,
        veil_median=errors.veil_most * known.reflectance,
        veil_log_sd=known.log_sd,
        veil_share=said.veil_share,
        veil_power=said.veil_power,
    )
    digest = hashlib.sha256(f"{calibration.fingerprint} {mirrored.value}".encode()).hexdigest()
    return replace(calibration, camera=replace(calibration.camera, errors=errors), fingerprint=digest[:12])


def mirrored_note(mirrored: Mirrored | None) -> tuple[str, ...]:
    """Return what to say with a result that was measured so."""
    return () if mirrored is None else (f"Measured as paint that mirrors {surroundings(mirrored).words}, as you said.",)
