"""What ``calibration/scene.toml`` holds: materials, surface physics, invented recipes and the ranges of fair scenes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity
from match.tint.pigment import WAVELENGTHS_NM


@dataclass(frozen=True)
class Material:
    """A matte material whose reflectance rises once through the spectrum: R = low + (high - low) / (1 + e^-x).

    x = (wavelength - centre) / width; equal ``low`` and ``high`` make a grey.
    """

    low: float = quantity("reflectance")
    high: float = quantity("reflectance")
    centre_nm: float = quantity("nm")
    width_nm: float = quantity("nm")

    def reflectance(self) -> NDArray[np.float64]:
        """Return (31,) reflectance at the pigment module's wavelengths."""
        rise = 1 / (1 + np.exp(-(WAVELENGTHS_NM - self.centre_nm) / self.width_nm))
        return np.asarray(self.low + (self.high - self.low) * rise)


@dataclass(frozen=True)
class ScenePhysics:
    """Surface physics of a scene."""

    materials: dict[str, Material]
    fresnel: float = quantity("1")
    flop_decay_deg: float = quantity("deg")
    pearl_centre_nm: float = quantity("nm")
    pearl_width_nm: float = quantity("nm")
    pearl_shift: float = quantity("nm/deg")
    ripple_wavelength: float = quantity("frame widths")


@dataclass(frozen=True)
class Recipe:
    """An invented vehicle colour.

    Attributes
    ----------
    toners : names separated by commas
    other_toners : names of another set that mixes nearly the same colour, for a metameric card
    finish : solid, metallic or pearl
    parts : by weight, in the order of ``toners``
    frequency : how often the colour is drawn
    """

    toners: str
    other_toners: str
    finish: str
    parts: tuple[float, ...] = quantity("parts by weight")
    frequency: float = quantity("relative")

    def formula(self) -> tuple[tuple[str, float], ...]:
        """Return (toner, parts) pairs."""
        return tuple(zip(_names(self.toners), self.parts, strict=True))

    def card_toners(self) -> tuple[str, ...]:
        """Return the names of the other set."""
        return _names(self.other_toners)


def _names(listed: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in listed.split(","))


@dataclass(frozen=True)
class LightRanges:
    """Ranges of uneven light; pairs are (least, most)."""

    linear: tuple[float, ...] = quantity("fraction of the light over the frame's width")
    quadratic: tuple[float, ...] = quantity("fraction of the light at half a frame width")
    vignetting: tuple[float, ...] = quantity("fraction of the light at the corner")
    second_share: tuple[float, ...] = quantity("fraction of the light")
    second_slope: tuple[float, ...] = quantity("fraction of the light over the frame's width")
    incidence_deg: tuple[float, ...] = quantity("deg")
    curvature_deg: tuple[float, ...] = quantity("deg over the frame's width")
    card_tilt_sd_deg: float = quantity("deg")
    card_follows: tuple[float, ...] = quantity("fraction")
    grey_tilt_sd_deg: float = quantity("deg")
    shadow_depth: tuple[float, ...] = quantity("fraction of the light")


@dataclass(frozen=True)
class GlossRanges:
    """Ranges of what the clear coat mirrors."""

    surroundings: tuple[float, ...] = quantity("radiance relative to a white in the same light")
    surroundings_slope_sd: float = quantity("radiance relative to a white in the same light, per 30 deg")
    tube_radiance: tuple[float, ...] = quantity("radiance relative to a white in the same light")
    tube_half_height_deg: tuple[float, ...] = quantity("deg")
    tube_half_width_deg: tuple[float, ...] = quantity("deg")
    diffuser_share: float = quantity("fraction of photos")
    diffuser_radiance: tuple[float, ...] = quantity("radiance relative to a white in the same light")
    diffuser_half_height_deg: tuple[float, ...] = quantity("deg")
    lamps: tuple[float, ...] = quantity("lamps")
    orange_peel_deg: tuple[float, ...] = quantity("deg")
    dust: tuple[float, ...] = quantity("specks")


@dataclass(frozen=True)
class CameraRanges:
    """Ranges of cameras and their rendering."""

    sensor_shift_sd_nm: float = quantity("nm")
    sensor_blur_nm: tuple[float, ...] = quantity("nm")
    matrix_lamp_share: tuple[float, ...] = quantity("fraction")
    white_balance_sd: float = quantity("fraction")
    saturation: tuple[float, ...] = quantity("factor")
    exposure_ev: tuple[float, ...] = quantity("EV")
    metering: tuple[float, ...] = quantity("fraction")
    plain_curve_share: float = quantity("fraction of photos")
    contrast: tuple[float, ...] = quantity("exponent")
    shoulder: tuple[float, ...] = quantity("1")
    toe: tuple[float, ...] = quantity("1")
    sigmoid: tuple[float, ...] = quantity("1")
    veiling_glare: tuple[float, ...] = quantity("fraction of the mean light")
    full_well_electrons: tuple[float, ...] = quantity("electrons")
    read_noise_electrons: tuple[float, ...] = quantity("electrons")
    blur_px: tuple[float, ...] = quantity("px")
    sharpening: tuple[float, ...] = quantity("factor")
    display_p3_share: float = quantity("fraction of photos")


@dataclass(frozen=True)
class SubjectRanges:
    """Ranges of what is photographed."""

    delta_e00: tuple[float, ...] = quantity("CIEDE2000")
    dense_below: float = quantity("CIEDE2000")
    dense_share: float = quantity("fraction of photos")
    metameric_share: float = quantity("fraction of photos")
    share_jitter_sd: float = quantity("log units")
    care_sd: float = quantity("log units")
    grey_error_sd: float = quantity("fraction")
    three_step_share: float = quantity("fraction of photos")
    three_steps: tuple[float, ...] = quantity("reflectance")
    single_grey: float = quantity("reflectance")
    flop: tuple[float, ...] = quantity("1")
    card_flop_ratio_sd: float = quantity("fraction")
    flake_sd: tuple[float, ...] = quantity("log units")
    pearl_strength: tuple[float, ...] = quantity("reflectance")


@dataclass(frozen=True)
class LampChoice:
    """A lamp and how often a photo is taken under it, relative to the others."""

    frequency: float = quantity("relative")


@dataclass(frozen=True)
class SceneRanges:
    """Everything :func:`match.demo.scene.draw.random_scene` draws from."""

    light: LightRanges
    gloss: GlossRanges
    camera: CameraRanges
    subject: SubjectRanges
    lamps: dict[str, LampChoice]
    recipes: dict[str, Recipe]


@dataclass(frozen=True)
class SceneFile:
    """The whole of ``calibration/scene.toml``."""

    physics: ScenePhysics
    ranges: SceneRanges
