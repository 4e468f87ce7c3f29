"""Find the sheet's markers on a photo, and their corners to a fraction of a pixel.

OpenCV's ArUco detector reads which marker is where; each of its four edges is then fitted as a straight line through
the places of steepest change at full resolution, and the corners are where the lines cross. A line through a whole edge
is steadier under blur, noise and partial cover than a corner's own few pixels.

Pixels follow OpenCV: whole coordinates are pixel centres.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity
from match.colorimetry import Array
from match.photo.encoding import srgb_to_linear
from match.photo.sheet.layout import BORDER_CELLS, SheetLayout, marker_dictionary
from match.robust import robust_sd

Grey = NDArray[np.uint8]

LIGHT_OF_CODE = srgb_to_linear(np.arange(256) / 255.0).astype(np.float32)
"""Blur mixes light, not codes: only in linear light does a blurred edge's middle stay where the edge is."""

LIGHT_CODES = np.round(255.0 * LIGHT_OF_CODE).astype(np.uint8)

SAMPLE_STEP_PX = 0.5
MOST_EDGE_SAMPLES = 240


@dataclass(frozen=True)
class DetectionSettings:
    """How the sheet is looked for; see ``calibration/capture.toml``."""

    search_sides_px: tuple[float, ...] = quantity("px")
    threshold_windows_px: tuple[float, ...] = quantity("px")
    pixels_per_cell: float = quantity("px")
    cell_margin: float = quantity("fraction of a cell")
    least_marker_side_px: float = quantity("px")
    edge_ends: float = quantity("fraction of the side")
    edge_reach_cells: float = quantity("cells")
    least_edge_contrast: float = quantity("fraction of the marker's middle contrast")
    least_edge_share: float = quantity("fraction of an edge")
    stray_corner: float = quantity("fraction of the side")


def find_markers(grey: Grey, layouts: Sequence[SheetLayout], settings: DetectionSettings) -> dict[int, Array]:
    """Return a sheet's markers on a photo: identifier to corners (4, 2) in px, clockwise from the printed top left.

    Parameters
    ----------
    grey : (h, w) uint8, encoded
    layouts : those that the sheet may have, all of one dictionary; told apart by their markers' identifiers
    settings : see the class

    Notes
    -----
    The photo is searched small first, then larger while a marker is missing, each time in linear light (blur is fair
    to black and white there) and then as it is coded (which keeps the shadows); corners are refined at full resolution.
    """
    wanted = [{marker.identifier for marker in layout.markers.values()} for layout in layouts]
    found: dict[int, Array] = {}
    whole = False
    for side_px in settings.search_sides_px:
        scale = min(side_px / max(grey.shape), 1.0)
        small = grey if scale == 1.0 else cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        for coded in (cv2.LUT(small, LIGHT_CODES), small):
            for identifier, corners in _search(np.asarray(coded, dtype=np.uint8), scale, layouts[0], settings).items():
                if any(identifier in each for each in wanted):
                    found.setdefault(identifier, corners)
            whole = any(each <= found.keys() for each in wanted)
            if whole:
                break
        if whole or scale == 1.0:
            break
    cells = marker_dictionary(layouts[0].dictionary).markerSize + 2 * BORDER_CELLS
    return {identifier: refine_corners(grey, corners, cells, settings) for identifier, corners in found.items()}


def _search(small: Grey, scale: float, layout: SheetLayout, settings: DetectionSettings) -> dict[int, Array]:
    """Return every marker of the dictionary on a photo that was scaled by ``scale``, in px of the full photo."""
    parameters = cv2.aruco.DetectorParameters()
    windows = settings.threshold_windows_px
    parameters.adaptiveThreshWinSizeMin = int(windows[0])
    parameters.adaptiveThreshWinSizeMax = int(windows[-1])
    parameters.adaptiveThreshWinSizeStep = int(windows[1] - windows[0])
    parameters.perspectiveRemovePixelPerCell = int(settings.pixels_per_cell)
    parameters.perspectiveRemoveIgnoredMarginPerCell = settings.cell_margin
    parameters.minMarkerPerimeterRate = min(4.0 * settings.least_marker_side_px / max(small.shape), 0.03)
    detector = cv2.aruco.ArucoDetector(marker_dictionary(layout.dictionary), parameters)
    quads, identifiers, _ = detector.detectMarkers(small)
    if identifiers is None:
        return {}
    found: dict[int, Array] = {}
    for quad, identifier in zip(quads, np.ravel(identifiers), strict=True):
        corners = (np.asarray(quad, dtype=np.float64).reshape(4, 2) + 0.5) / scale - 0.5
        known = found.get(int(identifier))
        if known is None or _area(corners) > _area(known):
            found[int(identifier)] = corners
    return found


def _area(corners: Array) -> float:
    return float(cv2.contourArea(corners.astype(np.float32)))


def side_px(corners: Array) -> float:
    """Return a quadrilateral's mean side."""
    return float(np.mean(np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)))


def refine_corners(grey: Grey, corners: Array, cells: int, settings: DetectionSettings) -> Array:
    """Return a marker's corners (4, 2) where the lines fitted to its four edges cross.

    An edge that is mostly hidden keeps the line it came with. ``cells`` is the number of cells along a side.
    """
    first = np.maximum(np.floor(corners.min(axis=0) - side_px(corners) / cells).astype(int), 0)
    last = np.ceil(corners.max(axis=0) + side_px(corners) / cells).astype(int)
    light = LIGHT_OF_CODE[grey[first[1] : last[1] + 1, first[0] : last[0] + 1]]
    return np.asarray(_refine(light, corners - first, cells, settings) + first)


def _refine(light: NDArray[np.float32], corners: Array, cells: int, settings: DetectionSettings) -> Array:
    for _ in range(2):  # the second round starts close enough to keep its window centred on the edge
        lines = [_edge_line(light, corners, edge, cells, settings) for edge in range(4)]
        crossed = [_crossing(lines[edge - 1], lines[edge]) for edge in range(4)]
        moved = np.array([new if new is not None else old for new, old in zip(crossed, corners, strict=True)])
        if np.max(np.abs(moved - corners)) > side_px(corners) / cells:
            return corners
        corners = moved
    return corners


def _edge_line(
    light: NDArray[np.float32], corners: Array, edge: int, cells: int, settings: DetectionSettings
) -> tuple[Array, Array]:
    """Return a point on the edge from corner ``edge`` to the next, and its direction, both (2,)."""
    start, end = corners[edge], corners[(edge + 1) % 4]
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    outward = np.array([along[1], -along[0]])
    reach = max(settings.edge_reach_cells * length / cells, 2.0)
    count = int(np.clip(length, 16, MOST_EDGE_SAMPLES))
    places = np.linspace(settings.edge_ends, 1 - settings.edge_ends, count) * length
    offsets = np.arange(-reach, reach + SAMPLE_STEP_PX / 2, SAMPLE_STEP_PX)
    points = start + places[:, None, None] * along + offsets[None, :, None] * outward
    x, y = points[..., 0].astype(np.float32), points[..., 1].astype(np.float32)
    sampled = cv2.remap(light, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    profile = sampled.astype(np.float64)
    rise = np.maximum(np.diff(profile, axis=1), 0.0)
    contrast = rise.sum(axis=1)
    seen = contrast > settings.least_edge_contrast * np.median(contrast)
    if np.mean(seen) < settings.least_edge_share:
        return start, along
    rise = np.where(rise > 0.2 * rise.max(axis=1, keepdims=True), rise, 0.0)
    middles = (offsets[1:] + offsets[:-1]) / 2
    edge_at = (rise @ middles)[seen] / rise.sum(axis=1)[seen]
    slope, height = _steady_line(places[seen], edge_at)
    direction = along + slope * outward
    return start + height * outward, direction / np.linalg.norm(direction)


def _steady_line(x: Array, y: Array) -> tuple[float, float]:
    """Return slope and height at 0 of a line through (x, y) that strays do not pull (Cauchy weights, 8 rounds)."""
    weights = np.ones_like(x)
    slope = height = 0.0
    for _ in range(8):
        total = weights.sum()
        x_mean, y_mean = (weights @ x) / total, (weights @ y) / total
        spread = weights @ (x - x_mean) ** 2
        slope = float((weights * (x - x_mean)) @ (y - y_mean) / spread) if spread > 0 else 0.0
        height = float(y_mean - slope * x_mean)
        miss = y - (slope * x + height)
        scale = max(robust_sd(miss, centre=0.0), 0.02)
        weights = 1.0 / (1.0 + (miss / (2.4 * scale)) ** 2)
    return slope, height


def _crossing(first: tuple[Array, Array], second: tuple[Array, Array]) -> Array | None:
    """Return where two lines cross (2,), or None when they are nearly parallel."""
    (p, d), (q, e) = first, second
    across = d[0] * e[1] - d[1] * e[0]
    if abs(across) < 0.05:
        return None
    between = q - p
    return np.asarray(p + (between[0] * e[1] - between[1] * e[0]) / across * d)
