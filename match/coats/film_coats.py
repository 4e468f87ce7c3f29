"""From a film over two backings to the paint's own optics, and to the coats that hide (Kubelka 1948).

Kubelka's film over a backing of reflectance G (:func:`match.tint.pigment.film_reflectance`) is, with
t = tanh(b S X) / b, a = 1 + K/S and b^2 = a^2 - 1::

    R - G = t (1 + R G - a (R + G))

so two backings give two equations, whose ratio is linear in a.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from match.tint.pigment import film_reflectance

Array = NDArray[np.float64]

MOST_COATS = 40.0
"""Search for the hiding film ends here: no one sprays more, and a paint that needs more does not hide."""


def film_over_two_backings(
    over_black: ArrayLike, over_white: ArrayLike, black: float, white: float
) -> tuple[Array, Array]:
    """Return K/S and the film's optical thickness S X, (...), NaN where no film gives these readings.

    Parameters
    ----------
    over_black, over_white : reflectance of the film over the two backings, 0..1 (...)
    black, white : reflectance of the backings, 0 <= black < white <= 1
    """
    R1, R2 = np.asarray(over_black, dtype=np.float64), np.asarray(over_white, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = (R1 - black) / (R2 - white)
        a = (1 + R1 * black - ratio * (1 + R2 * white)) / (R1 + black - ratio * (R2 + white))
        # Of the two equations the one over black is always well away from 0 / 0 for a paint that scatters.
        t = (R1 - black) / (1 + R1 * black - a * (R1 + black))
        b = np.sqrt(np.maximum(a**2 - 1, 0.0))
        reach = t * b
        thickness = np.where(b < 1e-6, t, np.arctanh(np.where(reach < 1, reach, np.nan)) / np.where(b < 1e-6, 1.0, b))
    possible = (a >= 1 - 1e-9) & (t > 0) & np.isfinite(thickness) & (R1 < R2)
    return np.where(possible, np.maximum(a - 1, 0.0), np.nan), np.where(possible, thickness, np.nan)


def contrast_ratio(absorption_over_scattering: ArrayLike, thickness: ArrayLike, black: float, white: float) -> Array:
    """Return the film's reflectance over black divided by that over white, 0..1 (...)."""
    Q = np.asarray(absorption_over_scattering, dtype=np.float64)
    over_white = film_reflectance(Q, 1.0, thickness, white)
    return np.asarray(film_reflectance(Q, 1.0, thickness, black) / over_white)


def coats_to_hide(
    absorption_over_scattering: Array, thickness_per_coat: Array, black: float, white: float, wanted: float
) -> Array:
    """Return the coats (...) at which the contrast ratio reaches ``wanted``; NaN where :data:`MOST_COATS` do not do.

    By bisection: the ratio rises with the film.
    """
    low, high = np.zeros_like(thickness_per_coat), np.full_like(thickness_per_coat, MOST_COATS)
    with np.errstate(invalid="ignore", over="ignore"):
        enough = contrast_ratio(absorption_over_scattering, high * thickness_per_coat, black, white) >= wanted
        for _ in range(40):
            middle = 0.5 * (low + high)
            hides = contrast_ratio(absorption_over_scattering, middle * thickness_per_coat, black, white) >= wanted
            low, high = np.where(hides, low, middle), np.where(hides, middle, high)
    return np.where(enough & np.isfinite(thickness_per_coat), high, np.nan)
