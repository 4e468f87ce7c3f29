"""The smoothest reflectance spectrum, or correction of one, that has a measured colour.

Burns, S. A. (2020), "Numerical methods for smoothest reflectance reconstruction", Color Res. Appl. 45:8-21, least
hyperbolic tangent slope squared: R = (1 + tanh z)/2 keeps R between 0 and 1, and among all z with the wanted colour the
one with the least sum of squared steps is taken. Started from a paint's formula instead of a flat spectrum, the same
solution is the smoothest factor on R/(1-R), which is what tells an unknown batch from its formula.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from match.colorimetry import Array
from match.errors import TintError
from match.tint.pigment import WAVELENGTHS_NM, Optics, internal_reflectance, surface_reflectance
from match.tint.viewing import Viewing, lab_from_reflectance, viewing

MOST_STEPS = 80
LARGEST_STEP = 1.5  # in z, where tanh z goes from 0 to 0.9: keeps the linearised colour honest
CLOSE = 1e-6  # CIELAB units; far below any measurement
RIDGE = 1e-6  # share of a squared level added to the squared steps, so that the level is determined


@dataclass(frozen=True, eq=False)
class RecoveredSpectrum:
    """A spectrum with the wanted colour.

    Attributes
    ----------
    internal : (31,) internal reflectance, above 0 and below 1
    measured : (31,) the same seen through the surface, gloss excluded
    lab_left : length in CIELAB of what could not be reproduced; zero unless the colour lies outside what paint can be
    """

    internal: Array
    measured: Array
    lab_left: float


def _smoothing() -> Array:
    """Return (31, 31) inverse of the matrix H of the roughness g' H g."""
    n = WAVELENGTHS_NM.size
    D = np.diff(np.eye(n), axis=0)
    return np.asarray(np.linalg.inv(D.T @ D + RIDGE * np.eye(n)), dtype=np.float64)


_SMOOTHING = _smoothing()


def lab_jacobian_of_reflectance(R: Array, view: Viewing) -> Array:
    """Return (3, 31) derivative of CIELAB by measured reflectance."""
    t = (R @ view.weights) / view.white
    slope = np.where(t > (6 / 29) ** 3, 1 / (3 * np.cbrt(np.maximum(t, 1e-12)) ** 2), (29 / 6) ** 2 / 3)
    f = slope[:, None] * view.weights.T / view.white[:, None]
    return np.stack([116 * f[1], 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def smoothest_spectrum(lab: ArrayLike, optics: Optics, start: ArrayLike | None = None) -> RecoveredSpectrum:
    """Return the spectrum of CIELAB ``lab`` that is smoothest, or that departs most smoothly from ``start``.

    Parameters
    ----------
    lab : (3,) CIELAB under D65, 2 degrees, gloss excluded
    optics : the paint's surface
    start : (31,) internal reflectance to depart from; a flat grey when not given

    Each step solves the linearised colour equations for the correction g of least roughness (Burns's Lagrange equations
    with the curvature of the colour equations left out; both have the same solution).
    """
    target = np.asarray(lab, dtype=np.float64)
    if target.shape != (3,) or not np.all(np.isfinite(target)):
        raise TintError("a colour needs three finite numbers L*, a*, b*: measure again")
    view = viewing()
    flat = internal_reflectance(((np.clip(target[0], 0.5, 98.0) + 16) / 116) ** 3, optics)
    R0 = np.full(WAVELENGTHS_NM.size, float(flat)) if start is None else np.asarray(start, dtype=np.float64)
    z0 = np.arctanh(2 * np.clip(R0, 1e-6, 1 - 1e-6) - 1)
    g = np.zeros_like(z0)
    best, best_left = g, np.inf
    for _ in range(MOST_STEPS):
        R = (1 + np.tanh(z0 + g)) / 2
        measured = surface_reflectance(R, optics)
        left = target - lab_from_reflectance(measured, view)
        size = float(np.linalg.norm(left))
        if size < best_left:
            best, best_left = g, size
        dz = 2 * R * (1 - R)
        dR = (1 - optics.k1) * (1 - optics.k2) / (1 - optics.k2 * R) ** 2
        J = lab_jacobian_of_reflectance(measured, view) * (dR * dz)
        HJ = _SMOOTHING @ J.T
        G = J @ HJ
        multiplier = np.linalg.solve(G + 1e-12 * np.trace(G) * np.eye(3), left + J @ g)
        step = HJ @ multiplier - g
        largest = float(np.abs(step).max())
        if size < CLOSE and largest < CLOSE:
            break
        g = g + step * min(1.0, LARGEST_STEP / largest) if largest > 0 else g
    R = (1 + np.tanh(z0 + best)) / 2
    return RecoveredSpectrum(R, surface_reflectance(R, optics), best_left)
