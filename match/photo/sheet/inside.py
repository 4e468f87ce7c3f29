"""The largest upright rectangle inside a window as the photo shows it."""

import numpy as np

from match.colorimetry import Array

STEPS = 96
"""Engineering choice: the rectangle's sides are within a hundredth of the window's size of the best ones."""


def largest_upright_rectangle(polygon_px: Array, width_px: int, height_px: int) -> tuple[int, int, int, int] | None:
    """Return x, y, width, height of the largest upright rectangle of whole pixels inside a convex polygon.

    Parameters
    ----------
    polygon_px : (n, 2) corners in order, whole coordinates at pixel centres
    width_px, height_px : the photo's size; the rectangle stays on the photo

    Returns
    -------
    None when not even one pixel fits.

    Notes
    -----
    A convex polygon's upper bound is a convex and its lower bound a concave function of x, so a rectangle from x0 to x1
    fits exactly when its sides fit at both ends: every pair of ends on a grid is tried.
    """
    left = max(float(polygon_px[:, 0].min()), -0.5)
    right = min(float(polygon_px[:, 0].max()), width_px - 0.5)
    if right <= left:
        return None
    ends = np.linspace(left, right, STEPS)
    top, bottom = _bounds(polygon_px, ends)
    top, bottom = np.maximum(top, -0.5), np.minimum(bottom, height_px - 0.5)
    highs = np.minimum(bottom[:, None], bottom[None, :]) - np.maximum(top[:, None], top[None, :])
    wides = ends[None, :] - ends[:, None]
    areas = np.where((wides > 0) & (highs > 0), wides * highs, -1.0)
    first, last = np.unravel_index(int(np.argmax(areas)), areas.shape)
    if areas[first, last] <= 0:
        return None
    x0, x1 = int(np.ceil(ends[first] + 0.5)), int(np.floor(ends[last] + 0.5))
    y0 = int(np.ceil(max(top[first], top[last]) + 0.5))
    y1 = int(np.floor(min(bottom[first], bottom[last]) + 0.5))
    return (x0, y0, x1 - x0, y1 - y0) if x1 > x0 and y1 > y0 else None


def _bounds(polygon: Array, x: Array) -> tuple[Array, Array]:
    """Return the convex polygon's smallest and largest y (n,) at each x (n,)."""
    lowest, highest = np.full(x.shape, np.inf), np.full(x.shape, -np.inf)
    for (x0, y0), (x1, y1) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        within = (x >= min(x0, x1)) & (x <= max(x0, x1))
        if x1 == x0:
            lowest = np.where(within, np.minimum(lowest, min(y0, y1)), lowest)
            highest = np.where(within, np.maximum(highest, max(y0, y1)), highest)
            continue
        y = y0 + (x - x0) / (x1 - x0) * (y1 - y0)
        lowest = np.where(within, np.minimum(lowest, y), lowest)
        highest = np.where(within, np.maximum(highest, y), highest)
    return lowest, highest
