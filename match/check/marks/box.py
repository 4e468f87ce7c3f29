"""What one box shows: its colour, and whether a border runs through it."""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from match.colorimetry import Array, working_from_srgb
from match.measure.light import TO_COMPONENTS
from match.measure.sampling import Patch
from match.photo.regions import Region

CELLS = 24
"""Cells along a box's longer side: enough to see a border in a twelfth of it, each still several pixels."""

DIRECTIONS = 36
"""Directions in which a border is looked for: a line between two of them strays from them by a cell over the box."""

QUIET = 0.2
"""Engineering choice: of all directions, those that a border leaves quiet as they run along it. In a noisy box a few of
the others are quiet by chance, and a jump in one of these is large beside what it shows elsewhere."""


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
    profiles = _profiles(rows, columns)
    long = profiles.known.any(axis=(1, 2))
    if not long.any():
        return 0.0, 0.0
    two = profiles.of(cells.reshape(-1, 3))
    two = 0.5 * (two[:, 1:] + two[:, :-1])
    jumps = np.abs(two[:, 3:] - two[:, :-3])
    ranked = np.sort(np.where(profiles.known, jumps, np.inf), axis=1)
    lower, upper = (np.take_along_axis(ranked, middle, axis=1) for middle in profiles.middles)
    usual = 0.5 * (lower + upper)
    usual = np.maximum(usual, np.quantile(usual[long], QUIET, axis=0))
    ratio = np.where(profiles.within, np.maximum(jumps - usual, 0.0) / np.maximum(usual, least_sd), 0.0)
    where = np.unravel_index(int(np.argmax(ratio)), ratio.shape)
    return (float(jumps[where]), float(ratio[where])) if ratio[where] > 0.0 else (0.0, 0.0)


@dataclass(frozen=True, eq=False)
class _Profiles:
    """Bins one cell wide along each direction, those well filled only; all profiles are as long as the longest.

    ``bins`` (directions times cells,) says for every direction in which of all bins each cell lies, and ``counts``
    (directions, bins, 1) how many cells each holds. ``known`` (directions, jumps, 1) is where a profile has jumps,
    ``within`` those that are not at its ends, ``middles`` the places of the two middle ones by size.
    """

    bins: NDArray[np.intp]
    counts: Array
    known: NDArray[np.bool_]
    within: NDArray[np.bool_]
    middles: tuple[NDArray[np.intp], NDArray[np.intp]]

    def of(self, values: Array) -> Array:
        """Return the mean (directions, bins, 3) of the values (n, 3) in each bin."""
        size, shape = self.counts.size, self.counts.shape[:2]
        repeated = (np.tile(values[:, component], DIRECTIONS) for component in range(3))
        sums = [np.bincount(self.bins, each, size + 1)[:size].reshape(shape) for each in repeated]
        return np.stack(sums, axis=-1) / self.counts


@lru_cache(maxsize=32)
def _profiles(rows: int, columns: int) -> _Profiles:
    """Return the bins over so many cells: boxes of one shape share them."""
    y, x = np.mgrid[0:rows, 0:columns].reshape(2, -1)
    turns = np.arange(DIRECTIONS)[:, None] * np.pi / DIRECTIONS
    along = (x - (columns - 1) / 2.0) * np.cos(turns) + (y - (rows - 1) / 2.0) * np.sin(turns)
    bins = np.floor(along - along.min(axis=1, keepdims=True) + 1e-9).astype(int)
    most = int(bins.max()) + 1
    counts = np.bincount((bins + most * np.arange(DIRECTIONS)[:, None]).ravel(), minlength=DIRECTIONS * most)
    counts = counts.reshape(DIRECTIONS, most)
    full = counts >= 0.4 * counts.max(axis=1, keepdims=True)
    lengths = full.sum(axis=1)
    longest = max(int(lengths.max()), 6)
    # what lies in no well filled bin goes to one more behind all others
    places = np.where(
        full, np.cumsum(full, axis=1) - 1 + longest * np.arange(DIRECTIONS)[:, None], DIRECTIONS * longest
    )
    held = np.ones((DIRECTIONS, longest))
    held.ravel()[places[full]] = counts[full]
    jumps, place = np.maximum(lengths - 4, 0) * (lengths >= 6), np.arange(longest - 4)
    edge = np.maximum(1, np.rint(lengths / 8).astype(int) - 1)
    edge = np.where(jumps > 2 * edge, edge, 0)
    within = (place >= edge[:, None]) & (place < (jumps - edge)[:, None])
    low, high = ((each // 2)[:, None, None] for each in (np.maximum(jumps - 1, 0), jumps))
    return _Profiles(
        np.take_along_axis(places, bins, axis=1).ravel(),
        held[..., None],
        (place < jumps[:, None])[..., None],
        within[..., None],
        (low, high),
    )
