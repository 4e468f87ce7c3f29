"""Is a card's mark framed? By its own surface, or by straight edges about it, each summed along its whole length.

A surface that is a rectangle and lies in the photo whole is a card's, and its sides are the card's edges.
A card that matches its car shows next to no step at its edges, less than the noise of a pixel. But an edge is straight
and long: its step, averaged along the mark's side, stands out by the root of so many pixels. Edges of a card also end
where the next one begins, while gaps, creases, mirrored lamps and the car's own outline run on past a mark.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from match.check.marks.lines import BLOCKS, CORNER_PX, About, Lines, placed
from match.check.marks.rules import OutlineRules
from match.check.marks.terrain import Terrain
from match.colorimetry import Array
from match.photo.regions import Region

TURNS_DEG = np.arange(-45.0, 45.0, 6.0)
"""Ways a card may be turned that are tried first."""

NEAR_DEG = (-3.0, 0.0, 3.0)
"""Ways a side may be turned besides, where the card lies between two of those or is seen at a slant."""

PEAKS = 3
"""Places at which each side is looked for, the clearest ones."""

LIKELY_TURNS = 4
"""Turns that are looked at in full, of all that are tried in a few rows."""

MOST_TURNS = 2
"""Turns that are looked at closely, the likeliest ones."""

LARGEST_PX = 64.0
"""Half a mark's longer side in the picture that is looked at: a larger one is made smaller, for time and memory."""

RIM_PX = 40
"""Pixels of the terrain beyond an edge within which the car's paint comes, were the card's white rim between."""

ALONG = np.linspace(-1.0, 1.0, 2 * BLOCKS)
"""Places along an edge from which the car's paint is looked for, from corner to corner of the mark."""


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


def of_own_surface(land: Terrain, region: Region, surface: NDArray[np.bool_], rules: OutlineRules) -> tuple[Side, ...]:
    """Return the four sides of a mark's own surface (h, w); none where it is no rectangle or the photo cuts it off.

    A panel is bounded by gaps and arches, and runs on out of most photos. A surface that does not hold the whole mark
    is no card's either: the mark lies across its edge, or on something larger with a patch in it.
    """
    least, most = rules.rectangle
    rim = (surface[0], surface[-1], surface[:, 0], surface[:, -1])
    if np.count_nonzero(surface) > most * surface.size or any(edge.any() for edge in rim):
        return ()
    filled, rectangle = rectangle_about(surface)
    if filled < least:
        return ()
    middle, halves, turn = np.array(rectangle[0]), np.array(rectangle[1]) / 2.0, np.deg2rad(rectangle[2])
    ahead = np.array([np.cos(turn), np.sin(turn)])
    down = np.array([-ahead[1], ahead[0]])
    middle_of_mark, half = placed(land, region)
    apart = middle - middle_of_mark
    ways = ((ahead, halves[0]), (-ahead, halves[0]), (down, halves[1]), (-down, halves[1]))
    sides = [Side((float(way[0]), float(way[1])), float(apart @ way + reach), rules.surely) for way, reach in ways]
    holds = all(side.distance >= np.abs(side.normal) @ half - CORNER_PX for side in sides)
    return tuple(sides) if holds else ()


def rectangle_about(surface: NDArray[np.bool_]) -> tuple[float, Any]:
    """Return the share of the smallest rectangle about a surface (h, w) that it fills, and that, as OpenCV has it."""
    points = cv2.findNonZero(surface.astype(np.uint8))
    if points is None:
        return 0.0, None
    rectangle = cv2.minAreaRect(points)
    sides = np.array(rectangle[1]) + 1.0  # from between pixel centres to between outer edges
    return min(np.count_nonzero(surface) / float(np.prod(sides)), 1.0), rectangle


def outline(land: Terrain, region: Region, coat: NDArray[np.bool_], rules: OutlineRules) -> tuple[Side, ...]:
    """Return the four sides of what frames a mark best, as far beyond it as ``rules.reach`` says.

    ``coat`` (h, w) is where the picture shows the car's paint.
    """
    share = min(1.0, LARGEST_PX / float(placed(land, region)[1].max()))
    if share < 1.0:
        land, coat = _smaller(land, share), cv2.resize(coat.astype(np.uint8), None, fx=share, fy=share) > 0
    about = About(land, region, rules)
    likely = _likeliest({turn: about.turned(turn, thinned=True) for turn in TURNS_DEG}, LIKELY_TURNS, rules)
    likely = _likeliest({turn: about.turned(turn) for turn in sorted(likely)}, MOST_TURNS, rules)
    coat_about = _CoatAbout(land, region, coat)
    found = [_closest(about, turn, coat_about, rules) for turn in likely]
    sides = max(found, key=lambda each: framed(each, rules))
    return tuple(replace(side, distance=side.distance / share) for side in sides)


def _likeliest(views: Mapping[float, tuple[Lines, Lines]], most: int, rules: OutlineRules) -> list[float]:
    """Return the turns in which all four sides stand out most, by the clearest line of each."""
    clearest = [
        [lines.sure_of(side).max(initial=0.0) for lines in each for side in range(2)] for each in views.values()
    ]
    clear = np.minimum(np.log1p(np.array(clearest)), np.log1p(rules.surely)).sum(axis=1)
    return [list(views)[place] for place in np.argsort(-clear, kind="stable")[:most]]


def _closest(about: About, turn_deg: float, coat: _CoatAbout, rules: OutlineRules) -> tuple[Side, ...]:
    """Return the sides that are seen best where the card is turned by about so much."""
    near = [about.turned(turn_deg + turn) for turn in NEAR_DEG]
    peaks = [_peaks([peak for view in near for peak in _clearest_of(view[side // 2], side % 2)]) for side in range(4)]
    return _closed(peaks, coat, rules)


def _clearest_of(lines: Lines, side: int) -> list[Peak]:
    """Return the clearest lines of a side in one view, several to each place."""
    sure = lines.sure_of(side)
    return [(lines, float(lines.first + at), float(sure[at])) for at in np.argsort(-sure)[: PEAKS * CORNER_PX]]


def _smaller(land: Terrain, share: float) -> Terrain:
    """Return the terrain made smaller: along the side of a large mark there are pixels enough."""
    logs, rounding = (_resized(each, share) for each in (land.logs, land.rounding))
    return replace(land, logs=logs, rounding=rounding, scale=(share * land.scale[0], share * land.scale[1]))


def _resized(picture: Any, share: float) -> Any:
    return cv2.resize(picture, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)


Peak = tuple[Lines, float, float]
"""A place at which a side may lie: in which view, its distance from the mark's middle, and how far it stands out."""


def _peaks(found: list[Peak]) -> list[Peak]:
    """Return the clearest of the places, each of them once."""
    kept: list[Peak] = []
    for each in sorted(found, key=lambda peak: -peak[2]):
        if all(abs(each[1] - other[1]) > CORNER_PX for other in kept):
            kept.append(each)
    return kept[:PEAKS]


def _closed(peaks: Sequence[Sequence[Peak]], coat: _CoatAbout, rules: OutlineRules) -> tuple[Side, ...]:
    """Return of each side the place that is seen best, given where the sides beside it lie; twice round settles it."""
    at = [0, 0, 0, 0]
    chosen: list[Side] = []
    sides = [[coat.led(_side(peak, side)) for peak in peaks[side]] for side in range(4)]
    for _ in range(2):
        chosen = []
        for side in range(4):
            beside = [peaks[each][at[each]][1] if peaks[each] else 0.0 for each in _beside(side)]
            tried = [
                replace(each, ends=lines.ends(side % 2, distance, beside))
                for each, (lines, distance, _) in zip(sides[side], peaks[side], strict=True)
            ]
            if tried:
                at[side] = int(np.argmax([each.seen(rules) * (0.2 + each.paint) for each in tried]))
            chosen.append(tried[at[side]] if tried else Side((0.0, 0.0), np.inf, 0.0))
    return tuple(chosen)


def _side(peak: Peak, side: int) -> Side:
    lines, distance, sure = peak
    return Side(lines.normal(side % 2), distance, sure)


def _beside(side: int) -> tuple[int, int]:
    """Return the sides before and after one, of right, left, bottom and top."""
    return (2, 3) if side < 2 else (0, 1)


class _CoatAbout:
    """Where the car's paint lies about a mark, seen from its middle."""

    def __init__(self, land: Terrain, region: Region, coat: NDArray[np.bool_]) -> None:
        self._middle, self._half = placed(land, region)
        self._coat = np.pad(coat, 1)  # none beyond the picture

    def led(self, side: Side) -> Side:
        """Return the side with the share of it beyond which paint comes soon, for as far as a border is wide."""
        normal = np.array(side.normal)
        length = max(float(np.abs(normal[::-1]) @ self._half), float(CORNER_PX))
        along = length * ALONG[:, None]
        out = side.distance + np.arange(CORNER_PX, RIM_PX)
        start = self._middle + 1.0
        across = np.rint(start[0] - normal[1] * along + normal[0] * out).astype(int)
        down = np.rint(start[1] + normal[0] * along + normal[1] * out).astype(int)
        rows, columns = self._coat.shape
        paint = self._coat[np.clip(down, 0, rows - 1), np.clip(across, 0, columns - 1)]
        runs = np.logical_and.reduce([paint[:, k : k + 1 - CORNER_PX or None] for k in range(CORNER_PX)])
        return replace(side, paint=float(np.any(runs, axis=1).mean()))


def led_to(sides: Sequence[Side], land: Terrain, region: Region, coat: NDArray[np.bool_]) -> tuple[Side, ...]:
    """Return the sides of a mark, were the car's paint only where ``coat`` (h, w) says."""
    about = _CoatAbout(land, region, coat)
    return tuple(about.led(side) for side in sides)


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
