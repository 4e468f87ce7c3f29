"""The box that a tap asks for: the largest even, upright rectangle of one surface around the tapped point.

A pixel is of the surface when its colour is near the tapped one, no edge runs through it (``borders``), it is not burnt
out and no other mark lies on it. The rectangle (``rectangle``) is looked at once more as a whole, since a step that no
pixel shows is plain between the means of its two sides; where one runs through it, the side of the tap is kept.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity
from match.photo.proposals.borders import Borders, BorderSettings, Mask, Pixels, Place, beside, find_borders
from match.photo.proposals.rectangle import Box, RectangleSettings, largest, start_near, step_inside, without_dust

MOST_STEPS = 6
"""Engineering choice: a box that is still cut after so many steps is on no even surface."""


class Doubt(StrEnum):
    """What a grown box is unsure of."""

    SMALL = "small"
    UNEVEN = "uneven"
    FAINT = "faint"
    GLARE = "glare"


@dataclass(frozen=True)
class TapSettings:
    """How a box is grown; see the table ``tap`` of ``calibration/capture.toml``."""

    borders: BorderSettings
    rectangle: RectangleSettings
    work_side_px: float = quantity("px")
    darkest: float = quantity("1")
    largest_side: float = quantity("fraction of the picture")
    inset_px: float = quantity("px")
    inset: float = quantity("fraction of the patch")
    least_side_px: float = quantity("px")
    small_side_px: float = quantity("px")
    beside_px: float = quantity("px")
    faint_px: float = quantity("px")
    uneven: float = quantity("log ratio")


@dataclass(frozen=True)
class GrownBox:
    """A rectangle in fractions (0 to 1) of the picture's width and height, and what is unsure about it."""

    x: float
    y: float
    width: float
    height: float
    doubts: tuple[Doubt, ...] = ()


def grow(
    linear: NDArray[np.floating],
    point: tuple[float, float],
    settings: TapSettings,
    taken: Sequence[tuple[float, float, float, float]] = (),
) -> GrownBox | None:
    """Return the largest clean rectangle around a tapped point; None where there is none.

    Parameters
    ----------
    linear : (h, w, 3) linear light, 1 for the file's white
    point : x and y in fractions of width and height
    taken : x, y, width, height in the same fractions of boxes that must be kept clear of
    """
    whole = _reduced(linear, settings.work_side_px)
    height, width = whole.shape[:2]
    at = (int(np.clip(point[0] * width, 0, width - 1)), int(np.clip(point[1] * height, 0, height - 1)))
    most = int(settings.largest_side * max(height, width))
    window = beside(at, int(most / 2 + settings.borders.line_px))
    top, left = (part.start for part in window)
    small, seed = np.ascontiguousarray(whole[window]), (at[0] - left, at[1] - top)
    light = _smooth(np.log(np.maximum(small, np.float32(settings.darkest))))
    borders = find_borders(light, small.max(axis=-1), seed, settings.borders)
    clean = borders.clean.copy()
    for x, y, wide, high in taken:
        clean[_span(y, high, height, top), _span(x, wide, width, left)] = False
    whole_box = _even_box(without_dust(clean, settings.rectangle.dust_px), borders, seed, most, settings)
    if whole_box is None:
        return None
    box = _inset(whole_box, settings)
    x, y, wide, high = box
    if min(wide, high) < settings.least_side_px:
        return None
    doubts = _doubts(light, box, borders, settings)
    return GrownBox((left + x) / width, (top + y) / height, wide / width, high / height, doubts)


def _even_box(clean: Mask, borders: Borders, seed: Place, most: int, settings: TapSettings) -> Box | None:
    """Return the largest clean rectangle that no step runs through, and add the steps found to the faint edges.

    A cut that would leave next to nothing is not made: in so small a box chance alone can look like a step.
    """
    clean, rules, before = clean.copy(), settings.rectangle, None
    for _ in range(MOST_STEPS):
        start = start_near(clean, seed, rules.near_px)
        if start is None:
            return before
        box = largest(clean, start, most, rules.most_slender)
        if before is not None and min(box[2:]) < settings.small_side_px:
            return before
        step = step_inside(borders, box, rules)
        if step is None:
            return box
        x, y, wide, high = box
        part = (slice(y, y + high), slice(x, x + wide))
        clean[part] &= ~step
        borders.faint[part] |= step
        before = box
    return None


def _reduced(linear: NDArray[np.floating], side_px: float) -> Pixels:
    picture = np.asarray(linear, dtype=np.float32)
    scale = side_px / max(picture.shape[:2])
    if scale >= 1:
        return picture
    return np.asarray(cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), dtype=np.float32)


def _smooth(light: Pixels) -> Pixels:
    """Take out single flakes and grains of dust, which have no say in where a surface ends."""
    return np.asarray(cv2.medianBlur(light, 3), dtype=np.float32)


def _inset(box: Box, settings: TapSettings) -> tuple[float, float, float, float]:
    x, y, wide, high = box
    dx, dy = (min(settings.inset_px + settings.inset * side, side / 2) for side in (wide, high))
    return x + dx, y + dy, wide - 2 * dx, high - 2 * dy


def _span(start: float, length: float, total: int, offset: int) -> slice:
    return slice(max(int(start * total) - offset, 0), max(int(np.ceil((start + length) * total)) - offset, 0))


def _doubts(
    light: Pixels, box: tuple[float, float, float, float], borders: Borders, settings: TapSettings
) -> tuple[Doubt, ...]:
    x, y, wide, high = box
    inside = light[int(y) : int(y + high) + 1, int(x) : int(x + wide) + 1].mean(axis=-1)
    thirds = [np.median(part) for axis in (0, 1) for part in np.array_split(inside, 3, axis=axis)]
    reach = int(settings.beside_px)
    around = (
        slice(max(int(y) - reach, 0), int(y + high) + reach + 1),
        slice(max(int(x) - reach, 0), int(x + wide) + reach + 1),
    )
    found = {
        Doubt.SMALL: min(wide, high) < settings.small_side_px,
        Doubt.UNEVEN: max(thirds) - min(thirds) > settings.uneven,
        Doubt.FAINT: np.count_nonzero(borders.faint[around]) > settings.faint_px,
        Doubt.GLARE: bool(borders.glare[around].any()),
    }
    return tuple(doubt for doubt, holds in found.items() if holds)
