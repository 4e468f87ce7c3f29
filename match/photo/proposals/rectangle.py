"""The largest clean upright rectangle around a tapped pixel, and where inside it a step lies that no pixel shows."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity
from match.photo.proposals.borders import Borders, Mask, Pixels, Place, beside

Box = tuple[int, int, int, int]
"""x, y, width and height in px."""


TOUCHED = 0.15
"""Engineering choice: a surface that fills so much of the circle under a finger may be the one that is meant."""


@dataclass(frozen=True)
class RectangleSettings:
    """How a rectangle is chosen; see the table ``tap.rectangle`` of ``calibration/capture.toml``."""

    dust_px: float = quantity("px")
    near_px: float = quantity("px")
    most_slender: float = quantity("long side to short side")
    leans: tuple[float, ...] = quantity("1")
    step_px: tuple[float, ...] = quantity("px")
    step_bands: float = quantity("count")
    step_spread: float = quantity("1")
    step_noise: float = quantity("standard deviations")
    step_floor: tuple[float, ...] = quantity("log ratio")


def without_dust(clean: Mask, dust_px: float) -> Mask:
    """Return the mask with its smallest holes filled: the measurement itself leaves dust out."""
    _count, labels, measures, _ = cv2.connectedComponentsWithStats((~clean).astype(np.uint8), connectivity=8)
    tiny = measures[:, cv2.CC_STAT_AREA] <= dust_px
    tiny[0] = False  # the clean area itself
    return np.asarray(clean | tiny[labels], dtype=np.bool_)


def start_near(clean: Mask, seed: Place, near_px: float) -> Place | None:
    """Return the roomiest clean pixel about the tapped one, x and y; None where none is near, or two surfaces are.

    A finger is not that exact: in the corner of a turned step of grey hardly any upright rectangle holds the very
    pixel. The clean area is that of the clean pixel nearest to the tap.
    """
    part = beside(seed, int(3 * near_px))
    top, left = (span.start for span in part)
    here = clean[part]
    rows, columns = np.indices(here.shape)
    away = np.hypot(rows - (seed[1] - top), columns - (seed[0] - left))
    room = cv2.distanceTransform(np.pad(here.astype(np.uint8), 1), cv2.DIST_L2, 3)[1:-1, 1:-1]
    # Joined under the finger, not by a way around: across a step that was cut lies another surface.
    _, labels = cv2.connectedComponents((here & (away <= near_px)).astype(np.uint8), connectivity=4)
    first = np.unravel_index(int(np.argmin(np.where(labels > 0, away, np.inf))), away.shape)
    if not labels[first]:
        return None
    sizes = np.bincount(labels.ravel())[1:] / (np.pi * near_px**2)
    if away[first] > 0 and np.count_nonzero(sizes > TOUCHED) > 1:
        return None  # the finger is on the border between two
    worth = np.minimum(room, near_px) - away / near_px  # among as roomy ones the nearest
    best = np.unravel_index(int(np.argmax(np.where(labels == labels[first], worth, -np.inf))), away.shape)
    return left + int(best[1]), top + int(best[0])


def largest(clean: Mask, start: Place, most: int, slender: float) -> Box:
    """Return the best clean rectangle around a pixel: large, and not too slender.

    A rectangle from one row to another reaches as far left and right as the narrowest of the rows in between lets it:
    every pair of a row above and a row below is tried.
    """
    x, y = start
    top, left = max(y - most // 2, 0), max(x - most // 2, 0)
    part = clean[top : y + most // 2 + 1, left : x + most // 2 + 1]
    x, y = x - left, y - top
    to_left = _run(part[:, x::-1])
    to_right = _run(part[:, x:])
    up = slice(y, None, -1)
    above = [np.minimum.accumulate(run[up]) for run in (to_left, to_right)]
    below = [np.minimum.accumulate(run[y:]) for run in (to_left, to_right)]
    # Reaches count the pixel itself; a row that is not clean in the tapped column has none, and ends the rectangle.
    lefts = np.minimum(above[0][:, None], below[0][None, :])
    rights = np.minimum(above[1][:, None], below[1][None, :])
    wide = np.where((lefts > 0) & (rights > 0), lefts + rights - 1, 0)
    high = np.arange(len(above[0]))[:, None] + np.arange(len(below[0]))[None, :] + 1
    worth = np.minimum(wide, slender * high) * np.minimum(high, slender * wide)
    up_by, down_by = np.unravel_index(int(np.argmax(worth)), worth.shape)
    first = x - int(lefts[up_by, down_by]) + 1
    return left + first, top + y - int(up_by), int(wide[up_by, down_by]), int(high[up_by, down_by])


def _run(rows: Mask) -> NDArray[np.int64]:
    """Return how many pixels from the first on are clean in each row."""
    stops = np.concatenate([~rows, np.ones((len(rows), 1), dtype=np.bool_)], axis=1)
    return np.asarray(np.argmax(stops, axis=1), dtype=np.int64)


def step_inside(borders: Borders, box: Box, settings: RectangleSettings) -> Mask | None:
    """Return the pixels (height, width) of a box on a step that runs through all of it; None where there is none.

    Means of whole columns (and rows), straight or leaning, show a border along which a card is off its car by a
    fraction of the noise of any pixel. A side is up to ``step_px`` deep; the even slope of the light is taken off.
    """
    x, y, wide, high = box
    part = borders.in_noise[y : y + high, x : x + wide]
    floor = np.array(settings.step_floor) / borders.noise
    best, line = settings.step_noise, None
    for turned, light in ((False, part), (True, part.transpose(1, 0, 2))):
        for lean in settings.leans:
            found = _strongest(light, lean, floor, settings)
            if found is not None and found[0] > best:
                best, line = found[0], (turned, lean, found[1])
    if line is None:
        return None
    turned, lean, column = line
    rows, columns = np.indices((wide, high) if turned else (high, wide))
    away = np.abs(columns - _shift(lean, rows.shape[0])[rows] - column)
    on_step = away <= 1.5
    return np.asarray(on_step.T if turned else on_step)


def _shift(lean: float, rows: int) -> NDArray[np.int64]:
    return np.round(lean * (np.arange(rows) - (rows - 1) / 2)).astype(np.int64)


def _strongest(
    light: Pixels, lean: float, floor: NDArray[np.float64], settings: RectangleSettings
) -> tuple[float, float] | None:
    """Return strength and column (at the middle row) of the strongest step between columns that lean."""
    rows, columns = light.shape[:2]
    least, most = (int(value) for value in settings.step_px)
    shift = _shift(lean, rows)
    out = int(np.abs(shift).max())
    width = columns - 2 * out
    if width < 2 * least + 2 or rows < 2 * settings.step_bands:
        return None
    places = out + shift[:, None] + np.arange(width)[None, :]
    straight = np.take_along_axis(light, places[..., None], axis=1)
    bands = np.stack([band.mean(axis=0) for band in np.array_split(straight, int(settings.step_bands))])
    total = np.cumsum(np.pad(bands, ((0, 0), (1, 0), (0, 0))), axis=1, dtype=np.float64)
    cuts = np.arange(least, width - least + 1)
    deep = np.minimum(np.minimum(cuts, width - cuts), most)
    steps = (total[:, cuts + deep] + total[:, cuts - deep] - 2 * total[:, cuts]) / deep[:, None]
    # An even slope of the light is a step as deep as a side everywhere.
    steps -= deep[:, None] * np.median(steps.mean(axis=0) / deep[:, None], axis=0)
    spread = np.median(np.var(steps, axis=0, ddof=1) * deep[:, None], axis=0)
    # The spread of few bands can come out small by chance: no less than that of the noise of single pixels.
    spread = np.maximum(spread / len(bands), settings.step_spread / rows)
    doubt = np.sqrt(spread / deep[:, None] + floor**2)
    strength = np.sqrt(np.sum((steps.mean(axis=0) / doubt) ** 2, axis=-1))
    at = int(np.argmax(strength))
    return float(strength[at]), float(out + cuts[at] - 0.5)
