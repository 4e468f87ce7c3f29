"""CIELAB of a reflectance spectrum under a named light, 2-degree observer, with the weights worked out once."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from match.errors import TintError
from match.tint.pigment import WAVELENGTHS_NM, Floats

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

OBSERVER = "CIE 1931 2 Degree Standard Observer"
CIE_EPSILON = (6 / 29) ** 3  # CIE 15: below this ratio the cube root is replaced by a straight line


@dataclass(frozen=True, eq=False)
class Viewing:
    """Weights for one illuminant and the 2-degree observer.

    Attributes
    ----------
    illuminant : CIE name
    weights : (31, 3); reflectance @ weights = XYZ with Y = 100 for the perfect white
    white : (3,) XYZ of the perfect white, the sum of the weights
    """

    illuminant: str
    weights: Floats
    white: Floats


@cache
def viewing(illuminant: str = "D65") -> Viewing:
    """Return weights at :data:`WAVELENGTHS_NM` by ASTM E2022, as implemented by colour-science, for a CIE illuminant.

    Weights outside 400-700 nm are added to the first and last band, the practice of ASTM E308 for short spectra.
    """
    if illuminant not in colour.SDS_ILLUMINANTS:
        raise TintError(f"no illuminant is called {illuminant!r}: use a CIE name such as D65, A or FL11")
    shape = colour.SpectralShape(360, 780, 10)
    cmfs = colour.MSDS_CMFS[OBSERVER].copy().align(colour.SpectralShape(360, 780, 1))
    light = colour.SDS_ILLUMINANTS[illuminant].copy().align(colour.SpectralShape(360, 780, 1))
    full = colour.colorimetry.tristimulus_weighting_factors_ASTME2022(cmfs, light, shape)
    wavelengths = shape.wavelengths
    inside = (wavelengths >= WAVELENGTHS_NM[0]) & (wavelengths <= WAVELENGTHS_NM[-1])
    weights = np.array(full[inside], dtype=np.float64)
    weights[0] += full[wavelengths < WAVELENGTHS_NM[0]].sum(axis=0)
    weights[-1] += full[wavelengths > WAVELENGTHS_NM[-1]].sum(axis=0)
    weights *= 100 / weights[:, 1].sum()
    return Viewing(illuminant, weights, weights.sum(axis=0))


def xyz_from_reflectance(R: ArrayLike, view: Viewing | None = None) -> Floats:
    """Return XYZ (..., 3), Y 0..100, of reflectance (..., 31) under ``view`` (D65 when not given)."""
    view = view or viewing()
    return np.asarray(np.asarray(R, dtype=np.float64) @ view.weights, dtype=np.float64)


def lab_from_xyz(xyz: ArrayLike, white: ArrayLike) -> Floats:
    """Return CIELAB (..., 3) of XYZ relative to ``white`` (CIE 15)."""
    t = np.asarray(xyz, dtype=np.float64) / np.asarray(white, dtype=np.float64)
    f = np.where(t > CIE_EPSILON, np.cbrt(t), t * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def xyz_from_lab(lab: ArrayLike, white: ArrayLike) -> Floats:
    """Return XYZ (..., 3) of CIELAB relative to ``white``: the inverse of :func:`lab_from_xyz`."""
    lab = np.asarray(lab, dtype=np.float64)
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], axis=-1)
    t = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29))
    return np.asarray(t * np.asarray(white, dtype=np.float64), dtype=np.float64)


def lab_from_reflectance(R: ArrayLike, view: Viewing | None = None) -> Floats:
    """Return CIELAB (..., 3) of reflectance (..., 31) under ``view`` (D65, 2 degrees, when not given)."""
    view = view or viewing()
    return lab_from_xyz(xyz_from_reflectance(R, view), view.white)


def colour_difference(lab_1: ArrayLike, lab_2: ArrayLike) -> Floats:
    """Return CIEDE2000 (...) between CIELAB colours (..., 3), by colour-science."""
    return np.asarray(colour.difference.delta_E_CIE2000(np.asarray(lab_1), np.asarray(lab_2)), dtype=np.float64)
