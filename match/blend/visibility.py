"""How visible a fade is, how wide it must be to be hidden, and how large a difference a given width hides.

Visibility is counted in threshold units: 1 is what a practised observer just sees. A fade is described by the width of
the straight (linear) change with the same steepest slope; above 0.5 degree a gradual change of lightness is seen in
proportion to its slope (Campbell, Johnstone and Ross 1981), so twice the width is half as visible.

S-CIELAB is the wrong tool here. Its filters pass a uniform field unchanged (their weights sum to one), so the two ends
of a fade keep their full difference however wide the fade is: it would find no width that hides anything. What a fade
removes is the edge between the ends, and it is the edge that is judged here; the difference of the ends themselves is
reported separately (:func:`match.blend.edge.far_end_steps`).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import elementwise

from match.blend.contrast import Eye, edge_sensitivity, lms_from_lab, mechanism_contrasts
from match.calibration import quantity
from match.colorimetry import Array, xyz_from_lab

NARROWEST_DEG = 1e-4
WIDEST_DEG = 120.0
"""Range of widths searched: far below the eye's resolution, and wider than anyone sees at once."""
LARGEST_SCALE = 64.0
"""A difference is tried at up to this many times its measured size."""


@dataclass(frozen=True)
class RampLaw:
    """How the visibility of a straight change falls with its width in degrees; table ``ramp`` of ``vision.toml``.

    The ``low`` and ``high`` values bound what published work leaves open, partly by our own choice; they size the range
    of the answer and are not used for the answer itself.
    """

    achromatic_width: float = quantity("deg")
    achromatic_width_low: float = quantity("deg")
    achromatic_width_high: float = quantity("deg")
    red_green_corner: float = quantity("deg")
    red_green_exponent: float = quantity("1")
    yellow_violet_corner: float = quantity("deg")
    yellow_violet_exponent: float = quantity("1")
    chroma_stretch: float = quantity("1")
    chroma_stretch_low: float = quantity("1")
    chroma_stretch_high: float = quantity("1")

    def narrowest(self) -> Self:
        """Return the law that asks for the narrowest fade within the bounds."""
        return replace(self, achromatic_width=self.achromatic_width_low, chroma_stretch=self.chroma_stretch_low)

    def widest(self) -> Self:
        """Return the law that asks for the widest fade within the bounds."""
        return replace(self, achromatic_width=self.achromatic_width_high, chroma_stretch=self.chroma_stretch_high)


def angle_deg(width_mm: ArrayLike, distance_m: float) -> Array:
    """Return the angle in degrees that a width in mm fills at a distance in metres."""
    return np.asarray(np.degrees(2.0 * np.arctan(np.asarray(width_mm, dtype=np.float64) / 2000.0 / distance_m)))


def width_mm(angle: ArrayLike, distance_m: float) -> Array:
    """Return the width in mm that fills an angle in degrees at a distance in metres; infinite stays infinite."""
    half = np.radians(np.asarray(angle, dtype=np.float64)) / 2.0
    return np.asarray(np.where(np.isfinite(half), 2000.0 * distance_m * np.tan(np.minimum(half, 1.5)), np.inf))


def step_terms(card_lab: ArrayLike, vehicle_lab: ArrayLike, light_lux: float, eye: Eye, veil: float = 0.0) -> Array:
    """Return the visibility of an abrupt edge between two paints, by mechanism, in threshold units.

    Parameters
    ----------
    card_lab, vehicle_lab : CIELAB (..., 3), D65, 2 degree observer; they broadcast
    light_lux : light falling on the paint in lux; the luminance of a perfect white is light / pi
    eye : castleCSF's parameters
    veil : what the clear coat mirrors besides, as a reflectance; it lies on both and lowers the contrast of dark paint

    Returns
    -------
    (..., 3): lightness, red-green, yellow-violet, each contrast times sensitivity, 0 or more
    """
    card, vehicle = np.broadcast_arrays(np.asarray(card_lab, np.float64), np.asarray(vehicle_lab, np.float64))
    mirrored = veil * lms_from_lab(np.array([100.0, 0.0, 0.0]), eye.cones)
    one, two = (lms_from_lab(lab, eye.cones) + mirrored for lab in (card, vehicle))
    contrasts = mechanism_contrasts(one, two, eye.cones)
    luminance = light_lux / np.pi * (xyz_from_lab(0.5 * (card + vehicle))[..., 1] + veil)
    return contrasts * edge_sensitivity(luminance, eye)


def attenuation(width_deg: ArrayLike, law: RampLaw) -> Array:
    """Return the visibility (..., 3) of a straight change of this width in degrees relative to an abrupt edge, 0..1."""
    w = np.asarray(width_deg, dtype=np.float64)
    lightness = 1.0 / np.hypot(1.0, w / law.achromatic_width)
    red_green = (1.0 + w / (law.red_green_corner * law.chroma_stretch)) ** -law.red_green_exponent
    yellow_violet = (1.0 + w / (law.yellow_violet_corner * law.chroma_stretch)) ** -law.yellow_violet_exponent
    return np.stack([lightness, red_green, yellow_violet], axis=-1)


def visibility(terms: Array, width_deg: ArrayLike, law: RampLaw) -> Array:
    """Return the visibility (...) of a straight fade of this width in degrees, in the unit of the terms.

    ``terms`` (..., 3) are those of an abrupt edge: from :func:`step_terms` in threshold units, or from
    :func:`match.blend.edge.no_line_terms` in units of dE_NS. The mechanisms are pooled as in castleCSF, root of summed
    squares. Strictly falling with the width.
    """
    return np.asarray(np.sqrt(((terms * attenuation(width_deg, law)) ** 2).sum(axis=-1)))


def required_width_deg(terms: Array, limit: ArrayLike, law: RampLaw) -> Array:
    """Return the narrowest straight fade (...) in degrees whose visibility is at most ``limit``, one or (...) of them.

    0 where an abrupt edge is hidden already, infinite where no fade of up to 120 degrees hides the difference.
    """
    flat, limits = terms.reshape(-1, 3), np.broadcast_to(limit, terms.shape[:-1]).ravel()
    abrupt = visibility(flat, 0.0, law)
    needed = np.where(abrupt <= limits, 0.0, np.inf)
    between = (abrupt > limits) & (visibility(flat, WIDEST_DEG, law) <= limits)
    if between.any():

        def excess(log_width: Array, a: Array, r: Array, y: Array, most: Array) -> Array:
            return np.log(visibility(np.stack([a, r, y], axis=-1), np.exp(log_width), law) / most)

        chosen = (*flat[between].T, limits[between])
        needed[between] = np.exp(_root(excess, np.log(NARROWEST_DEG), np.log(WIDEST_DEG), chosen))
    return needed.reshape(terms.shape[:-1])


def largest_scale(terms_at: Callable[[Array], Array], width_deg: Array, limit: ArrayLike, law: RampLaw) -> Array:
    """Return by how much a difference may be multiplied before a straight fade of each width shows it.

    Parameters
    ----------
    terms_at : returns the terms (m, 3) of the difference multiplied by a scale (m,), rising with it
    width_deg : widths in degrees (m,), 0 for an abrupt edge
    limit : the visibility that counts as hidden, in the unit of the terms, one or (m,)

    Returns
    -------
    scale (m,), 0 to 64; 64 where even that large a difference is hidden
    """

    def excess(scale: Array, w: Array, most: Array) -> Array:
        return visibility(terms_at(scale), w, law) - most

    scales, limits = np.full(width_deg.shape, LARGEST_SCALE), np.broadcast_to(limit, width_deg.shape)
    too_much = excess(scales, width_deg, limits) > 0.0
    if too_much.any():
        scales[too_much] = _root(excess, 0.0, LARGEST_SCALE, (width_deg[too_much], limits[too_much]))
    return scales


def _root(excess: Callable[..., Array], low: float, high: float, args: tuple[Array, ...]) -> Array:
    count = len(args[0])
    found = elementwise.find_root(
        excess, (np.full(count, low), np.full(count, high)), args=args, tolerances={"xatol": 1e-6, "xrtol": 1e-6}
    )
    return np.asarray(found.x)
