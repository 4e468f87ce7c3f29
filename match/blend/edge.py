"""Where a colour stops: at a bare paint edge, at a line or gap, or far away at the other end of a fade."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from match.calibration import quantity
from match.measure.colorimetry import colour_science

Array = NDArray[np.float64]


@dataclass(frozen=True)
class EdgeRules:
    """Table ``edge`` of ``vision.toml``."""

    no_line_slope: float = quantity("1")
    no_line_offset: float = quantity("1")
    far_end_step: float = quantity("CIEDE2000")
    body_line_relief: float = quantity("1")


def no_line_difference(lab_1: ArrayLike, lab_2: ArrayLike, rules: EdgeRules) -> Array:
    """Return dE_NS (...), the difference of two colours (..., 3) that meet with no line at all between them.

    Mirjalili, Luo, Cui and Morovic (2019), J. Opt. Soc. Am. A 36(5):789: CIEDE2000 whose lightness term is divided by
    D_L = 0.08 dE00 + 0.27. For a close match lightness then counts nearly three times.
    """
    terms = colour_science().difference.delta_e.intermediate_attributes_CIE2000(
        np.asarray(lab_1, np.float64), np.asarray(lab_2, np.float64)
    )
    lightness = np.asarray(terms.delta_L_p) / terms.S_L
    chroma, hue = terms.delta_C_p / terms.S_C, terms.delta_H_p / terms.S_H
    colour_part = chroma**2 + hue**2 + terms.R_T * chroma * hue
    divisor = rules.no_line_slope * np.sqrt(lightness**2 + colour_part) + rules.no_line_offset
    return np.asarray(np.sqrt((lightness / divisor) ** 2 + colour_part))


def far_end_steps(delta_e00: ArrayLike, rules: EdgeRules) -> Array:
    """Return the difference between the two ends of a fade in just noticeable steps; above 1 the ends may be compared.

    A fade takes away the edge, not the difference: two far-apart places in view still differ by nearly all of it (gaps
    of several centimetres make a difference look only about a tenth smaller; Guan and Luo 1999, abstract only).
    """
    return np.asarray(delta_e00, dtype=np.float64) / rules.far_end_step
