"""What the gun lays down and how far it hides: bands of paint, coats, film, and the share of the new colour that shows.

A pass leaves a bell-shaped (Gaussian) band. Passes side by side at a fixed spacing make an even film, whose ripple is
known in closed form by Poisson's summation. Film hides the old colour by the law of Kubelka and Munk: near a match, the
part of a small difference that still shows through a film is exactly ``exp(-film / depth)``, the Beer-Lambert form, and
the depth follows from the number of coats that hide a black and white chart.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from match.calibration import quantity
from match.colorimetry import Array, lab_from_xyz, xyz_from_lab

DARKEST, LIGHTEST = 0.005, 0.95
"""Reflectances outside are taken at the limit: no paint is darker or lighter, and the law is not finite at 0 or 1."""


@dataclass(frozen=True)
class Hiding:
    """Table ``hiding`` of ``practice.toml``: what counts as hidden, and over what it is tried."""

    contrast_ratio: float = quantity("1")
    chart_white: float = quantity("reflectance")
    coats_to_cover: float = quantity("coats")
    last_trace: float = quantity("share")


@dataclass(frozen=True)
class Gun:
    """One set-up of the gun, from ``practice.toml``, table ``guns``; starting points of common practice.

    ``gun_distance`` and ``air_pressure`` are the lowest and the highest of what painters use.
    """

    words: str
    fan_width: float = quantity("mm")
    gun_distance: tuple[float, ...] = quantity("mm")
    overlap: float = quantity("share")
    coat_film: float = quantity("share of a covering coat")
    air_pressure: tuple[float, ...] = quantity("psi")
    needle_low: float = quantity("turns open")
    needle_high: float = quantity("turns open")
    travel_speed: float = quantity("mm/s")

    @property
    def spacing_mm(self) -> float:
        """Distance between the middles of neighbouring passes."""
        return self.fan_width * (1.0 - self.overlap)


@dataclass(frozen=True)
class Coat:
    """One coat on one side.

    ``reach_mm`` is where the middle of the last pass runs, or where the trigger is fully let go; ``ease_mm`` is the
    length before it over which the stroke is eased off (0: a last pass along the fade); ``film`` is its film inside, in
    covering coats. An ``orientation`` coat is a light last one that lays flake evenly.
    """

    reach_mm: float
    ease_mm: float
    film: float
    reduced: bool = False
    orientation: bool = False


def hiding_exponent(reflectance: ArrayLike, hiding: Hiding) -> Array:
    """Return by how many e-folds the backing is hidden when the chart's contrast ratio reaches ``contrast_ratio``.

    Parameters
    ----------
    reflectance : luminous reflectance of the opaque paint, 0..1 (...)

    Notes
    -----
    Kubelka's (1948) film over a backing Rg, written with E = exp(2 b S X) and r the reflectance of the opaque paint::

        R(Rg) = r + (Rg - r)(1/r - r) / ((Rg - r) - (Rg - 1/r) E)

    For Rg near r this is r + (Rg - r) / E: the share of a small difference that shows is 1/E, whatever the colour.
    Setting R(0) / R(white) to the contrast ratio gives a quadratic in E; its larger root is the film's. The measured
    reflectance stands for the internal one; Saunderson's surface correction would change the exponent by about a tenth.
    """
    r = np.clip(np.asarray(reflectance, dtype=np.float64), DARKEST, LIGHTEST)
    c, d, g = hiding.contrast_ratio, hiding.chart_white - r, hiding.chart_white - 1.0 / r
    a2 = -r * g * (1.0 - c)
    a1 = r * (d + g) - c * (d / r + r**3 * g)
    a0 = -r * d * (1.0 - c)
    e = (-a1 + np.sqrt(a1**2 - 4.0 * a2 * a0)) / (2.0 * a2)
    return np.asarray(np.log(e))


def old_share(film_coats: ArrayLike, exponent: float, coats_to_cover: float) -> Array:
    """Return the share of the old colour that shows through a film counted in covering coats, 1 for none, falling."""
    return np.asarray(np.exp(-exponent * np.asarray(film_coats, dtype=np.float64) / coats_to_cover))


def pass_film(offset_mm: ArrayLike, sigma_mm: float, spacing_mm: float) -> Array:
    """Return the film of one pass at a distance from its middle, scaled so that passes at the spacing build to 1."""
    z = np.asarray(offset_mm, dtype=np.float64) / sigma_mm
    return np.asarray(spacing_mm / (sigma_mm * np.sqrt(2.0 * np.pi)) * np.exp(-0.5 * z**2))


def coat_film(x_mm: ArrayLike, reach_mm: float, ease_mm: float, sigma_mm: float, spacing_mm: float) -> Array:
    """Return the film of one coat of inside film 1 at places x (...) in mm from the repair, falling outwards.

    With no easing, passes run along the fade, the last with its middle at ``reach_mm`` and the others inwards without
    end. With easing, strokes run across the fade and the flow falls evenly to nothing over ``ease_mm`` before the
    reach: that ramp widened by the pass's own bell.
    """
    x = np.asarray(x_mm, dtype=np.float64)
    if ease_mm <= 0.0:
        count = int(np.ceil((reach_mm - x.min() + 5.0 * sigma_mm) / spacing_mm)) + 1
        middles = reach_mm - spacing_mm * np.arange(max(count, 1))
        return np.asarray(pass_film(x[..., np.newaxis] - middles, sigma_mm, spacing_mm).sum(axis=-1))
    outer, inner = (reach_mm - x) / sigma_mm, (reach_mm - ease_mm - x) / sigma_mm
    return np.asarray((_ramp(outer) - _ramp(inner)) * sigma_mm / ease_mm)


def built_film(x_mm: ArrayLike, coats: tuple[Coat, ...], gun: Gun, fan_in_sigmas: float) -> Array:
    """Return the film of all coats together at places x (...), in covering coats."""
    sigma = gun.fan_width / fan_in_sigmas
    films = [coat.film * coat_film(x_mm, coat.reach_mm, coat.ease_mm, sigma, gun.spacing_mm) for coat in coats]
    return np.asarray(np.sum(films, axis=0))


def colours_along(card_lab: Array, vehicle_lab: Array, new_share: ArrayLike) -> Array:
    """Return CIELAB (..., 3) of paint in which this share of the new colour shows: a mixture in linear light."""
    from_old, share = xyz_from_lab(vehicle_lab), np.asarray(new_share, dtype=np.float64)[..., np.newaxis]
    return lab_from_xyz(from_old + share * (xyz_from_lab(card_lab) - from_old))


def _ramp(z: Array) -> Array:
    """Integral of the normal distribution function: z Phi(z) + phi(z)."""
    return np.asarray(z * ndtr(z) + np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi))
