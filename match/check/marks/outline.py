"""Is a card's mark framed? Straight edges about it, each summed along its whole length.

A card that matches its car shows next to no step at its edges, less than the noise of a pixel. But an edge is straight
and long: its step, averaged along the mark's side, stands out by the root of so many pixels. Edges of a card also end
where the next one begins, while gaps, creases, mirrored lamps and the car's own outline run on past a mark.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from match.check.marks.borders import Terrain
from match.check.marks.rules import OutlineRules
from match.colorimetry import Array
from match.photo.regions import Region

TURNS_DEG = np.arange(-45.0, 45.0, 6.0)
"""Ways a card may be turned that are tried first."""

NEAR_DEG = (-3.0, 0.0, 3.0)
"""Ways a side may be turned besides, where the card lies between two of those or is seen at a slant."""

BLOCKS = 8
"""Parts of a side that are compared with each other: what is seen in one of them alone is no edge."""

PEAKS = 3
"""Places at which each side is looked for, the clearest ones."""

MOST_TURNS = 2
"""Turns that are looked at closely, the likeliest ones."""

LARGEST_PX = 64.0
"""Half a mark's longer side in the picture that is looked at: a larger one is made smaller, for time and memory."""

RIM_PX = 40
"""Pixels of the terrain beyond an edge within which the car's paint comes, were the card's white rim between."""

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


@dataclass(frozen=True)
class Side:
    """One side of an outline.

    Attributes
    ----------
    normal : unit vector (x, y) out of the mark
    distance : from the mark's middle to the edge, in pixels of the terrain
    sure : how far the edge stands out of what the mark itself shows, in standard errors
    ends : share of it that is gone where it would run on past either corner, as the sides beside it are ordered
    paint : share of it beyond which the car's paint is seen, at once or behind a rim
    """

    normal: tuple[float, float]
    distance: float
    sure: float
    ends: tuple[float, float] = (1.0, 1.0)
    paint: float = 1.0

    def seen(self, rules: OutlineRules) -> float:
        """Return by what share an edge is seen that ends at its corners."""
        return self.stands_out(rules) * sum(self.ends) / 2.0

    def stands_out(self, rules: OutlineRules) -> float:
        """Return by what share an edge is seen, however far it runs."""
        middle, power = rules.stands_out
        return float(1.0 / (1.0 + (middle / max(self.sure, 1e-3)) ** power))


def outline(land: Terrain, region: Region, coat: NDArray[np.bool_], rules: OutlineRules) -> tuple[Side, ...]:
    """Return the four sides of what frames a mark best, as far beyond it as ``rules.reach`` says.

    ``coat`` (h, w) is where the picture shows the car's paint.
    """
    share = min(1.0, LARGEST_PX / float(_placed(land, region)[1].max()))
    if share < 1.0:
        land, coat = _smaller(land, share), cv2.resize(coat.astype(np.uint8), None, fx=share, fy=share) > 0
    land = replace(land, logs=land.logs.astype(np.float32))  # once for all turns
    clearest = np.array([_View(land, region, turn, rules).clearest() for turn in TURNS_DEG])
    likely = np.argsort(-np.minimum(np.log1p(clearest), np.log1p(rules.surely)).sum(axis=1))[:MOST_TURNS]
    found = [_closest(land, region, TURNS_DEG[each], coat, rules) for each in likely]
    sides = max(found, key=lambda each: framed(each, rules))
    return tuple(replace(side, distance=side.distance / share) for side in sides)


def _placed(land: Terrain, region: Region) -> tuple[Array, Array]:
    """Return a mark's middle and half of its sides (x, y), in pixels of the terrain."""
    half = np.array([region.width, region.height]) * land.scale / 2.0
    return np.array([region.x, region.y]) * land.scale + half - 0.5, half


def _closest(
    land: Terrain, region: Region, turn_deg: float, coat: NDArray[np.bool_], rules: OutlineRules
) -> tuple[Side, ...]:
    """Return the sides that are seen best where the card is turned by about so much."""
    near = [_View(land, region, turn_deg + turn, rules) for turn in NEAR_DEG]
    peaks = [_peaks([(view, *peak) for view in near for peak in view.peaks(side)]) for side in range(4)]
    return _closed(peaks, _About(land, region, coat), rules)


def _smaller(land: Terrain, share: float) -> Terrain:
    """Return the terrain made smaller: along the side of a large mark there are pixels enough."""
    logs, rounding = (
        np.asarray(cv2.resize(each, None, fx=share, fy=share, interpolation=cv2.INTER_AREA), dtype=np.float64)
        for each in (land.logs, land.rounding)
    )
    return replace(land, logs=logs, rounding=rounding, scale=(share * land.scale[0], share * land.scale[1]))


Peak = tuple["_View", float, float]
"""A place at which a side may lie: in which view, its distance from the mark's middle, and how far it stands out."""


def _peaks(found: list[Peak]) -> list[Peak]:
    """Return the clearest of the places, each of them once."""
    kept: list[Peak] = []
    for each in sorted(found, key=lambda peak: -peak[2]):
        if all(abs(each[1] - other[1]) > CORNER_PX for other in kept):
            kept.append(each)
    return kept[:PEAKS]


def _closed(peaks: Sequence[Sequence[Peak]], about: _About, rules: OutlineRules) -> tuple[Side, ...]:
    """Return of each side the place that is seen best, given where the sides beside it lie; twice round settles it."""
    at = [0, 0, 0, 0]
    chosen: list[Side] = []
    for _ in range(2):
        chosen = []
        for side in range(4):
            beside = [peaks[each][at[each]][1] if peaks[each] else 0.0 for each in _beside(side)]
            tried = [about.led(view.side(side, distance, sure, beside)) for view, distance, sure in peaks[side]]
            if tried:
                at[side] = int(np.argmax([each.seen(rules) * (0.2 + each.paint) for each in tried]))
            chosen.append(tried[at[side]] if tried else Side((0.0, 0.0), np.inf, 0.0))
    return tuple(chosen)


def _beside(side: int) -> tuple[int, int]:
    """Return the sides before and after one, of right, left, bottom and top."""
    return (2, 3) if side < 2 else (0, 1)


class _About:
    """Where the car's paint lies about a mark, seen from its middle."""

    def __init__(self, land: Terrain, region: Region, coat: NDArray[np.bool_]) -> None:
        self._middle, self._half = _placed(land, region)
        self._coat = coat

    def led(self, side: Side) -> Side:
        """Return the side with the share of it beyond which paint comes soon, for as far as a border is wide."""
        normal = np.array(side.normal)
        length = max(float(np.abs(normal[::-1]) @ self._half), float(CORNER_PX))
        along = np.linspace(-length, length, 2 * BLOCKS)[:, None, None] * np.array([-normal[1], normal[0]])
        out = (side.distance + np.arange(CORNER_PX, RIM_PX))[None, :, None] * normal
        across, down = np.moveaxis(np.rint(self._middle + along + out).astype(int), -1, 0)
        rows, columns = self._coat.shape
        inside = (across >= 0) & (down >= 0) & (across < columns) & (down < rows)
        paint = inside & self._coat[np.clip(down, 0, rows - 1), np.clip(across, 0, columns - 1)]
        runs = np.all(np.lib.stride_tricks.sliding_window_view(paint, CORNER_PX, axis=1), axis=2)
        return replace(side, paint=float(np.any(runs, axis=1).mean()))


class _View:
    """The picture about a mark, turned; every straight line along the mark's sides is a column of it, or a row."""

    def __init__(self, land: Terrain, region: Region, turn_deg: float, rules: OutlineRules) -> None:
        middle, half = _placed(land, region)
        turn = np.deg2rad(turn_deg)
        self.ahead = np.array([np.cos(turn), np.sin(turn)])
        self.half = np.abs([[self.ahead[0], self.ahead[1]], [self.ahead[1], self.ahead[0]]]) @ half
        self.reach = int(rules.reach[0] * half.max() + rules.reach[1] * max(land.logs.shape))
        self.radius = int(self.half.max()) + 1 + self.reach + 2 * CORNER_PX
        self.floor = rules.rounding * np.median(land.rounding[land.inside(region)].reshape(-1, 3), axis=0)
        picture, inside = self._turned(land.logs, middle)
        # lines hold numbers of the view and not itself: what refers to itself stays in memory, pictures and all
        sizes = self.radius, self.reach
        self.lines = [
            _Lines(picture, inside, sizes, half, self.floor, along)
            for along, half in enumerate((self.half, self.half[::-1]))
        ]

    def _turned(self, logs: Array, middle: Array) -> tuple[Any, Any]:
        size, (c, s) = 2 * self.radius + 1, self.ahead
        start = middle - self.radius * np.array([c - s, s + c])
        matrix = np.array([[c, -s, start[0]], [s, c, start[1]]])
        how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        picture = cv2.warpAffine(logs, matrix, (size, size), flags=how, borderMode=cv2.BORDER_REPLICATE)
        inside = cv2.warpAffine(np.ones(logs.shape[:2], dtype=np.float32), matrix, (size, size), flags=how)
        return picture, inside

    def clearest(self) -> list[float]:
        return [float(self.lines[side // 2].sure_of(side).max(initial=0.0)) for side in range(4)]

    def peaks(self, side: int) -> list[tuple[float, float]]:
        sure = self.lines[side // 2].sure_of(side)
        first = int(self.half[side // 2]) - 1
        return [(float(first + place), float(sure[place])) for place in np.argsort(-sure)[: PEAKS * CORNER_PX]]

    def side(self, side: int, distance: float, sure: float, corners: Sequence[float]) -> Side:
        lines = self.lines[side // 2]
        sign = 1 if side % 2 == 0 else -1
        axis = self.ahead if side < 2 else np.array([-self.ahead[1], self.ahead[0]])
        ends = lines.ends(self.radius + sign * int(distance), corners)
        return Side((float(sign * axis[0]), float(sign * axis[1])), distance, sure, ends)


class _Lines:
    """Every straight line along two opposite sides of a mark in one view: how far it stands out, and how it ends."""

    def __init__(
        self, picture: Any, inside: Any, sizes: tuple[int, int], half: Array, floor: Array, along: int
    ) -> None:
        self._radius, self._reach = sizes
        self._inside = inside if along == 0 else inside.T
        self._half, self._length = half[0], max(float(half[1]), float(CORNER_PX))
        self._picture = picture if along == 0 else picture.transpose(1, 0, 2)
        rows = slice(int(self._radius - self._length), int(self._radius + self._length) + 1)
        # averaged along the edge first, which comes to the same and leaves eight rows to look across
        parts = _averaged(picture[rows] if along == 0 else picture[:, rows], along)
        blocks = np.stack([_steps_of(parts, each) for each in ACROSS])
        self._mean = blocks.mean(axis=1)  # (profiles, columns, 3)
        own = slice(int(self._radius - 0.75 * self._half), int(self._radius + 0.75 * self._half) + 1)
        self._usual = np.median(self._mean[:, own], axis=1, keepdims=True)
        spread = 1.4826 * np.median(np.abs(self._mean[:, own] - self._usual), axis=1, keepdims=True)
        error = blocks.std(axis=1, ddof=1) / np.sqrt(BLOCKS)
        error = np.maximum(error, 0.7 * np.median(error[:, own], axis=1, keepdims=True))
        self._sure = np.abs(self._mean - self._usual) / np.sqrt(error**2 + spread**2 + floor**2)
        self._sure[:, self._inside[rows].mean(axis=0) < 0.8] = 0.0

    def sure_of(self, side: int) -> Array:
        """Return how far each line of a side (n,) stands out, from the mark's own edge outwards."""
        first = int(self._half) - 1
        columns = self._radius + (1 if side % 2 == 0 else -1) * np.arange(first, first + self._reach)
        return np.asarray(self._sure[:, columns].max(axis=(0, 2)))

    def ends(self, column: int, corners: Sequence[float]) -> tuple[float, float]:
        """Return the share of an edge that is gone beyond either corner; half where the photo ends there or none is."""
        profile, component = np.unravel_index(int(np.argmax(self._sure[:, column])), self._sure[:, column].shape)
        usual = self._usual[profile, 0, component]
        here = float(self._mean[profile, column, component] - usual)
        beside = int(SLANTS[-1] * self._radius) + len(ACROSS[profile][0])
        first = max(column - beside, 0)
        cut = np.ascontiguousarray(self._picture[:, first : column + beside + 1, component])
        steps, inside = _steps_of(cut, ACROSS[profile]), self._inside[:, column]
        gone = []
        for corner, sign in zip(corners, (1, -1), strict=True):
            far = np.arange(corner + CORNER_PX, corner + CORNER_PX + max(2 * CORNER_PX, 0.5 * self._length))
            far = far[far <= self._radius]
            rows = (self._radius + sign * far).astype(int)
            known = here != 0.0 and len(rows) >= CORNER_PX and bool(inside[rows].mean() > 0.7)
            if not known:
                gone.append(0.5)
                continue
            on = [steps[rows, np.rint(column + slant * sign * far).astype(int) - first].mean() for slant in SLANTS]
            gone.append(1.0 - float(np.clip(((np.array(on) - usual) / here).max(), 0.0, 1.0)))
        return gone[0], gone[1]


def _averaged(picture: Any, along: int) -> Any:
    """Return the means (blocks, columns, 3) of a picture's parts one below another, or of those side by side."""
    height, width = picture.shape[:2]
    if along == 0:
        return cv2.resize(picture, (width, BLOCKS), interpolation=cv2.INTER_AREA)
    beside = cv2.resize(picture, (BLOCKS, height), interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(beside.transpose(1, 0, 2))


def _steps_of(picture: Any, profile: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the steps (h, w, ...) that a picture shows in its columns by a profile across an edge."""
    return np.asarray(cv2.filter2D(picture, -1, profile, borderType=cv2.BORDER_REPLICATE))


def framed(sides: Sequence[Side], rules: OutlineRules) -> float:
    """Return how many sides of a mark are seen as edges that end at their corners and have the car's paint beyond."""
    return sum(side.seen(rules) * side.paint for side in sides)


def parted(sides: Sequence[Side], apart: Array, half: Array, rules: OutlineRules) -> float:
    """Return by what share an edge is seen beyond which another mark lies whole, or edges that end before it.

    NaN where it lies beyond none of four sides that are all seen: inside what frames the first.
    ``apart`` (x, y) is from middle to middle and ``half`` (x, y) half of the other mark's sides, in terrain pixels.
    """
    seen = []
    for place, side in enumerate(sides):
        nearest = float(np.dot(side.normal, apart)) - float(np.dot(np.abs(side.normal), half))
        if nearest > side.distance - CORNER_PX:
            beside = [sides[each] for each in _beside(place)]
            seen += [side.seen(rules), *(each.stands_out(rules) * each.ends[place % 2] for each in beside)]
    closed = min(side.stands_out(rules) for side in sides) > 0.5
    return max(seen, default=np.nan if closed else 0.0)
