"""Where a colour stops: at a bare paint edge, at a line or gap, or far away at the other end of a fade."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from match.calibration import quantity
from match.colorimetry import Array, colour_science


@dataclass(frozen=True)
class EdgeRules:
    """Table ``edge`` of ``vision.toml``."""

    no_line_slope: float = quantity("1")
    no_line_offset: float = quantity("1")
    far_end_step: float = quantity("CIEDE2000")


def no_line_terms(lab_1: ArrayLike, lab_2: ArrayLike, rules: EdgeRules) -> Array:
    """Return the parts (..., 3) of the difference of two colours that meet with no line at all between them.

    Mirjalili, Luo, Cui and Morovic (2019), J. Opt. Soc. Am. A 36(5):789: CIEDE2000 whose lightness term is divided by
    D_L = 0.08 dE00 + 0.27. For a close match lightness then counts nearly three times. The first part is that lightness
    term, the others share the chroma and hue terms out to red-green and yellow-violet, in proportion to a* and b*; the
    root of their summed squares is dE_NS.
    """
    one, two = np.broadcast_arrays(np.asarray(lab_1, dtype=np.float64), np.asarray(lab_2, dtype=np.float64))
    terms = colour_science().difference.delta_e.intermediate_attributes_CIE2000(one, two)
    lightness = np.abs(np.asarray(terms.delta_L_p) / terms.S_L)
    chroma, hue = terms.delta_C_p / terms.S_C, terms.delta_H_p / terms.S_H
    colour_part = np.sqrt(np.maximum(chroma**2 + hue**2 + terms.R_T * chroma * hue, 0.0))
    divisor = rules.no_line_slope * np.hypot(lightness, colour_part) + rules.no_line_offset
    change = np.abs(one - two)[..., 1:]
    length = np.hypot(change[..., 0], change[..., 1])
    towards = np.divide(change, length[..., np.newaxis], out=np.zeros_like(change), where=length[..., np.newaxis] > 0.0)
    parts = [lightness / divisor, colour_part * towards[..., 0], colour_part * towards[..., 1]]
    return np.stack(parts, axis=-1)


def far_end_steps(delta_e00: ArrayLike, rules: EdgeRules) -> Array:
    """Return the difference between the two ends of a fade in just noticeable steps; above 1 the ends may be compared.

    A fade takes away the edge, not the difference: two far-apart places in view still differ by nearly all of it (gaps
    of several centimetres make a difference look only about a tenth smaller; Guan and Luo 1999, by way of Mirjalili et
    al. 2019).
    """
    return np.asarray(delta_e00, dtype=np.float64) / rules.far_end_step
