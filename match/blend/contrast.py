"""How sharply the eye sees a difference of two paints: cone contrasts and contrast sensitivity.

The sensitivities are castleCSF (Ashraf, Mantiuk, Chapiro and Wuerger 2024, J. Vision 24(4):5) for static patterns, one
each for lightness, red against green and yellow against violet. Its three mechanisms are linear in cone responses::

    A = L + M        R = L - 2.3112 M        Y = 50.9875 S - (L + M)

and a contrast is the change of a mechanism over the mean of A. castleCSF was fitted round neutral, where R and Y are
none. On a strongly coloured paint each colour mechanism is adapted to itself too, and its own mean joins A below the
line, root of summed squares, so that nothing changes near neutral: else a blue, whose Y is three times its A, would be
judged several times too strictly.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from match.calibration import quantity
from match.colorimetry import Array, xyz_from_lab

FREQUENCY_STEPS = 100
"""Spatial frequencies searched for the best one, as in the published ``sensitivity_edge``."""
DARKEST = 0.001
"""A luminous reflectance below any paint's: keeps the contrast of two blacks finite."""
LUMINANCE_STEPS = 141
"""Twenty a decade over castleCSF's seven decades: interpolation then errs by less than 0.1 % (checked by a test)."""


@dataclass(frozen=True)
class ColourMechanism:
    """Parameters of castleCSF's sensitivity for one of the two colour mechanisms."""

    peak_gain: float = quantity("1")
    peak_luminance: float = quantity("cd/m2")
    peak_exponent: float = quantity("1")
    frequency_limit: float = quantity("cycles/deg")
    bandwidth: float = quantity("1")
    area_limit: float = quantity("deg2")
    area_frequency: float = quantity("cycles/deg")


@dataclass(frozen=True)
class LightnessMechanism:
    """Parameters of castleCSF's sustained sensitivity for lightness, which also falls at low frequency and glare."""

    peak_gain: float = quantity("1")
    peak_luminance: float = quantity("cd/m2")
    peak_exponent: float = quantity("1")
    glare_luminance: float = quantity("cd/m2")
    glare_exponent: float = quantity("1")
    frequency_limit: float = quantity("cycles/deg")
    frequency_luminance: float = quantity("cd/m2")
    frequency_exponent: float = quantity("1")
    bandwidth: float = quantity("1")
    truncation: float = quantity("1")
    area_limit: float = quantity("deg2")
    area_frequency: float = quantity("cycles/deg")


@dataclass(frozen=True)
class Cones:
    """From tristimulus values to cone responses and to castleCSF's mechanisms; ``xyz_to_lms`` is 3 x 3, row by row."""

    xyz_to_lms: tuple[float, ...] = quantity("CIE 2006 LMS per XYZ")
    red_green_weight: float = quantity("1")
    violet_weight: float = quantity("1")
    own_adaptation: float = quantity("1")


@dataclass(frozen=True)
class EdgeSearch:
    """How castleCSF stands in for an edge: the best grating of one fixed area, within its range of luminances."""

    area: float = quantity("deg2")
    lowest_frequency: float = quantity("cycles/deg")
    highest_frequency: float = quantity("cycles/deg")
    lowest_luminance: float = quantity("cd/m2")
    highest_luminance: float = quantity("cd/m2")


@dataclass(frozen=True)
class Eye:
    """All that castleCSF needs, read from ``calibration/vision.toml``, table ``eye``."""

    achromatic: LightnessMechanism
    red_green: ColourMechanism
    yellow_violet: ColourMechanism
    cones: Cones
    edge: EdgeSearch


def sensitivity(frequency_cpd: ArrayLike, luminance_cd_m2: ArrayLike, area_deg2: ArrayLike, eye: Eye) -> Array:
    """Return castleCSF's sensitivity, 1 over the contrast just seen.

    Parameters
    ----------
    frequency_cpd : spatial frequency in cycles a degree, above 0
    luminance_cd_m2 : luminance of the background in cd/m2, above 0
    area_deg2 : area of the pattern in square degrees; the three arguments broadcast

    Returns
    -------
    sensitivity (..., 3): lightness, red-green, yellow-violet
    """
    u, lum, area = np.broadcast_arrays(
        *(np.asarray(v, dtype=np.float64) for v in (frequency_cpd, luminance_cd_m2, area_deg2))
    )
    channels = (
        _lightness_peak(u, lum, eye.achromatic) * _area_gain(u, area, eye.achromatic),
        _colour_peak(u, lum, eye.red_green) * _area_gain(u, area, eye.red_green),
        _colour_peak(u, lum, eye.yellow_violet) * _area_gain(u, area, eye.yellow_violet),
    )
    return np.stack(channels, axis=-1)


def edge_sensitivity(luminance_cd_m2: ArrayLike, eye: Eye) -> Array:
    """Return the sensitivity (..., 3) to an abrupt edge seen against a background of this luminance in cd/m2.

    castleCSF's rule for discs: the most sensitive grating of one fixed area. Its factor for the length of the edge is
    left at 1. Luminances outside the range the model was fitted to are taken at the end of that range.
    """
    log_lum, log_s = _edge_table(eye)
    lum = np.log10(np.clip(luminance_cd_m2, eye.edge.lowest_luminance, eye.edge.highest_luminance))
    return np.stack([10.0 ** np.interp(lum, log_lum, log_s[:, k]) for k in range(3)], axis=-1)


def mechanism_contrasts(lms_1: Array, lms_2: Array, cones: Cones) -> Array:
    """Return the contrasts (..., 3) of lightness, red-green and yellow-violet between two cone responses (..., 3)."""
    change = lms_1 - lms_2
    mean = 0.5 * (lms_1 + lms_2)
    mechanisms = np.array([[1.0, 1.0, 0.0], [1.0, -cones.red_green_weight, 0.0], [-1.0, -1.0, cones.violet_weight]])
    adapted = np.maximum(mean[..., :1] + mean[..., 1:2], DARKEST)
    own = cones.own_adaptation * np.abs(mean @ mechanisms[1:].T)
    return np.asarray(np.abs(change @ mechanisms.T) / np.hypot(adapted, np.concatenate([0.0 * adapted, own], axis=-1)))


def lms_from_lab(lab: ArrayLike, cones: Cones) -> Array:
    """Return CIE 2006 cone responses (..., 3), relative to a perfect white of Y = 1, for CIELAB (D65, 2 degree)."""
    return np.asarray(xyz_from_lab(lab) @ np.reshape(cones.xyz_to_lms, (3, 3)).T)


def _falling_hyperbola(gain: float, luminance: float, exponent: float, lum: Array) -> Array:
    return np.asarray(gain * (1.0 + luminance / lum) ** -exponent)


def _lightness_peak(u: Array, lum: Array, mechanism: LightnessMechanism) -> Array:
    m = mechanism
    # 1 - (1 + a/L)^-b with a tiny and b huge needs log1p and expm1 to keep its digits
    glare = -np.expm1(-m.glare_exponent * np.log1p(m.glare_luminance / lum))
    s_max = _falling_hyperbola(m.peak_gain, m.peak_luminance, m.peak_exponent, lum) * glare
    f_max = _falling_hyperbola(m.frequency_limit, m.frequency_luminance, m.frequency_exponent, lum)
    parabola = 10.0 ** (-(np.log10(u / f_max) ** 2) / 2.0**m.bandwidth)
    return np.asarray(s_max * np.where(u < f_max, np.maximum(parabola, 1.0 - m.truncation), parabola))


def _colour_peak(u: Array, lum: Array, mechanism: ColourMechanism) -> Array:
    m = mechanism
    s_max = _falling_hyperbola(m.peak_gain, m.peak_luminance, m.peak_exponent, lum)
    octaves = np.log10(np.maximum(u, m.frequency_limit) / m.frequency_limit)
    return np.asarray(s_max * 10.0 ** (-(octaves**2) / 2.0**m.bandwidth))


def _area_gain(u: Array, area: Array, mechanism: LightnessMechanism | ColourMechanism) -> Array:
    """Summation over area: Rovamo, Luntinen and Nasanen (1993), Vision Res. 33:2773."""
    a_c = mechanism.area_limit / (1.0 + (u / mechanism.area_frequency) ** 2)
    return np.asarray(u * np.sqrt(a_c / (1.0 + a_c / area)))


@cache
def _edge_table(eye: Eye) -> tuple[Array, Array]:
    log_lum = np.linspace(np.log10(eye.edge.lowest_luminance), np.log10(eye.edge.highest_luminance), LUMINANCE_STEPS)
    u = np.geomspace(eye.edge.lowest_frequency, eye.edge.highest_frequency, FREQUENCY_STEPS)
    best = sensitivity(u[:, np.newaxis], 10.0**log_lum, eye.edge.area, eye).max(axis=0)
    return log_lum, np.log10(best)
