"""What one box shows: its colour, and whether a border runs through it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from match.colorimetry import Array, working_from_srgb
from match.measure.light import TO_COMPONENTS
from match.measure.sampling import Patch
from match.photo.regions import Region

CELLS = 24
"""Cells along a box's longer side: enough to see a border in a twelfth of it, each still several pixels."""

DIRECTIONS = 36
"""Directions in which a border is looked for: a line between two of them strays from them by a cell over the box."""


@dataclass(frozen=True, eq=False)
class Box:
    """What a box shows.

    Attributes
    ----------
    region : the mark
    colour : (3,) median log level in the components of :data:`match.measure.light.TO_COMPONENTS`
    jump : how far the levels on the two sides of the sharpest straight border through it lie apart (log units)
    jump_sd : the same in units of what such a difference shows anywhere else in the box
    """

    region: Region
    colour: Array
    jump: float
    jump_sd: float

    @property
    def centre(self) -> Array:
        """The middle (x, y) in photo pixels."""
        return np.array([self.region.x + self.region.width / 2.0, self.region.y + self.region.height / 2.0])


def look(patch: Patch) -> Box:
    """Return what the pixels of a mark show."""
    cells = _cells(patch)
    colour = np.median(cells.reshape(-1, 3), axis=0)
    jump, jump_sd = _sharpest_border(cells, 0.006 + float(patch.log_step.max(initial=0.0)) / 4.0)
    return Box(patch.region, colour, jump, jump_sd)


def _cells(patch: Patch) -> Array:
    """Return mean log levels (rows, columns, 3) of square cells; the mean of light comes before any other step."""
    height, width = patch.linear.shape[:2]
    side = max(2, int(np.ceil(max(height, width) / CELLS)))
    rows, columns = max(height // side, 1), max(width // side, 1)
    across = width // columns
    inside = np.ascontiguousarray(patch.linear[: rows * side, : columns * across], dtype=np.float32)
    means = cv2.resize(inside, (columns, rows), interpolation=cv2.INTER_AREA).astype(np.float64)
    return np.asarray(np.log(np.maximum(working_from_srgb(means), 1e-4)) @ TO_COMPONENTS.T)


def _sharpest_border(cells: Array, least_sd: float) -> tuple[float, float]:
    """Return the largest jump across a straight line through the cells, in log units and in robust deviations.

    Along each direction the cells are averaged into a profile; the plane is taken off first, since light slopes. A jump
    compares two bins on one side of a line with two on the other. Lines that cut off less than an eighth of the box are
    left to the robust sampling, which loses such a strip.
    """
    rows, columns = cells.shape[:2]
    if min(rows, columns) < 4:
        return 0.0, 0.0
    y, x = np.mgrid[0:rows, 0:columns]
    x, y = x - (columns - 1) / 2.0, y - (rows - 1) / 2.0
    values = cells.reshape(-1, 3)
    best = (0.0, 0.0)
    for turn in np.arange(DIRECTIONS) * np.pi / DIRECTIONS:
        along = (x * np.cos(turn) + y * np.sin(turn)).ravel()
        profile = _profile(along, values)
        if len(profile) < 6:
            continue
        two = 0.5 * (profile[1:] + profile[:-1])
        jumps = np.abs(two[3:] - two[:-3])
        usual = np.median(jumps, axis=0)
        edge = max(1, round(len(profile) / 8) - 1)
        middle = jumps[edge : len(jumps) - edge] if len(jumps) > 2 * edge else jumps
        excess = np.maximum(middle - usual, 0.0)
        spread = np.maximum(usual, least_sd)
        ratio = excess / spread
        where = np.unravel_index(int(np.argmax(ratio)), ratio.shape)
        if ratio[where] > best[1]:
            best = (float(middle[where]), float(ratio[where]))
    return best


def _profile(along: Array, values: Array) -> Array:
    """Return the mean of the values (n, 3) in bins one cell wide, those well filled only."""
    bins = np.floor(along - along.min() + 1e-9).astype(int)
    counts = np.bincount(bins)
    sums = np.stack([np.bincount(bins, weights=values[:, c]) for c in range(3)], axis=-1)
    full = counts >= 0.4 * counts.max()
    return np.asarray(sums[full] / counts[full, None])
