"""From linear light to CIELAB and CIEDE2000, by way of colour-science but for CIELAB's own few lines.

The conditions are stated once: D65, the CIE 1931 2 degree observer. Paint practice is D65 and 10 degrees; differences
of like pairs change little between the two observers, absolute values do.
"""

import warnings
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

LARGEST_COLOUR = 1000.0
"""Engineering choice, CIELAB units: no colour lies so far out, so a larger number is not one."""

LARGEST_VARIANCE = 1e4
"""Engineering choice, CIELAB units squared: a standard deviation of 100 says nothing of a colour."""


def is_colour(values: object) -> bool:
    """Return whether these are three finite CIELAB numbers (or a difference of two colours) that a colour can have."""
    try:
        plain = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        return False
    return plain.shape == (3,) and bool(np.all(np.abs(plain) <= LARGEST_COLOUR))  # not a number is never below


def is_covariance(values: Array) -> bool:
    """Return whether this is the covariance (3, 3) of a colour, CIELAB units squared, as far as rounding lets see."""
    if values.shape != (3, 3) or not bool(np.all(np.abs(values) <= LARGEST_VARIANCE)):
        return False
    spread = np.linalg.eigvalsh((values + values.T) / 2)
    return bool(np.abs(values - values.T).max() <= 0.01 and spread[0] >= min(-1e-3, -0.01 * spread[-1]))


def squared_reach(share: float) -> float:
    """Return the squared Mahalanobis distance within which a colour of normal errors lies in this share of cases.

    The quantile of chi-square with three degrees of freedom, as ``scipy.stats`` has it, which takes longer to import
    than all else that a history needs.
    """
    from scipy.special import gammaincinv  # the first screen needs no solver

    return float(2.0 * gammaincinv(1.5, share))


def is_beyond(difference: Array, covariance: Array, share: float) -> bool:
    """Return whether a difference (3,) is larger than its covariance (3, 3) explains in this share of cases."""
    return bool(difference @ np.linalg.solve(covariance, difference) > squared_reach(share))


def psd_root(covariance: Array) -> Array:
    """Return roots A (..., n, n) with A A' = covariance, for covariances that may be singular, or rounded."""
    values, vectors = np.linalg.eigh(0.5 * (covariance + np.swapaxes(covariance, -1, -2)))
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0))[..., None, :])


def triple(values: Any) -> tuple[float, float, float]:
    """Return three values, such as those of a colour, as plain numbers."""
    first, second, third = (float(value) for value in values)
    return first, second, third


@cache
def colour_science() -> Any:
    """Import colour-science when first needed; its import takes a second and warns when matplotlib is missing."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
        import colour.difference.delta_e

    return colour


@cache
def working_matrices() -> tuple[Array, Array]:
    """Return (linear sRGB -> linear Display P3, linear Display P3 -> XYZ), both 3 x 3, D65.

    Display P3 is the working space: it holds every colour that an sRGB or a P3 photo can hold, so the values of a real
    paint stay positive and can be treated as logarithms. Matrices derived from the primaries in IEC 61966-2-1 and SMPTE
    EG 432-1 as colour-science carries them.
    """
    colour = colour_science()
    srgb = colour.RGB_COLOURSPACES["sRGB"]
    p3 = colour.RGB_COLOURSPACES["Display P3"]
    to_xyz_srgb = colour.normalised_primary_matrix(srgb.primaries, srgb.whitepoint)
    to_xyz_p3 = colour.normalised_primary_matrix(p3.primaries, p3.whitepoint)
    return np.linalg.solve(to_xyz_p3, to_xyz_srgb), np.asarray(to_xyz_p3)


def working_from_srgb(linear_srgb: Array) -> Array:
    """Convert linear light (..., 3) from sRGB to the working primaries."""
    return linear_srgb @ working_matrices()[0].T


CIE_EPSILON = (6 / 29) ** 3
"""Below this share of the white's XYZ the cube root of CIELAB is replaced by a straight line (CIE 15:2018)."""


def white_xyz() -> Array:
    """Return XYZ (3,) of a perfect white, Y = 1: the one that the working matrices map (1, 1, 1) to, D65."""
    return np.asarray(working_matrices()[1].sum(axis=1))


def lab_from_xyz(xyz: ArrayLike, white: ArrayLike | None = None) -> Array:
    """Return CIELAB (..., 3) of XYZ (..., 3) relative to ``white``, :func:`white_xyz` where not given (CIE 15:2018)."""
    t = np.asarray(xyz, dtype=np.float64) / np.asarray(white_xyz() if white is None else white, dtype=np.float64)
    f = np.where(t > CIE_EPSILON, np.cbrt(t), t * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def lab_slope(xyz: Array, white: Array) -> Array:
    """Return (..., 3, 3) how L*, a* and b*, row by row, rise with X, Y and Z at XYZ (..., 3) relative to ``white``."""
    t = xyz / white
    f = np.where(t > CIE_EPSILON, 1 / (3 * np.cbrt(t) ** 2), (29 / 6) ** 2 / 3) / white
    return np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]]) * f[..., None, :]


def xyz_from_lab(lab: ArrayLike, white: ArrayLike | None = None) -> Array:
    """Return XYZ (..., 3) of CIELAB relative to ``white``: the inverse of :func:`lab_from_xyz`."""
    lab = np.asarray(lab, dtype=np.float64)
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], axis=-1)
    t = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29))
    return np.asarray(t * np.asarray(white_xyz() if white is None else white, dtype=np.float64))


def lab_from_working(linear: Array) -> Array:
    """Convert working-space linear light (..., 3), 1.0 = perfect white, to CIELAB (D65, 2 degree)."""
    return lab_from_xyz(linear @ working_matrices()[1].T)


def srgb_from_lab(lab: Array) -> Array:
    """Return display sRGB (..., 3) in 0..1, clipped to the gamut, for CIELAB (D65, 2 degree)."""
    return np.asarray(np.clip(colour_science().XYZ_to_sRGB(xyz_from_lab(lab)), 0.0, 1.0), dtype=np.float64)


def delta_e00(lab_1: Array, lab_2: Array) -> Array:
    """CIEDE2000 (ISO/CIE 11664-6) between CIELAB arrays (..., 3), with kL = kC = kH = 1."""
    return np.asarray(colour_science().difference.delta_E_CIE2000(lab_1, lab_2))


@dataclass(frozen=True)
class SignedTerms:
    """The signed differences of CIEDE2000, sample minus reference: dL', dC', dH', and the weights S of each.

    ``lightness``, ``chroma`` and ``hue`` are the differences over their weights, the terms that CIEDE2000 adds up.
    """

    delta_lightness: float
    delta_chroma: float
    delta_hue: float
    weights: tuple[float, float, float]

    @property
    def lightness(self) -> float:
        """The lightness term dL'/SL."""
        return self.delta_lightness / self.weights[0]

    @property
    def chroma(self) -> float:
        """The chroma term dC'/SC."""
        return self.delta_chroma / self.weights[1]

    @property
    def hue(self) -> float:
        """The hue term dH'/SH."""
        return self.delta_hue / self.weights[2]


def signed_terms(sample_lab: Array, reference_lab: Array) -> SignedTerms:
    """Return the signed terms of the sample against the reference, both CIELAB (3,).

    The squares of the three terms and the rotation term sum to CIEDE2000 squared; Sharma, Wu and Dalal (2005),
    equations 8 to 22.
    """
    terms = colour_science().difference.delta_e.intermediate_attributes_CIE2000(reference_lab, sample_lab)
    return SignedTerms(
        float(terms.delta_L_p),
        float(terms.delta_C_p),
        float(terms.delta_H_p),
        (float(terms.S_L), float(terms.S_C), float(terms.S_H)),
    )


def local_metric(lab: Array) -> Array:
    """Return the matrices W (..., 3, 3) for which CIEDE2000 squared is d' W d for small differences d around ``lab``.

    CIEDE2000 has no derivative at zero difference, so it is the published weights, taken at one colour (..., 3), that
    make the quadratic form: a' = (1 + G) a; the chroma and hue axes are the polar ones at this colour.
    """
    lab = np.asarray(lab, dtype=np.float64)
    a, b = lab[..., 1], lab[..., 2]
    chroma_ab_7 = np.hypot(a, b) ** 7
    stretch = 1.0 + 0.5 * (1.0 - np.sqrt(chroma_ab_7 / (chroma_ab_7 + 25.0**7)))
    hue = np.arctan2(b, stretch * a)
    terms = colour_science().difference.delta_e.intermediate_attributes_CIE2000(lab, lab + np.array([1e-6, 0.0, 0.0]))
    polar = np.zeros((*lab.shape, 3))
    polar[..., 0, 0] = 1.0
    polar[..., 1, 1], polar[..., 1, 2] = stretch * np.cos(hue), np.sin(hue)
    polar[..., 2, 1], polar[..., 2, 2] = -stretch * np.sin(hue), np.cos(hue)
    jacobian = polar * (1.0 / np.stack([terms.S_L, terms.S_C, terms.S_H], axis=-1))[..., None]
    form = np.broadcast_to(np.eye(3), jacobian.shape).copy()
    form[..., 1, 2] = form[..., 2, 1] = 0.5 * terms.R_T
    return np.asarray(jacobian.swapaxes(-1, -2) @ form @ jacobian)


def metric_root(lab: ArrayLike) -> Array:
    """Return (..., 3, 3) R such that the length of R d is CIEDE2000 for a small CIELAB difference d around ``lab``."""
    return np.asarray(np.linalg.cholesky(local_metric(np.asarray(lab, dtype=np.float64))).swapaxes(-1, -2))


def fresnel_reflectance(angle_deg: ArrayLike, refractive_index: float) -> Array:
    """Return the share (...) of unpolarised light that a smooth dielectric in air reflects.

    Fresnel's equations (Born and Wolf, Principles of Optics, 1.5.2; from memory): the mean of both polarisations.

    Parameters
    ----------
    angle_deg : angle from the normal in degrees, 0 up to 90
    refractive_index : of the dielectric, above 1
    """
    into = np.cos(np.radians(np.asarray(angle_deg, dtype=np.float64)))
    within = np.sqrt(1.0 - (1.0 - into**2) / refractive_index**2)
    across = (into - refractive_index * within) / (into + refractive_index * within)
    along = (refractive_index * into - within) / (refractive_index * into + within)
    return np.asarray(0.5 * (across**2 + along**2))
