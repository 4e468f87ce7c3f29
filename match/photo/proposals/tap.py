"""The box that a tap asks for: the largest even, upright rectangle of one surface around the tapped point.

A pixel is of the surface when its colour is near the tapped one, no edge runs through it, it is not burnt out and no
other mark lies on it. How strong an edge is depends on the surface: flake and noise are measured beside the tap. Edges
are looked for at two smoothings, the second with strong colours held back, so that a card nearly equal to the car still
ends at its border.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity

Pixels = NDArray[np.float32]
Mask = NDArray[np.bool_]


class Doubt(StrEnum):
    """What a grown box is unsure of."""

    SMALL = "small"
    UNEVEN = "uneven"
    FAINT = "faint"
    GLARE = "glare"


@dataclass(frozen=True)
class TapSettings:
    """How a box is grown; see the table ``tap`` of ``calibration/capture.toml``."""

    work_side_px: float = quantity("px")
    darkest: float = quantity("1")
    burnt: float = quantity("1")
    near_px: float = quantity("px")
    light_range: float = quantity("log ratio")
    colour_range: float = quantity("log ratio")
    colour_noise: float = quantity("times the median beside the tap")
    most_colour_range: float = quantity("log ratio")
    edge_noise: float = quantity("times the median beside the tap")
    least_edge: float = quantity("log light a px")
    most_edge: float = quantity("log light a px")
    fine_px: float = quantity("px")
    coarse_px: float = quantity("px")
    line_px: float = quantity("px")
    line_ways: float = quantity("count")
    line_share: float = quantity("fraction of the line")
    line_noise: float = quantity("times the median beside the tap")
    least_line_edge: float = quantity("log light a px")
    dust_px: float = quantity("px")
    most_slender: float = quantity("long side to short side")
    largest_side: float = quantity("fraction of the picture")
    inset_px: float = quantity("px")
    inset: float = quantity("fraction of the patch")
    least_side_px: float = quantity("px")
    small_side_px: float = quantity("px")
    beside_px: float = quantity("px")
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
    window = _beside(at, int(settings.largest_side * max(height, width) / 2 + settings.line_px))
    top, left = (part.start for part in window)
    small, seed = np.ascontiguousarray(whole[window]), (at[0] - left, at[1] - top)
    light = _smooth(np.log(np.maximum(small, np.float32(settings.darkest))))
    alike, glare = _alike(light, small, seed, settings)
    edges, faint = _edges(light, alike, seed, settings)
    clean = alike & ~edges
    for x, y, wide, high in taken:
        clean[_span(y, high, height, top), _span(x, wide, width, left)] = False
    clean = _without_dust(clean, settings.dust_px)
    start = _nearest(clean, seed, settings.near_px)
    if start is None:
        return None
    most = int(settings.largest_side * max(height, width))
    box = _inset(_largest(clean, start, most, settings.most_slender), settings)
    x, y, wide, high = box
    if min(wide, high) < settings.least_side_px:
        return None
    doubts = _doubts(light, box, glare, faint, settings)
    return GrownBox((left + x) / width, (top + y) / height, wide / width, high / height, doubts)


def _reduced(linear: NDArray[np.floating], side_px: float) -> Pixels:
    picture = np.asarray(linear, dtype=np.float32)
    scale = side_px / max(picture.shape[:2])
    if scale >= 1:
        return picture
    return np.asarray(cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), dtype=np.float32)


def _smooth(light: Pixels) -> Pixels:
    """Take out single flakes and grains of dust, which have no say in where a surface ends."""
    return np.asarray(cv2.medianBlur(light, 3), dtype=np.float32)


def _beside(seed: tuple[int, int], reach: int) -> tuple[slice, slice]:
    x, y = seed
    return slice(max(y - reach, 0), y + reach + 1), slice(max(x - reach, 0), x + reach + 1)


def _alike(light: Pixels, small: Pixels, seed: tuple[int, int], settings: TapSettings) -> tuple[Mask, Mask]:
    """Return where the picture has the tapped colour, and where it is burnt out."""
    soft = np.asarray(cv2.GaussianBlur(light, (0, 0), settings.fine_px), dtype=np.float32)
    away = soft - np.median(light[_beside(seed, 3)].reshape(-1, 3), axis=0)
    level = away.mean(axis=-1)
    colour = np.linalg.norm(away - level[..., None], axis=-1)
    # In the dark, noise alone colours a pixel: what half of the pixels under the finger do is no other surface.
    noise = float(np.median(colour[_beside(seed, 4)]))
    most = np.clip(settings.colour_noise * noise, settings.colour_range, settings.most_colour_range)
    burnt = small.max(axis=-1) >= settings.burnt
    return (np.abs(level) <= settings.light_range) & (colour <= most) & ~burnt, burnt


def _edges(light: Pixels, alike: Mask, seed: tuple[int, int], settings: TapSettings) -> tuple[Mask, Mask]:
    """Return where an edge runs, and by themselves the faint ones, which only show along a line."""
    plain = _plain_edges(light, alike, seed, settings)
    inside = alike & ~(cv2.dilate(plain.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)
    faint = _faint_edges(light, inside, seed, settings)
    # A faint edge beside a strong one is that one's shadow or blur, and no question.
    beside = cv2.dilate((plain | ~alike).astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    return plain | faint, faint & ~beside


def _plain_edges(light: Pixels, alike: Mask, seed: tuple[int, int], settings: TapSettings) -> Mask:
    """Return where light or colour steps; smoothed more where noise or flake alone would be as steep as an edge."""
    slope, limit = _slope(light, settings.fine_px), settings.most_edge
    if settings.edge_noise * _usual(slope, alike, seed) > limit:
        slope = _slope(light, 2 * settings.fine_px)
    return np.asarray(slope > np.clip(settings.edge_noise * _usual(slope, alike, seed), settings.least_edge, limit))


def _slope(light: Pixels, smoothing: float) -> Pixels:
    soft = cv2.GaussianBlur(light, (0, 0), smoothing)
    across, down = cv2.Sobel(soft, -1, 1, 0, scale=1 / 8), cv2.Sobel(soft, -1, 0, 1, scale=1 / 8)
    return np.asarray(np.sqrt(np.mean(across**2 + down**2, axis=-1)), dtype=np.float32)


def _faint_edges(light: Pixels, inside: Mask, seed: tuple[int, int], settings: TapSettings) -> Mask:
    """Return where light or colour steps along a straight line, though noise hides it in any single pixel.

    Slopes are averaged along lines of every direction, over pixels of the surface alone, so that a strong edge does
    not reach into it; the slow slope of the light itself is taken off first.
    """
    soft = cv2.GaussianBlur(light, (0, 0), settings.coarse_px)
    weight = inside.astype(np.float32)
    slopes = [cv2.Sobel(soft, -1, *way, scale=1 / 8) * weight[..., None] for way in ((1, 0), (0, 1))]
    length = int(settings.line_px)
    wide = 2 * length + 1
    share = np.maximum(cv2.blur(weight, (wide, wide)), 1e-3)[..., None]
    slopes = [(slope - cv2.blur(slope, (wide, wide)) / share) * weight[..., None] for slope in slopes]
    most = np.zeros(weight.shape, dtype=np.float32)
    for turn in np.arange(int(settings.line_ways)) * np.pi / settings.line_ways:
        line = _line(length, turn)
        filled = cv2.filter2D(weight, -1, line, borderType=cv2.BORDER_CONSTANT)
        step = slopes[1] * np.float32(np.cos(turn)) - slopes[0] * np.float32(np.sin(turn))
        along = cv2.filter2D(step, -1, line, borderType=cv2.BORDER_CONSTANT) / np.maximum(filled, 1e-3)[..., None]
        strength = np.sqrt(np.mean(along**2, axis=-1)) * (filled >= settings.line_share)
        most = np.maximum(most, strength)
    limit = max(settings.line_noise * _usual(most, inside, seed), settings.least_line_edge)
    return np.asarray((most > limit) & inside)


def _line(length: int, turn: float) -> Pixels:
    """Return a kernel that averages along a line."""
    kernel = np.zeros((length, length), dtype=np.float32)
    middle, reach = (length - 1) / 2, (length - 1) / 2
    ends = [(middle + sign * reach * np.cos(turn), middle + sign * reach * np.sin(turn)) for sign in (-1, 1)]
    first, last = (tuple(round(value * 16) for value in end) for end in ends)
    cv2.line(kernel, first, last, 1.0, 1, cv2.LINE_8, 4)
    return np.asarray(kernel / kernel.sum(), dtype=np.float32)


def _usual(slope: Pixels, inside: Mask, seed: tuple[int, int], reach: int = 12) -> float:
    """Return the median of a slope over the surface beside the tap."""
    part = _beside(seed, reach)
    here = slope[part][inside[part]]
    return float(np.median(here)) if here.size else 0.0


def _without_dust(clean: Mask, dust_px: float) -> Mask:
    """Return the mask with its smallest holes filled: the measurement itself leaves dust out."""
    _count, labels, measures, _ = cv2.connectedComponentsWithStats((~clean).astype(np.uint8), connectivity=8)
    tiny = measures[:, cv2.CC_STAT_AREA] <= dust_px
    tiny[0] = False  # the clean area itself
    return np.asarray(clean | tiny[labels], dtype=np.bool_)


def _nearest(clean: Mask, seed: tuple[int, int], near_px: float) -> tuple[int, int] | None:
    """Return the clean pixel nearest to the tapped one, x and y."""
    rows, columns = np.nonzero(clean)
    if not rows.size:
        return None
    away = (rows - seed[1]) ** 2 + (columns - seed[0]) ** 2
    best = int(np.argmin(away))
    return (int(columns[best]), int(rows[best])) if away[best] <= near_px**2 else None


def _largest(clean: Mask, start: tuple[int, int], most: int, slender: float) -> tuple[int, int, int, int]:
    """Return x, y, width, height in px of the best clean rectangle around a pixel: large, and not too slender.

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


def _inset(box: tuple[int, int, int, int], settings: TapSettings) -> tuple[float, float, float, float]:
    x, y, wide, high = box
    dx, dy = (min(settings.inset_px + settings.inset * side, side / 2) for side in (wide, high))
    return x + dx, y + dy, wide - 2 * dx, high - 2 * dy


def _span(start: float, length: float, total: int, offset: int) -> slice:
    return slice(max(int(start * total) - offset, 0), max(int(np.ceil((start + length) * total)) - offset, 0))


def _doubts(
    light: Pixels, box: tuple[float, float, float, float], glare: Mask, faint: Mask, settings: TapSettings
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
        Doubt.FAINT: bool(faint[around].any()),
        Doubt.GLARE: bool(glare[around].any()),
    }
    return tuple(doubt for doubt, holds in found.items() if holds)
