"""How far from a colour another can be when CIEDE2000 says it is near: exact bounds that an index can search.

CIEDE2000 squared is x^2 + y^2 + z^2 + R_T y z with x = dL'/S_L, y = dC'/S_C, z = dH'/S_H (Sharma, Wu and Dalal 2005,
equations 8 to 22). Every bound here follows from that formula, so that no colour within a radius lies outside the box.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from match.colorimetry import delta_e00

Array = NDArray[np.float64]
Keys = NDArray[np.int64]

_GREATEST_STRETCH = 1.5  # a' = a (1 + G) with G at most 0.5
_GREATEST_SIN_2_DTHETA = math.sin(math.radians(60.0))  # dTheta is at most 30 degrees


@dataclass(frozen=True)
class Box:
    """Half widths in L, a and b; infinite where nothing can be said."""

    lightness: float
    chroma: float


def box_within(lab: Array, radius: float) -> Box:
    """Return a box about ``lab`` that holds every colour within ``radius`` (CIEDE2000) of it.

    Lightness: S_L is at most 1 + 0.015 |mean L - 50|, and the mean is half the difference away from ``lab``.
    a and b: with R = |R_T|, y^2 + z^2 + R_T y z is at least (1 - R / 2) (y^2 + z^2); S_C and S_H are at most
    1 + 0.045 C' at the mean chroma; and dC'^2 + dH'^2 is the squared chord in (a', b), never shorter than the step in a
    or in b. The chord bounds the mean chroma, which bounds R and so the chord again.
    """
    shrink = 1.0 - 0.0075 * radius
    lightness = radius * (1.0 + 0.015 * abs(float(lab[0]) - 50.0)) / shrink if shrink > 0.0 else math.inf
    chroma = math.hypot(_GREATEST_STRETCH * float(lab[1]), float(lab[2]))
    chord = _chord(radius, chroma, _GREATEST_SIN_2_DTHETA * 2.0)
    for _ in range(4):
        if math.isinf(chord):
            break
        mean_7 = (chroma + 0.5 * chord) ** 7
        chord = _chord(radius, chroma, _GREATEST_SIN_2_DTHETA * 2.0 * math.sqrt(mean_7 / (mean_7 + 25.0**7)))
    return Box(lightness, chord)


def _chord(radius: float, chroma: float, rotation: float) -> float:
    """Return the longest chord in (a', b) within ``radius``, the size of R_T being at most ``rotation``."""
    reach = radius / math.sqrt(1.0 - 0.5 * rotation)
    shrink = 1.0 - 0.0225 * reach
    return reach * (1.0 + 0.045 * chroma) / shrink if shrink > 0.0 else math.inf


def nearest_of_each_group(lab: Array, labs: Array, check_keys: Keys, groups: Keys) -> tuple[Keys, Array]:
    """Return one check of each group, the nearest to ``lab``, nearest group first: (check keys, CIEDE2000).

    Parameters
    ----------
    lab
        The colour looked for, CIELAB (3,).
    labs, check_keys, groups
        Colours (n, 3) with the keys of their checks (n,) and of the groups they belong to (n,). The newest check wins a
        tie.
    """
    if len(labs) == 0:
        return np.empty(0, np.int64), np.empty(0)
    distances = np.atleast_1d(delta_e00(labs, np.broadcast_to(lab, labs.shape)))
    order = np.lexsort((-check_keys, distances))
    _, first_seen = np.unique(groups[order], return_index=True)
    kept = order[np.sort(first_seen)]
    return check_keys[kept], distances[kept]
