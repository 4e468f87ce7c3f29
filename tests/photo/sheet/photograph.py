"""Invented photographs of the capture sheet from a known place, for the tests and the benchmark.

The camera is the textbook pinhole: pixel = K [R | t] point, with the sheet as the plane z = 0, x right, y down and z
into the panel. Nothing here uses the code under test except the sheet's geometry.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np

from match.photo.sheet.layout import SheetLayout

PAPER, INK = 0.85, 0.05
MARGIN_MM = 12.0
SCALE = 8.0  # sheet pixels per mm


@dataclass(frozen=True)
class Shot:
    """Where the camera stands and what spoils the picture. Angles in degrees, lengths in mm, blur in px."""

    tilt: float = 0.0
    towards: float = 0.0  # 0: the camera leans towards the sheet's top, 90: towards its right
    roll: float = 0.0
    distance: float = 450.0
    focal_35mm: float = 26.0
    size: tuple[int, int] = (1600, 1200)
    aim: tuple[float, float] = (93.0, 103.0)
    blur: float = 0.8
    noise: float = 0.01  # standard deviation of linear light at white
    gradient: float = 0.0  # relative change of light across the frame
    glare: tuple[float, float, float] | None = None  # x, y in fractions of the frame, radius in fractions of its width
    cover: tuple[tuple[float, float, float, float], ...] = ()  # left, top, width, height in mm on the sheet
    hidden: tuple[str, ...] = ()  # markers covered by a plain patch
    uncut: tuple[str, ...] = ()
    jpeg: int | None = 85
    radius: float | None = None  # of a panel curved about the sheet's vertical axis
    card: float = 0.30
    vehicle: float = 0.32
    grey: float = 0.18
    surround: float = 0.32


def pose(shot: Shot, target: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return K (3, 3), R (3, 3) and t (3,): a camera aimed at ``target`` (2,) mm."""
    tilt, towards, roll = np.radians([shot.tilt, shot.towards, shot.roll])
    back = np.array([np.sin(tilt) * np.sin(towards), -np.sin(tilt) * np.cos(towards), -np.cos(tilt)])
    centre = np.array([*target, 0.0]) + shot.distance * back
    forward = -back
    right = np.array([1.0, 0, 0]) - forward[0] * forward
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    turned = np.stack(
        [np.cos(roll) * right + np.sin(roll) * down, -np.sin(roll) * right + np.cos(roll) * down, forward]
    )
    width, height = shot.size
    focal = shot.focal_35mm * np.hypot(width, height) / np.hypot(36, 24)
    K = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    return K, turned, -turned @ centre


def project(K: np.ndarray, R: np.ndarray, t: np.ndarray, points_mm: np.ndarray, radius: float | None = None):
    """Return pixels (n, 2) of points (n, 2) on the sheet, flat or bent round a cylinder whose crest is its middle."""
    x, y = points_mm[:, 0], points_mm[:, 1]
    if radius is None:
        bent = np.stack([x, y, np.zeros_like(x)], axis=-1)
    else:
        angle = (x - 93.0) / radius
        bent = np.stack([93.0 + radius * np.sin(angle), y, radius * (1 - np.cos(angle))], axis=-1)
    seen = bent @ R.T + t
    return seen[:, :2] / seen[:, 2:] @ K[:2, :2].T + K[:2, 2]


@cache
def _hatched(shape: tuple[int, int], period_mm: float, line_mm: float) -> np.ndarray:
    """Return (h, w) slanting lines, as a window shows them where it was not cut out."""
    rows, columns = np.indices(shape, dtype=np.float32)
    stripes = (columns - rows) / SCALE / np.sqrt(2)
    return np.where(np.mod(stripes, period_mm) < line_mm, INK, PAPER)


def sheet_raster(layout: SheetLayout, shot: Shot) -> np.ndarray:
    """Return the sheet's reflectance, ``SCALE`` px a mm, with ``MARGIN_MM`` of white around the frame."""
    width, height = layout.frame_width_mm + 2 * MARGIN_MM, layout.instructions_top_mm + 2 * MARGIN_MM
    sheet = np.full((int(height * SCALE), int(width * SCALE)), PAPER, dtype=np.float32)

    def box(left, top, wide, high):
        rows = slice(round((top + MARGIN_MM) * SCALE), round((top + high + MARGIN_MM) * SCALE))
        columns = slice(round((left + MARGIN_MM) * SCALE), round((left + wide + MARGIN_MM) * SCALE))
        return rows, columns

    side = layout.marker_side_mm
    for name, marker in layout.markers.items():
        code = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, layout.dictionary))
        bits = cv2.aruco.generateImageMarker(code, marker.identifier, int(side * SCALE))
        drawn = np.where(bits > 0, PAPER, INK)
        sheet[box(marker.left_mm, marker.top_mm, side, side)] = 0.4 if name in shot.hidden else drawn
    printed = _hatched(sheet.shape, layout.hatch_period_mm, layout.hatch_line_mm)
    for name, window in layout.windows.items():
        place = box(window.left_mm, window.top_mm, window.width_mm, window.height_mm)
        sheet[place] = printed[place] if name in shot.uncut else getattr(shot, window.kind)
    for left, top, wide, high in shot.cover:
        sheet[box(left, top, wide, high)] = 0.25
    return cv2.GaussianBlur(sheet, (0, 0), 1.2)  # or a sharp edge falls between two samples and moves


def photograph(layout: SheetLayout, shot: Shot, rng: np.random.Generator):
    """Return the photo (h, w) uint8 and a function from sheet mm (n, 2) to its pixels (n, 2)."""
    K, R, t = pose(shot, np.array(shot.aim))
    width, height = shot.size
    fine = 2
    sheet = sheet_raster(layout, shot)
    K_fine = np.diag([fine, fine, 1.0]) @ K
    K_fine[:2, 2] += (fine - 1) / 2
    flat = K_fine @ np.stack([R[:, 0], R[:, 1], t], axis=-1)
    edge = {"borderMode": cv2.BORDER_CONSTANT, "borderValue": shot.surround}
    if shot.radius is None:
        to_mm = np.array([[1 / SCALE, 0, 0.5 / SCALE - MARGIN_MM], [0, 1 / SCALE, 0.5 / SCALE - MARGIN_MM], [0, 0, 1]])
        light = cv2.warpPerspective(sheet, flat @ to_mm, (width * fine, height * fine), flags=cv2.INTER_LINEAR, **edge)
    else:
        at = seen_on_cylinder((width * fine, height * fine), np.linalg.inv(flat), -R.T @ t, shot.radius)
        pixels = [((place + MARGIN_MM) * SCALE - 0.5).astype(np.float32) for place in at]
        light = cv2.remap(sheet, *pixels, cv2.INTER_LINEAR, **edge)
    light = cv2.GaussianBlur(light, (0, 0), max(shot.blur * fine, 0.1))
    light = cv2.resize(light, (width, height), interpolation=cv2.INTER_AREA).astype(np.float64)
    light *= 1 + shot.gradient * np.linspace(-0.5, 0.5, width)
    if shot.glare is not None:
        x, y, radius = shot.glare
        columns, rows = np.meshgrid(np.arange(width), np.arange(height))
        away = np.hypot(columns - x * width, rows - y * height) / (radius * width)
        light += 1.2 * np.exp(-(away**4))
    light += rng.normal(0.0, shot.noise, light.shape) * np.sqrt(np.clip(light, 0.02, 1))
    light = np.clip(light, 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    photo = np.round(coded * 255).astype(np.uint8)
    if shot.jpeg is not None:
        photo = cv2.imdecode(cv2.imencode(".jpg", photo, [cv2.IMWRITE_JPEG_QUALITY, shot.jpeg])[1], 0)
    return photo, lambda points_mm: project(K, R, t, np.atleast_2d(points_mm), shot.radius)


def seen_on_cylinder(size, to_mm: np.ndarray, centre: np.ndarray, radius: float) -> tuple[np.ndarray, np.ndarray]:
    """Return sheet x and y (h, w) seen through each pixel when the sheet is bent: where the ray meets the cylinder."""
    columns, rows = np.meshgrid(np.arange(size[0], dtype=float), np.arange(size[1], dtype=float))
    x, y, w = (row[0] * columns + row[1] * rows + row[2] for row in to_mm)
    ray_x, ray_y, ray_z = x / w - centre[0], y / w - centre[1], -centre[2]
    # (X - 93)^2 + (Z - radius)^2 = radius^2 along centre + s * ray; the nearer crossing
    from_x, from_z = centre[0] - 93.0, centre[2] - radius
    a = ray_x**2 + ray_z**2
    b = from_x * ray_x + from_z * ray_z
    s = (-b - np.sqrt(np.maximum(b**2 - a * (from_x**2 + from_z**2 - radius**2), 0.0))) / a
    angle = np.arctan2(from_x + s * ray_x, -(from_z + s * ray_z))
    return 93.0 + radius * angle, centre[1] + s * ray_y


def random_shot(rng: np.random.Generator) -> Shot:
    """Draw a careful but imperfect photo: the whole sheet in frame, held by hand."""
    shot = Shot(
        tilt=float(rng.uniform(0, 60)),
        towards=float(rng.uniform(0, 360)),
        roll=float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 8)),
        distance=float(rng.uniform(330, 800)),
        focal_35mm=float(rng.uniform(24, 35)),
        blur=float(rng.uniform(0.4, 2.5)),
        noise=float(rng.uniform(0.0, 0.04)),
        gradient=float(rng.uniform(-0.6, 0.6)),
        jpeg=int(rng.integers(60, 96)),
        card=float(rng.uniform(0.03, 0.7)),
        surround=float(rng.uniform(0.03, 0.7)),
    )
    shot = replace(shot, vehicle=shot.surround)
    if rng.random() < 0.4:
        shot = replace(shot, glare=(float(rng.uniform(0.2, 0.8)), float(rng.uniform(0.2, 0.8)), 0.10))
    return shot
