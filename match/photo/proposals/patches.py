"""Rectangles of nearly even colour in a picture: what a card, or a grey reference, looks like before one knows which.

A patch is a connected area without edges that fills a rectangle. How strong an edge is depends on the picture's noise,
so edges are cut at several multiples of its median slope, at two smoothings: a patch found at many of them is sure.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity
from match.colorimetry import Array

Picture = NDArray[np.uint8]
Lab = NDArray[np.float32]


@dataclass(frozen=True)
class PatchSettings:
    """How patches are looked for; see ``calibration/capture.toml``."""

    work_side_px: float = quantity("px")
    smoothing_px: tuple[float, ...] = quantity("px")
    edge_levels: tuple[float, ...] = quantity("times the picture's median slope")
    least_share: float = quantity("fraction of the picture")
    most_share: float = quantity("fraction of the picture")
    least_fill: float = quantity("fraction of its rectangle")
    most_slender: float = quantity("long side to short side")
    least_side_px: float = quantity("px")
    same_overlap: float = quantity("intersection over union")


@dataclass(frozen=True, eq=False)
class EvenPatch:
    """A rectangle of nearly even colour.

    Attributes
    ----------
    corners_px : (4, 2) of the work picture, clockwise from its top left
    fill : share of the rectangle that the even area fills, 0 to 1
    support : share of the smoothings and edge levels at which it was found, 0 to 1
    """

    corners_px: Array
    fill: float
    support: float

    @property
    def across_px(self) -> Array:
        """The top side as a vector (2,)."""
        return np.asarray(self.corners_px[1] - self.corners_px[0])

    @property
    def down_px(self) -> Array:
        """The left side as a vector (2,)."""
        return np.asarray(self.corners_px[3] - self.corners_px[0])

    @property
    def sides_px(self) -> Array:
        """Lengths of the top and the left side, (2,)."""
        return np.array([np.linalg.norm(self.across_px), np.linalg.norm(self.down_px)])

    @property
    def area_px(self) -> float:
        """Its area."""
        return float(np.prod(self.sides_px))

    @property
    def middle_px(self) -> Array:
        """Its middle (2,)."""
        return np.asarray(self.corners_px.mean(axis=0))

    def part(self, left: float, right: float, top: float, bottom: float) -> Array:
        """Return corners (4, 2) of the part between fractions of its width and height; beyond 0 to 1 is beside it."""
        places = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
        return np.asarray(self.corners_px[0] + places @ np.stack([self.across_px, self.down_px]))


def work_picture(picture: Picture, side_px: float) -> tuple[Lab, float]:
    """Return a picture (h, w, 3) uint8 sRGB as CIELAB at working size, and work pixels per picture pixel."""
    scale = min(side_px / max(picture.shape[:2]), 1.0)
    small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else picture
    return np.asarray(cv2.cvtColor(small.astype(np.float32) / 255.0, cv2.COLOR_RGB2LAB), dtype=np.float32), scale


def find_patches(lab: Lab, settings: PatchSettings) -> tuple[EvenPatch, ...]:
    """Return the patches in a work picture (h, w, 3), the surest first; no two are the same one."""
    found: list[tuple[int, float, Array]] = []
    for index, smoothing in enumerate(settings.smoothing_px):
        slope = _slope(lab, smoothing)
        middle = max(float(np.median(slope)), 1e-3)
        for level, multiple in enumerate(settings.edge_levels):
            even = (slope < multiple * middle).astype(np.uint8)
            setting = index * len(settings.edge_levels) + level
            found.extend((setting, fill, corners) for fill, corners in _rectangles(even, settings))
    count = len(settings.smoothing_px) * len(settings.edge_levels)
    return tuple(_merged(found, count, settings.same_overlap))


def _slope(lab: Lab, smoothing: float) -> NDArray[np.float32]:
    """Return how fast the smoothed colour changes (h, w), CIELAB units a pixel."""
    smooth = cv2.GaussianBlur(lab, (0, 0), smoothing)
    across, down = cv2.Sobel(smooth, -1, 1, 0, scale=1 / 8), cv2.Sobel(smooth, -1, 0, 1, scale=1 / 8)
    return np.asarray(np.sqrt(np.sum(across**2 + down**2, axis=-1)), dtype=np.float32)


def _rectangles(even: NDArray[np.uint8], settings: PatchSettings) -> list[tuple[float, Array]]:
    """Return (fill, corners) of every connected even area that fills a rectangle and keeps off the picture's border."""
    height, width = even.shape
    even = np.asarray(cv2.erode(even, np.ones((3, 3), np.uint8)), dtype=np.uint8)  # cuts thin bridges
    count, labels, measures, _ = cv2.connectedComponentsWithStats(even, connectivity=4)
    rectangles = []
    for label in range(1, count):
        x, y, w, h, area = (int(value) for value in measures[label])
        if not settings.least_share < area / even.size < settings.most_share:
            continue
        if x <= 1 or y <= 1 or x + w >= width - 1 or y + h >= height - 1:
            continue
        mask = (labels[y : y + h, x : x + w] == label).astype(np.uint8)
        outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE, offset=(x, y))
        box = cv2.minAreaRect(max(outlines, key=len))
        sides = np.array(box[1]) + 1.0  # from between pixel centres to between outer edges
        fill = area / float(np.prod(sides))
        slender = float(sides.max() / sides.min())
        if fill >= settings.least_fill and slender <= settings.most_slender and sides.min() >= settings.least_side_px:
            rectangles.append((min(fill, 1.0), _clockwise(np.asarray(cv2.boxPoints(box), dtype=np.float64))))
    return rectangles


def _clockwise(corners: Array) -> Array:
    """Return the corners clockwise on the screen, from the one nearest to the top left."""
    around = corners - corners.mean(axis=0)
    ordered = corners[np.argsort(np.arctan2(around[:, 1], around[:, 0]))]
    return np.asarray(np.roll(ordered, -int(np.argmin(ordered.sum(axis=1))), axis=0))


def _merged(found: list[tuple[int, float, Array]], count: int, same_overlap: float) -> list[EvenPatch]:
    """Join findings of the same rectangle; the one that agrees best with all of them stands for it."""
    waiting = sorted(found, key=lambda entry: -entry[1])
    patches = []
    while waiting:
        shared = [overlap(waiting[0][2], entry[2]) for entry in waiting]
        same = [entry for entry, share in zip(waiting, shared, strict=True) if share >= same_overlap]
        waiting = [entry for entry, share in zip(waiting, shared, strict=True) if share < same_overlap]
        _, fill, corners = max(same, key=lambda entry: sum(overlap(entry[2], other[2]) for other in same))
        patches.append(EvenPatch(corners, fill, len({setting for setting, _, _ in same}) / count))
    return sorted(patches, key=lambda patch: -patch.support)


def overlap(first: Array, second: Array) -> float:
    """Return intersection over union of two convex quadrilaterals (4, 2)."""
    a, b = first.astype(np.float32), second.astype(np.float32)
    shared = float(cv2.intersectConvexConvex(a, b)[0])
    union = float(cv2.contourArea(a)) + float(cv2.contourArea(b)) - shared
    return shared / union if union > 0 else 0.0


def colours_in(lab: Lab, corners: Array) -> NDArray[np.float32]:
    """Return the picture's colours (n, 3) inside a quadrilateral (4, 2); empty when it leaves the picture."""
    height, width = lab.shape[:2]
    low, high = np.floor(corners.min(axis=0)).astype(int), np.ceil(corners.max(axis=0)).astype(int)
    if low.min() < 0 or high[0] >= width or high[1] >= height:
        return np.empty((0, 3), dtype=np.float32)
    mask = np.zeros((high[1] - low[1] + 1, high[0] - low[0] + 1), dtype=np.uint8)
    cv2.fillConvexPoly(mask, np.round(corners - low).astype(np.int32), 1)
    return np.asarray(lab[low[1] : high[1] + 1, low[0] : high[0] + 1][mask > 0])
