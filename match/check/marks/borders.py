"""Is there a border between two marks? On a small picture of the whole frame, not only inside the boxes.

Between two places of one surface there is a path that never steps over anything; around a card or a grey step lies an
edge, a shadow or another colour, whichever way one goes. The height of the lowest pass between two marks (the minimax
path, as in watershed segmentation) tells the two apart, measured in steps that the marked surfaces show inside
themselves: noise, flake and orange peel raise both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from match.colorimetry import Array
from match.measure.light import TO_COMPONENTS
from match.photo.encoding import srgb_to_linear
from match.photo.regions import Region

PREVIEW_SIDE_PX = 640
"""Engineering choice: a card's edge of a millimetre still covers a pixel, and the picture takes a megabyte."""

DARK = 0.004
"""Added to linear light before the logarithm: about one 8-bit code, below which a step is rounding."""

COARSE = 3
"""How much smaller the coarse picture is."""

ALONG = 7
"""Pixels along a border over which its step is averaged: a card's edge is straight, noise and flake are not."""

ROUNDING_SHARE = 0.7
"""Of one 8-bit code: a smooth surface without noise shows its rounding as lines, a little softened by the smoothing."""

LEVELS = 18
"""Heights that are tried between the lowest and the highest step: each a tenth above the one before or so."""


@dataclass(frozen=True, eq=False)
class Terrain:
    """Steps of the picture: ``height`` (h, w) in log units, and ``scale`` (x, y), preview pixels a photo pixel.

    ``rounding`` (h, w) is the step of one code in the darkest channel (log units), which no surface goes under.
    """

    height: Array
    rounding: Array
    scale: tuple[float, float]

    def inside(self, region: Region, margin: float = 0.15) -> tuple[slice, slice]:
        """Return (rows, columns) of a mark in the preview, drawn in by ``margin`` of its sides, at least one pixel."""
        across = _span(region.x, region.width, self.scale[0], margin, self.height.shape[1])
        down = _span(region.y, region.height, self.scale[1], margin, self.height.shape[0])
        return down, across


def _span(start: int, length: int, scale: float, margin: float, limit: int) -> slice:
    first = min(int((start + margin * length) * scale), limit - 1)
    last = int(np.ceil((start + (1.0 - margin) * length) * scale))
    return slice(first, min(max(last, first + 1), limit))


def terrains(preview: NDArray[np.uint8], photo_width: int, photo_height: int) -> tuple[Terrain, ...]:
    """Return the steps between neighbouring places of a small sRGB picture (h, w, 3), fine and coarse.

    The picture is smoothed by a pixel; a step is the largest difference over two pixels, across or down, in brightness
    or in either colour component of its logarithm, averaged along the border. Steps are widened by a pixel, so that a
    border has no leaks. The coarse one is a third of the size: flake and noise are averaged away there, while a thin
    line shows in the fine one.
    """
    logs = cv2.transform(cv2.LUT(preview, _log_of_codes()), TO_COMPONENTS.astype(np.float32))
    rows, columns = logs.shape[:2]
    rounding = cv2.LUT(preview.min(axis=2), _step_of_codes())
    size = (max(columns // COARSE, 8), max(rows // COARSE, 8))
    small, small_rounding = (cv2.resize(each, size, interpolation=cv2.INTER_AREA) for each in (logs, rounding))
    photo_px = (photo_width, photo_height)
    return _terrain(logs, rounding, photo_px), _terrain(small, small_rounding, photo_px)


def _terrain(logs: Any, rounding: Any, photo_px: tuple[int, int]) -> Terrain:
    smooth = cv2.GaussianBlur(logs, (3, 3), 1.0)
    across = np.abs(cv2.blur(smooth[:, 2:] - smooth[:, :-2], (1, ALONG))).max(axis=2)
    down = np.abs(cv2.blur(smooth[2:] - smooth[:-2], (ALONG, 1))).max(axis=2)
    height = np.maximum(np.pad(across, ((0, 0), (1, 1)), "edge"), np.pad(down, ((1, 1), (0, 0)), "edge"))
    height = cv2.dilate(height, np.ones((3, 3), dtype=np.uint8))
    rows, columns = logs.shape[:2]
    return Terrain(np.asarray(height), np.asarray(rounding), (columns / photo_px[0], rows / photo_px[1]))


def _log_of_codes() -> NDArray[np.float32]:
    light = np.asarray(srgb_to_linear(np.arange(256) / 255.0))
    return np.asarray(np.log(light + DARK), dtype=np.float32)


def _step_of_codes() -> NDArray[np.float32]:
    return np.asarray(ROUNDING_SHARE * np.gradient(_log_of_codes()), dtype=np.float32)


@dataclass(frozen=True, eq=False)
class Passes:
    """What lies between marks.

    Attributes
    ----------
    between : (n, n) log of the lowest pass between two marks over the steps inside the two; near 0 on one surface
    area : (n,) share of the frame that a mark's own surface takes, as far as no step is above what it shows inside
    sides : (n,) how many sides of the frame that surface reaches
    """

    between: Array
    area: Array
    sides: NDArray[np.intp]


def passes(lands: Sequence[Terrain], regions: Sequence[Region], own_step: float) -> Passes:
    """Return the passes of the terrain that shows each border best, and the smaller surface."""
    each = [_passes(land, regions, own_step) for land in lands]
    areas, sides = (np.array([getattr(found, name) for found in each]) for name in ("area", "sides"))
    smaller = np.argmin(areas, axis=0), np.arange(len(regions))
    return Passes(np.max([found.between for found in each], axis=0), areas[smaller], sides[smaller])


def _passes(land: Terrain, regions: Sequence[Region], own_step: float) -> Passes:
    """Return the lowest passes between all marks; ``own_step`` is how far a surface's steps lie above its median one.

    The steps inside a mark count as at least what rounding makes of a smooth surface.
    """
    inside = [land.inside(region) for region in regions]
    usual = np.array([max(np.median(land.height[window]), np.median(land.rounding[window])) for window in inside])
    heights = np.exp(np.linspace(np.log(usual.min() * 0.7), np.log(max(2.0, 2.0 * usual.max())), LEVELS))
    count = len(regions)
    lowest = np.full((count, count), heights[-1])
    area, sides = np.zeros(count), np.zeros(count, dtype=np.intp)
    own = np.searchsorted(heights, own_step * usual)
    joined = np.eye(count, dtype=bool)
    for index, height in enumerate(heights):
        if joined.all() and index > own.max():
            break
        _, labels = cv2.connectedComponents((land.height <= height).astype(np.uint8), connectivity=4)
        held = [_labels_in(labels[window]) for window in inside]
        for one in range(count):
            for other in range(one):
                if not joined[one, other] and held[one] & held[other]:
                    lowest[one, other] = lowest[other, one] = height
                    joined[one, other] = joined[other, one] = True
            if own[one] == index and held[one]:
                surface = labels == min(held[one])
                area[one], sides[one] = surface.mean(), _sides(surface)
    np.fill_diagonal(lowest, heights[0])
    return Passes(np.log(lowest / np.maximum(usual[:, None], usual[None, :])), area, sides)


def _labels_in(labels: NDArray[np.int32]) -> set[int]:
    """Return the surfaces that cover a fair part of a window (0 is no surface)."""
    found, counts = np.unique(labels, return_counts=True)
    return {int(label) for label, n in zip(found, counts, strict=True) if label and n >= 0.15 * labels.size}


def _sides(surface: NDArray[np.bool_]) -> int:
    edges = (surface[0], surface[-1], surface[:, 0], surface[:, -1])
    return sum(bool(edge.mean() > 0.05) for edge in edges)
