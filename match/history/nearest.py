"""Which colours met before are nearest to a colour: exact CIEDE2000, each colour once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from match.measure.colorimetry import delta_e00

Array = NDArray[np.float64]
Keys = NDArray[np.int64]

# S_L of CIEDE2000 is 1 + 0.015 x / sqrt(20 + x) with x = (mean L - 50)^2. It grows with x, which is at most 50^2 while
# L is 0 to 100, so a lightness difference dL alone makes CIEDE2000 at least dL / 1.747 (the chroma, hue and rotation
# terms never sum below zero, since |R_T| <= 2).
_GREATEST_X = 2500.0
GREATEST_S_L = 1.0 + 0.015 * _GREATEST_X / (20.0 + _GREATEST_X) ** 0.5


@dataclass(frozen=True)
class Gamut:
    """Every vehicle colour measured so far, sorted by L: ``labs`` (n, 3); ``check_keys`` and ``groups`` (n,).

    Rows of one group are one colour.
    """

    labs: Array
    check_keys: Keys
    groups: Keys


def gamut(labs: Array, check_keys: Keys, groups: Keys) -> Gamut:
    """Sort colours by lightness, so that a span of lightness is one slice."""
    order = np.argsort(labs[:, 0], kind="stable")
    return Gamut(labs[order], check_keys[order], groups[order])


def rank(lab: Array, known: Gamut, wanted: int) -> tuple[Keys, Array, int]:
    """Return the nearest ``wanted`` groups to ``lab``, one check each: (check keys, CIEDE2000, number of groups).

    A band of lightness is compared and widened until nothing outside it could be nearer than the last one wanted.
    Colours outside L 0 to 100 are compared without that short cut.
    """
    groups_total = int(np.unique(known.groups).size)
    needed = min(wanted, groups_total)
    if needed == 0:
        return np.empty(0, np.int64), np.empty(0), groups_total
    lightness = known.labs[:, 0]
    bounded = min(lightness[0], lab[0]) >= 0.0 and max(lightness[-1], lab[0]) <= 100.0
    half_width = 2.0 if bounded else np.inf
    while True:
        first = int(np.searchsorted(lightness, lab[0] - half_width, side="left"))
        last = int(np.searchsorted(lightness, lab[0] + half_width, side="right"))
        rows, distances = _nearest_of_each_group(lab, known, first, last)
        complete = last - first == len(lightness)
        if complete or (len(rows) >= needed and distances[needed - 1] * GREATEST_S_L <= half_width):
            return known.check_keys[rows[:needed]], distances[:needed], groups_total
        half_width *= 2.0


def _nearest_of_each_group(lab: Array, known: Gamut, first: int, last: int) -> tuple[Keys, Array]:
    """Return the rows in the slice that are nearest of their group, nearest first; the newest check wins a tie."""
    if first == last:
        return np.empty(0, np.int64), np.empty(0)
    distances = np.atleast_1d(delta_e00(known.labs[first:last], np.broadcast_to(lab, (last - first, 3))))
    order = np.lexsort((-known.check_keys[first:last], distances))
    _, first_seen = np.unique(known.groups[first:last][order], return_index=True)
    kept = order[np.sort(first_seen)]
    return (kept + first).astype(np.int64), distances[kept]
