"""A small picture of the whole frame as terrain: its log levels, and how steep it is where.

A step is by how much neighbouring places differ, in brightness and in each colour component; a card's edge, a shadow or
another colour is a ridge.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from match.colorimetry import Array
from match.measure.light import TO_COMPONENTS
from match.photo.encoding import srgb_to_linear
from match.photo.regions import Region

PREVIEW_SIDE_PX = 960
"""Engineering choice: the picture that is asked for; it is averaged further where codes are no longer rounded."""

SIDE_PX = 480
"""Engineering choice: longest side of the terrain. A card's edge of a millimetre still moves a pixel by a fair part."""

DARK = 0.004
"""Added to linear light before the logarithm: about one 8-bit code, below which a step is rounding."""

COARSE = 2
"""How much smaller the coarse picture is."""

ALONG = 13
"""Pixels along a border over which its step is averaged: a card's edge is straight, noise and flake are not."""

ROUNDING_SHARE = 0.4
"""Of one 8-bit code: what is left of rounding where a smooth surface has no noise, after averaging along a border."""


@dataclass(frozen=True, eq=False)
class Terrain:
    """Steps of the picture: ``steps`` (h, w, 3) in log units a component; ``scale`` (x, y) is its pixels a photo pixel.

    ``logs`` (h, w, 3) are the log levels themselves; ``rounding`` (h, w, 3) is what the rounding of codes makes of
    each channel of a smooth surface.
    """

    logs: Array
    steps: Array
    rounding: Array
    scale: tuple[float, float]

    def inside(self, region: Region, margin: float = 0.15) -> tuple[slice, slice]:
        """Return (rows, columns) of a mark in the picture, drawn in by ``margin`` of its sides, at least one pixel."""
        across = _span(region.x, region.width, self.scale[0], margin, self.steps.shape[1])
        down = _span(region.y, region.height, self.scale[1], margin, self.steps.shape[0])
        return down, across

    def usual(self, region: Region) -> Array:
        """Return the steps (3,) that a mark shows inside itself, no less than its rounding."""
        window = self.inside(region)
        shown = (self.steps[window], self.rounded(window))
        steps, rounding = (np.median(each.reshape(-1, 3), axis=0) for each in shown)
        return np.maximum(steps, rounding)

    def rounded(self, window: tuple[slice, slice]) -> Array:
        """Return the steps (h, w, 3) that rounding alone makes in a window, which none goes under."""
        square = np.square(self.rounding[window])
        return np.asarray(cv2.sqrt(cv2.transform(square, (TO_COMPONENTS**2).astype(np.float32))))


def _span(start: int, length: int, scale: float, margin: float, limit: int) -> slice:
    first = min(int((start + margin * length) * scale), limit - 1)
    last = int(np.ceil((start + (1.0 - margin) * length) * scale))
    return slice(first, min(max(last, first + 1), limit))


def terrains(preview: NDArray[np.uint8], photo_width: int, photo_height: int) -> tuple[Terrain, ...]:
    """Return the steps between neighbouring places of a small sRGB picture (h, w, 3), fine and coarse.

    The picture is averaged to :data:`SIDE_PX` and smoothed by a pixel; a step is the difference over two pixels, across
    or down, of its logarithm in brightness and both colour components, averaged along the border. Steps are widened by
    a pixel, so that a border has no leaks. Flake and noise are averaged away in the coarse one, while a thin line shows
    in the fine one.
    """
    logs, rounding = (cv2.LUT(preview, table) for table in (_log_of_codes(), _step_of_codes()))
    share = min(1.0, SIDE_PX / max(preview.shape[:2]))
    photo_px = (photo_width, photo_height)
    logs, rounding = _smaller(logs, share), _smaller(rounding, share)
    logs = cv2.transform(logs, TO_COMPONENTS.astype(np.float32))
    coarse = 1.0 / COARSE
    return _terrain(logs, rounding, photo_px), _terrain(_smaller(logs, coarse), _smaller(rounding, coarse), photo_px)


def _smaller(picture: Any, share: float) -> Any:
    size = tuple(max(round(share * side), 8) for side in picture.shape[1::-1])
    return picture if size == picture.shape[1::-1] else cv2.resize(picture, size, interpolation=cv2.INTER_AREA)


def _terrain(logs: Any, rounding: Any, photo_px: tuple[int, int]) -> Terrain:
    smooth = cv2.GaussianBlur(logs, (3, 3), 1.0)
    steps = np.zeros_like(smooth)
    steps[:, 1:-1] = np.abs(cv2.blur(smooth[:, 2:] - smooth[:, :-2], (1, ALONG)))
    down = np.abs(cv2.blur(smooth[2:] - smooth[:-2], (ALONG, 1)))
    np.maximum(steps[1:-1], down, out=steps[1:-1])
    steps = cv2.dilate(steps, np.ones((3, 3), dtype=np.uint8))
    rows, columns = logs.shape[:2]
    scale = (columns / photo_px[0], rows / photo_px[1])
    return Terrain(np.asarray(logs), np.asarray(steps), np.asarray(rounding), scale)


def _log_of_codes() -> NDArray[np.float32]:
    light = np.asarray(srgb_to_linear(np.arange(256) / 255.0))
    return np.asarray(np.log(light + DARK), dtype=np.float32)


def _step_of_codes() -> NDArray[np.float32]:
    return np.asarray(ROUNDING_SHARE * np.gradient(_log_of_codes()), dtype=np.float32)
