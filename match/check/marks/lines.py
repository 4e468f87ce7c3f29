"""Every straight line about a mark, summed along the mark's whole side: how far it stands out, and how it ends.

Only the bands of the picture that such a sum runs over are turned, and each turn is looked at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from match.check.marks.rules import OutlineRules
from match.check.marks.terrain import Terrain
from match.colorimetry import Array
from match.photo.regions import Region

BLOCKS = 8
"""Parts of a side that are compared with each other: what is seen in one of them alone is no edge."""

THINNED = 4
"""Rows of a part that are looked at where a turn is tried first: of 473 marks in drawn photos the two likeliest turns
were always among the four that they made the likeliest."""

CORNER_PX = 4
"""Pixels of the terrain about a corner that belong to neither side."""

SLANTS = np.linspace(-0.06, 0.06, 7)
"""Slopes at which an edge may leave the way it is looked for: one turn to the next, which adds up past a corner."""


def _across() -> list[NDArray[np.float32]]:
    """Return profiles across an edge: steps from one level to another, and thin lines as of a shadow or a rim."""
    found = []
    for gap in (1, 2):
        level = np.full(3 * gap, 1.0 / (3 * gap))
        found.append(np.concatenate([-level, np.zeros(2 * gap - 1), level]))
        beside = np.full(2, -0.25)
        line = np.full(2 * gap - 1, 1.0 / (2 * gap - 1))
        found.append(np.concatenate([beside, np.zeros(gap), line, np.zeros(gap), beside]))
    return [each.astype(np.float32)[None, :] for each in found]


ACROSS = _across()
"""Widths in pixels of the terrain: an edge is a pixel wide, the shadow of a card two or three."""


def placed(land: Terrain, region: Region) -> tuple[Array, Array]:
    """Return a mark's middle and half of its sides (x, y), in pixels of the terrain."""
    half = np.array([region.width, region.height]) * land.scale / 2.0
    return np.array([region.x, region.y]) * land.scale + half - 0.5, half


class About:
    """The picture about a mark, which is turned to look along lines."""

    def __init__(self, land: Terrain, region: Region, rules: OutlineRules) -> None:
        """Set a fourth component beside the logs, 1 in the picture and 0 beyond: four are turned faster than three."""
        self._middle, self._half = placed(land, region)
        self._reach = int(rules.reach[0] * self._half.max() + rules.reach[1] * max(land.logs.shape))
        self._floor = rules.rounding * np.median(land.rounded(land.inside(region)).reshape(-1, 3), axis=0)
        logs = cv2.cvtColor(land.logs.astype(np.float32, copy=False), cv2.COLOR_BGR2BGRA)  # the fourth is 1
        self._picture = cv2.copyMakeBorder(logs, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
        self._picture[[0, -1], :, 3] = self._picture[:, [0, -1], 3] = 0.0
        self._seen: dict[tuple[float, bool], tuple[Lines, Lines]] = {}

    def turned(self, turn_deg: float, thinned: bool = False) -> tuple[Lines, Lines]:
        """Return the lines along right and left side, and along bottom and top, of a card turned by so much.

        ``thinned`` ones are seen in some of the picture's rows, and by a fraction less clearly.
        """
        if (turn_deg, thinned) not in self._seen:
            turn = np.deg2rad(turn_deg)
            ahead = np.array([np.cos(turn), np.sin(turn)])
            down = np.array([-ahead[1], ahead[0]])
            half = np.abs([ahead, ahead[::-1]]) @ self._half
            radius = int(half.max()) + 1 + self._reach + 2 * CORNER_PX
            sizes = radius, self._reach, THINNED if thinned else 0
            # lines refer to the picture and not to what holds them: what refers to itself stays in memory
            self._seen[turn_deg, thinned] = (
                Lines(self._picture, self._middle, (ahead, down), half, sizes, self._floor),
                Lines(self._picture, self._middle, (down, ahead), half[::-1], sizes, self._floor),
            )
        return self._seen[turn_deg, thinned]


class Lines:
    """Every straight line along two opposite sides of a mark turned one way."""

    def __init__(
        self,
        picture: Any,
        middle: Array,
        axes: tuple[Array, Array],
        half: Array,
        sizes: tuple[int, int, int],
        floor: Array,
    ) -> None:
        """Look across the lines.

        ``axes`` are unit vectors (x, y) across and along them, ``half`` half the mark's size in the two, and ``sizes``
        how far from its middle the picture is looked at, how far beyond its edge, and how many rows of a part, 0 all.
        """
        self._picture, self._middle, self._axes = picture, middle.tolist(), (axes[0].tolist(), axes[1].tolist())
        self._radius, self._reach, rows = sizes
        self._half, self._length = float(half[0]), max(float(half[1]), float(CORNER_PX))
        parts = self._parts(rows)
        mean = parts[:3].mean(axis=1, keepdims=True)
        logs = np.concatenate([parts[:3] - mean, mean], axis=1)  # how far the parts are off their mean, and the mean
        flat, width = logs.reshape(-1, logs.shape[-1]), logs.shape[-1]
        steps = np.concatenate([_steps_of(flat, each) for each in ACROSS]).reshape(len(ACROSS), 3, BLOCKS + 1, width)
        off, self._mean = steps[:, :, :BLOCKS], steps[:, :, BLOCKS]  # the latter (profiles, 3, columns), as all below
        error = np.einsum("plbc,plbc->plc", off, off) * np.float32(1.0 / (BLOCKS * (BLOCKS - 1)))
        own = slice(int(self._radius - 0.75 * self._half), int(self._radius + 0.75 * self._half) + 1)
        self._usual = _medians(self._mean[..., own])
        stands = np.abs(self._mean - self._usual)
        spread, least = 1.4826 * _medians(stands[..., own]), 0.49 * _medians(error[..., own])
        self._sure = stands / np.sqrt(np.maximum(error, least) + (spread**2 + floor[:, None] ** 2))
        self._sure[..., parts[3].mean(axis=0) < 0.8] = 0.0
        self._clear = self._sure.max(axis=(0, 1))
        self._steps: dict[int, tuple[Any, Any]] = {}
        self._gone: dict[tuple[int, int, float], float] = {}

    def _parts(self, rows: int) -> Any:
        """Return the parts (4, blocks, columns) of the lines along the mark's side.

        Averaged first, which comes to the same, they leave eight rows to look across.
        """
        first, last = int(self._radius - self._length), int(self._radius + self._length)
        count = min(last + 1 - first, rows * BLOCKS or last + 1 - first)
        apart = (last + 1 - first) / count
        band = self._band((first + (apart - 1.0) / 2.0, count, apart), (0, 2 * self._radius + 1))
        parts = cv2.resize(band, (band.shape[1], BLOCKS), interpolation=cv2.INTER_AREA)
        return np.ascontiguousarray(parts.transpose(2, 0, 1))  # by three at a time numpy takes far longer

    def _band(self, rows: tuple[float, int, float], columns: tuple[int, int]) -> Any:
        """Return a part of the turned picture (h, w, 4), whose columns are the lines.

        Of rows and columns are told the first one and how many; of rows besides how far they are apart.
        """
        (x, y), (right, down) = self._middle, (columns[0] - self._radius, rows[0] - self._radius)
        (across_x, across_y), (along_x, along_y) = self._axes
        start = x + 1.0 + right * across_x + down * along_x, y + 1.0 + right * across_y + down * along_y
        matrix = np.array([[across_x, rows[2] * along_x, start[0]], [across_y, rows[2] * along_y, start[1]]])
        how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return cv2.warpAffine(self._picture, matrix, (columns[1], rows[1]), flags=how, borderMode=cv2.BORDER_REPLICATE)

    def normal(self, side: int) -> tuple[float, float]:
        """Return the unit vector (x, y) out of the mark across a side, 0 the one and 1 the other."""
        x, y = self._axes[0]
        return (x, y) if side == 0 else (-x, -y)

    def sure_of(self, side: int) -> Array:
        """Return how far each line of a side (n,) stands out, from :meth:`first` outwards."""
        return np.asarray((self._clear if side == 0 else self._clear[::-1])[self._radius + self.first :][: self._reach])

    @property
    def first(self) -> int:
        """Pixels from the mark's middle to the first line: the mark's own edge."""
        return int(self._half) - 1

    def ends(self, side: int, distance: float, corners: Sequence[float]) -> tuple[float, float]:
        """Return the share of an edge that is gone beyond either corner; half where the photo ends there or none is."""
        column = self._radius + (1 if side == 0 else -1) * int(distance)
        asked = [(column, sign, corner) for sign, corner in zip((1, -1), corners, strict=True)]
        for each in asked:
            if each not in self._gone:
                self._gone[each] = self._gone_beyond(*each)
        return self._gone[asked[0]], self._gone[asked[1]]

    def _gone_beyond(self, column: int, sign: int, corner: float) -> float:
        profile, component = np.unravel_index(int(np.argmax(self._sure[..., column])), self._sure.shape[:2])
        usual = self._usual[profile, component, 0]
        here = float(self._mean[profile, component, column] - usual)
        if column not in self._steps:
            self._steps[column] = self._steps_about(column, int(profile), int(component))
        steps, inside = self._steps[column]
        far = np.arange(corner + CORNER_PX, corner + CORNER_PX + max(2 * CORNER_PX, 0.5 * self._length))
        far = far[far <= self._radius]
        rows = (self._radius + sign * far).astype(int)
        if here == 0.0 or len(rows) < CORNER_PX or not inside[rows].mean() > 0.7:
            return 0.5
        beside = np.rint(SLANTS[:, None] * sign * far).astype(int) + steps.shape[1] // 2
        on = (steps[rows, beside].mean(axis=1) - usual) / here
        return 1.0 - min(max(float(on.max()), 0.0), 1.0)

    def _steps_about(self, column: int, profile: int, component: int) -> tuple[Any, Any]:
        """Return what a line's profile shows all along it and beside it (h, w), and the share inside the picture."""
        beside = int(SLANTS[-1] * self._radius) + ACROSS[profile].size
        cut = self._band((0.0, 2 * self._radius + 1, 1.0), (column - beside, 2 * beside + 1))
        return _steps_of(np.ascontiguousarray(cut[..., component]), ACROSS[profile]), cut[:, beside, 3]


def _medians(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the medians (..., 1) along the last axis; of so few numpy's own ``median`` takes five times as long."""
    ranked, length = np.sort(values, axis=-1), values.shape[-1]
    return np.asarray(0.5 * (ranked[..., (length - 1) // 2] + ranked[..., length // 2]))[..., None]


def _steps_of(picture: Any, profile: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the steps (h, w) that a picture shows in its columns by a profile across an edge."""
    return np.asarray(cv2.filter2D(picture, -1, profile, borderType=cv2.BORDER_REPLICATE))
