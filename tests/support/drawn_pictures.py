"""Photos drawn from plain shapes, with a map of what each pixel shows: a car's corner, a yard, a card, grey steps.

They share nothing with the rendered scenes of ``match.demo.scene`` but the idea of a photo: flat reflectances in linear
sRGB instead of spectra, other places and sizes, a simple power law and an S-curve for the camera. A second opinion on
what a photo may look like.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from enum import IntEnum

import cv2
import numpy as np
from PIL import Image

from match.colorimetry import delta_e00, lab_from_working, srgb_from_lab, working_from_srgb
from match.photo.regions import Kind, Region
from tests.support.synthetic import srgb_decode, srgb_encode


class Shows(IntEnum):
    """What a pixel shows."""

    CAR = 0
    CARD = 1
    WHITE = 2  # unsprayed board of the card
    GROUND = 3
    GLASS = 4
    TRIM = 5
    SHADOW = 6  # the car's paint in shadow
    PAPER = 7
    HOLDER = 8
    OTHER = 9
    STEP = 20  # and upwards, one a grey step


@dataclass(frozen=True, eq=False)
class Picture:
    """A photo as a JPEG's bytes, with the right marks, the true difference, and what every pixel shows (h, w)."""

    name: str
    data: bytes
    regions: tuple[Region, ...]
    true_delta_e00: float
    shows: np.ndarray


PAINTS = {
    "white": (92.0, -1.0, 3.0),
    "cream": (84.0, 1.0, 12.0),
    "silver": (72.0, -0.5, -1.0),
    "mid grey": (50.0, 0.0, -1.5),
    "dark grey": (31.0, 0.0, -2.0),
    "black": (9.0, 0.5, -1.5),
    "dark blue": (22.0, 8.0, -30.0),
    "strong blue": (38.0, 10.0, -48.0),
    "red": (40.0, 58.0, 36.0),
    "yellow": (78.0, 8.0, 75.0),
    "green": (34.0, -28.0, 10.0),
    "dark red": (23.0, 33.0, 15.0),
}
"""CIELAB of invented paints (D65, 2 degrees)."""

LADDERS = ((0.18,), (0.18,), (0.05, 0.18, 0.6), (0.04, 0.18, 0.75), (0.9, 0.36, 0.18, 0.09), (0.09, 0.18, 0.36))


def drawn_picture(
    rng: np.random.Generator,
    paint: str | None = None,
    size_px: tuple[int, int] = (1200, 900),
    least: float = 2.2,
    most: float = 6.0,
    ladder: tuple[float, ...] | None = None,
    surroundings: str | None = None,
) -> Picture:
    """Draw one photo at random; ``surroundings`` is yard, snow or closed (nothing but paint in the frame)."""
    paint = paint or str(rng.choice(list(PAINTS)))
    ladder = ladder or LADDERS[rng.integers(len(LADDERS))]
    around = surroundings or str(rng.choice(["yard", "yard", "closed", "snow"], p=[0.35, 0.25, 0.25, 0.15]))
    car, card, true = _pair(rng, paint, least, most)
    drawn = _Drawn(rng, size_px, car)
    _surroundings(drawn, around)
    regions = _card_and_greys(drawn, card, ladder)
    image = _photographed(drawn)
    written = io.BytesIO()
    Image.fromarray(image).save(written, "JPEG", quality=int(rng.integers(84, 97)))
    return Picture(f"drawn {paint}, {around}", written.getvalue(), regions, true, drawn.shows)


def _pair(rng, paint, least, most):
    lab = np.array(PAINTS[paint]) + rng.normal(0, (1.5, 1.0, 1.0))
    wanted = rng.uniform(least, most)
    way = rng.standard_normal(3)
    way /= np.linalg.norm(way)
    low, high = 0.0, 40.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if delta_e00(lab + middle * way, lab) < wanted else (low, middle)
    linear = [srgb_decode(srgb_from_lab(each)) for each in (lab, lab + low * way)]
    seen = [lab_from_working(working_from_srgb(each)) for each in linear]
    return linear[0], linear[1], float(delta_e00(seen[1], seen[0]))


class _Drawn:
    """Reflectance (h, w, 3), light (h, w), flake (h, w) and what is shown."""

    def __init__(self, rng, size_px, car):
        width, height = size_px
        self.rng = rng
        self.body = np.tile(np.asarray(car, dtype=np.float32), (height, width, 1))
        self.light = np.ones((height, width), dtype=np.float32)
        self.shows = np.full((height, width), int(Shows.CAR), dtype=np.uint8)
        self.gloss = np.ones((height, width), dtype=np.float32)
        self.y, self.x = np.mgrid[0:height, 0:width].astype(np.float32)

    def polygon(self, points, colour, shows, texture=0.0, gloss=0.0):
        mask = np.zeros(self.shows.shape, dtype=np.uint8)
        cv2.fillPoly(mask, [np.round(np.asarray(points) * 16).astype(np.int32)], 255, lineType=cv2.LINE_AA, shift=4)
        cover = (mask / np.float32(255))[..., None]
        colour = np.asarray(colour, dtype=np.float32)
        if texture:
            noise = cv2.GaussianBlur(self.rng.standard_normal(mask.shape).astype(np.float32), (0, 0), 1.5)
            colour = colour * (1 + texture * noise / noise.std())[..., None]
        self.body += cover * (colour - self.body)
        self.shows[mask > 127] = int(shows)
        self.gloss[mask > 127] = gloss

    def shade(self, points, depth, softness):
        mask = np.zeros(self.shows.shape, dtype=np.float32)
        cv2.fillPoly(mask, [np.round(np.asarray(points)).astype(np.int32)], 1.0)
        self.light *= 1 - depth * cv2.GaussianBlur(mask, (0, 0), softness)


def _surroundings(drawn, around):
    rng, (h, w) = drawn.rng, drawn.shows.shape
    if around != "closed":
        ground = rng.uniform(0.55, 0.85) if around == "snow" else rng.uniform(0.08, 0.3)
        tint = np.array([1.03, 1.0, 0.95]) if around == "yard" else np.array([0.97, 1.0, 1.03])
        level = h * rng.uniform(0.80, 0.86)
        drawn.polygon(
            [(0, level), (w, level + rng.uniform(-30, 30)), (w, h), (0, h)], ground * tint, Shows.GROUND, 0.08
        )
        drawn.polygon([(0, level - 45), (w, level - 40), (w, level), (0, level)], [0.03] * 3, Shows.TRIM, 0.02)
        top = h * rng.uniform(0.11, 0.16)
        drawn.polygon(
            [(w * 0.1, 0), (w, 0), (w, top), (w * 0.2, top)], np.array([0.035, 0.04, 0.045]), Shows.GLASS, 0.0, 2
        )
    if rng.random() < 0.5:
        x0 = w * rng.uniform(0.88, 0.92)
        drawn.polygon([(x0, 0), (x0 + 9, 0), (x0 + 15, h), (x0 + 6, h)], [0.008] * 3, Shows.OTHER)
    if rng.random() < 0.4:
        side = w * rng.uniform(0.035, 0.045)
        paint = drawn.shows == int(Shows.CAR)
        drawn.shade([(0, 0), (side, 0), (side * 1.3, h), (0, h)], rng.uniform(0.4, 0.65), 6)
        drawn.shows[paint & (drawn.x < side * 0.8)] = int(Shows.SHADOW)
    if rng.random() < 0.3:
        sheet = [(w * 0.80, h * 0.2), (w * 0.99, h * 0.19), (w, h * 0.42), (w * 0.81, h * 0.44)]
        drawn.polygon(sheet, [0.78, 0.77, 0.74], Shows.PAPER)


def _turned(centre, half, degrees):
    turn = np.radians(degrees)
    c, s = np.cos(turn), np.sin(turn)
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * half
    return corners @ np.array([[c, s], [-s, c]]) + centre


def _box(kind, centre, half, reflectance=None):
    x, y = (np.asarray(centre) - half).round().astype(int)
    width, height = (2 * np.asarray(half)).round().astype(int)
    return Region(kind, int(x), int(y), int(width), int(height), reflectance)


def _card_and_greys(drawn, card, ladder):
    rng, (h, w) = drawn.rng, drawn.shows.shape
    card_half = np.array([w * rng.uniform(0.075, 0.1), h * rng.uniform(0.13, 0.17)])
    centre = np.array([w * rng.uniform(0.30, 0.36), h * rng.uniform(0.34, 0.38)])
    turn = rng.normal(0, 4)
    drawn.shade(_turned(centre + rng.uniform(-6, 6, 2), card_half * 1.02, turn), rng.uniform(0.3, 0.6), 4)
    if rng.random() < 0.5:  # a card with a white rim or end, as many have; the others are sprayed all over
        drawn.polygon(_turned(centre, card_half, turn), [0.83, 0.82, 0.8], Shows.WHITE)
        inner = card_half - (rng.uniform(4, 16), rng.uniform(4, 26))
    else:
        inner = card_half
    drawn.polygon(_turned(centre, inner, turn), card, Shows.CARD, 0.0, 1)
    mask = np.isin(drawn.shows, (int(Shows.CARD), int(Shows.WHITE)))
    drawn.light[mask] = 1.0
    regions = [_box(Kind.CARD, centre, inner * rng.uniform(0.6, 0.78))]
    half = np.array([w * 0.045, card_half[1] * 0.6])
    beside = np.array([card_half[0] + half[0] + w * 0.045, 0.0])
    left, right = centre - beside, centre + beside
    regions += [_box(Kind.VEHICLE, right, half)]
    if rng.random() < 0.6:
        regions += [_box(Kind.VEHICLE, left, half)]
    regions += _greys(drawn, ladder, h, w)
    return tuple(regions)


def _greys(drawn, ladder, h, w):
    rng = drawn.rng
    middle = np.array([w * rng.uniform(0.70, 0.74), h * rng.uniform(0.50, 0.56)])
    side = w * (0.06 if len(ladder) == 1 else 0.032)
    across = rng.random() < 0.5 or len(ladder) == 1
    step = 2 * side * (1.0 if rng.random() < 0.5 else 1.12)
    middle[1] += 0 if not across else h * 0.14
    extent = np.array([step / 2 * len(ladder), side]) if across else np.array([side, step / 2 * len(ladder)])
    drawn.shade(_turned(middle + 4, extent * 1.03, 0), rng.uniform(0.3, 0.6), 4)
    drawn.polygon(_turned(middle, extent * (1.0 if len(ladder) == 1 else 1.06), 0), [0.5, 0.5, 0.48], Shows.HOLDER)
    regions = []
    for index, reflectance in enumerate(ladder):
        along = (index - (len(ladder) - 1) / 2) * step
        centre = middle + ((along, 0) if across else (0, along))
        error = 1 + rng.normal(0, 0.02) + rng.normal(0, 0.006, 3)
        shape = _turned(centre, np.array([side, side]) * 0.995, 0)
        drawn.polygon(shape, reflectance * error, Shows.STEP + index, 0.004)
        regions.append(_box(Kind.GREY, centre, np.array([side, side]) * 0.7, reflectance))
    drawn.light[drawn.shows >= int(Shows.STEP)] = 1.0
    return regions


def _photographed(drawn):
    rng, (h, w) = drawn.rng, drawn.shows.shape
    x, y = drawn.x / w - 0.5, drawn.y / w - 0.4
    slope, bowl = rng.normal(0, 0.08, 2), abs(rng.normal(0, 0.08))
    light = drawn.light * np.exp(slope[0] * x + slope[1] * y - bowl * (x**2 + y**2))
    mirrored = 0.04 * rng.uniform(0.05, 0.6) * (1 + 0.25 * rng.normal() * x) * (drawn.gloss > 0)
    mirrored = mirrored * drawn.light  # what shades a place from light hides what it would mirror
    mirrored = mirrored + 0.03 * (drawn.gloss > 1) * np.exp(3 * x)
    seen = drawn.body * light[..., None] + mirrored[..., None].astype(np.float32)
    if rng.random() < 0.3:
        noise = cv2.GaussianBlur(rng.standard_normal((h, w)).astype(np.float32), (0, 0), 0.8)
        flake = np.exp(rng.uniform(0.02, 0.12) * noise / noise.std())
        paint = np.isin(drawn.shows, (int(Shows.CAR), int(Shows.CARD), int(Shows.SHADOW)))
        seen = np.where(paint[..., None], seen * flake[..., None], seen)
    seen = cv2.GaussianBlur(seen, (0, 0), rng.uniform(0.5, 1.1))
    exposure = (0.19 / float(seen.mean())) ** rng.uniform(0.5, 1.0) * 2 ** rng.normal(0, 0.25)
    exposure = min(exposure, 0.95 / float(np.percentile(seen, 99.5)))
    seen = seen * exposure * (1 + rng.normal(0, 0.05, 3))
    seen = np.clip(seen, 0, None) + np.sqrt(np.clip(seen, 0, None) / 12000 + 2e-7) * rng.standard_normal(seen.shape)
    code = srgb_encode(np.clip(seen, 0, 1) ** rng.uniform(0.93, 1.12))
    bend = rng.uniform(-0.1, 0.35)
    code = code + bend * (code - 0.45) * code * (1 - code)
    return np.round(np.clip(code, 0, 1) * 255).astype(np.uint8)
