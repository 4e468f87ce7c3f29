"""CIELAB of a reflectance spectrum under a named light, 2-degree observer, with the weights worked out once."""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from match.colorimetry import Array, colour_science, lab_from_xyz
from match.errors import TintError
from match.tint.pigment import WAVELENGTHS_NM

OBSERVER = "CIE 1931 2 Degree Standard Observer"


@dataclass(frozen=True, eq=False)
class Viewing:
    """Weights for one illuminant and the 2-degree observer.

    Attributes
    ----------
    weights : (31, 3); reflectance @ weights = XYZ with Y = 100 for the perfect white
    white : (3,) XYZ of the perfect white, the sum of the weights
    """

    weights: Array
    white: Array


@cache
def viewing(illuminant: str = "D65") -> Viewing:
    """Return weights at :data:`WAVELENGTHS_NM` by ASTM E2022, as implemented by colour-science, for a CIE illuminant.

    Weights outside 400-700 nm are added to the first and last band, the practice of ASTM E308 for short spectra.
    """
    colour = colour_science()
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
    return Viewing(weights, weights.sum(axis=0))


def xyz_from_reflectance(R: ArrayLike, view: Viewing | None = None) -> Array:
    """Return XYZ (..., 3), Y 0..100, of reflectance (..., 31) under ``view`` (D65 when not given)."""
    view = view or viewing()
    return np.asarray(np.asarray(R, dtype=np.float64) @ view.weights, dtype=np.float64)


def lab_from_reflectance(R: ArrayLike, view: Viewing | None = None) -> Array:
    """Return CIELAB (..., 3) of reflectance (..., 31) under ``view`` (D65, 2 degrees, when not given)."""
    view = view or viewing()
    return lab_from_xyz(xyz_from_reflectance(R, view), view.white)
