"""What ``calibration/scene.toml`` holds: materials, surface physics and invented recipes."""

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
class Colours:
    """The invented vehicle colours, among the ranges of the file; the others are the tests'."""

    recipes: dict[str, Recipe]


@dataclass(frozen=True)
class SceneFile:
    """What the demonstration reads of ``calibration/scene.toml``."""

    physics: ScenePhysics
    ranges: Colours
