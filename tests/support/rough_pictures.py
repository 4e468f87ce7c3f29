"""Photos as they come from a yard: a curved side with a crease and a wheel arch, a card that overlaps it, a folded grey
card, textured cards, dark paints, a phone's noise reduction and sharpening, hard JPEG, 2 or 12 megapixels.

A third opinion on what a photo may look like, beside ``match.demo.scene`` and ``tests.support.drawn_pictures``.
"""

from __future__ import annotations

import io

import cv2
import numpy as np
from PIL import Image

from match.photo.regions import Kind, Region
from tests.support.drawn_pictures import PAINTS, Picture, Shows, _box, _Drawn, _pair, _turned
from tests.support.synthetic import srgb_encode

DARK = ("black", "dark grey", "dark blue", "dark red", "green")
FOLDED = ((0.18,), (0.04, 0.18), (0.09, 0.18, 0.36), (0.03, 0.18, 0.9))
SIZES = ((1600, 1200), (4000, 3000))


def rough_picture(rng: np.random.Generator, least: float = 2.2, most: float = 6.0, large: float = 0.2) -> Picture:
    """Draw one photo at random; ``large`` is the share with 12 megapixels."""
    paint = str(rng.choice(DARK)) if rng.random() < 0.5 else str(rng.choice(list(PAINTS)))
    car, card, true = _pair(rng, paint, least, most)
    size = SIZES[int(rng.random() < large)]
    drawn = _Drawn(rng, size, car)
    _side(drawn)
    regions = _marked(drawn, card, FOLDED[rng.integers(len(FOLDED))])
    image = _phone(drawn)
    written = io.BytesIO()
    Image.fromarray(image).save(written, "JPEG", quality=int(rng.integers(60, 76)))
    return Picture(f"rough {paint}, {size[0]} px", written.getvalue(), regions, true, drawn.shows)


def _side(drawn: _Drawn) -> None:
    """Lay out the car's side: a crease, a gap, the wheel arch with its tyre, the ground."""
    rng, (h, w) = drawn.rng, drawn.shows.shape
    crease = h * rng.uniform(0.12, 0.2) + 0.05 * drawn.x
    under = np.clip((drawn.y - crease) / (0.012 * h), 0, 1)
    drawn.light *= 1 + rng.uniform(0.1, 0.4) * (0.5 - under) * np.exp(-np.abs(drawn.y - crease) / (0.25 * h))
    if rng.random() < 0.6:
        x0 = w * rng.uniform(0.05, 0.1)
        wide = w * 0.004
        drawn.polygon([(x0, 0), (x0 + wide, 0), (x0 + 2 * wide, h), (x0 + wide, h)], [0.006] * 3, Shows.OTHER)
    sill = h * rng.uniform(0.86, 0.92)
    ground = rng.uniform(0.06, 0.35) * np.array([1.0, 0.98, rng.uniform(0.8, 1.05)])
    drawn.polygon([(0, sill), (w, sill), (w, h), (0, h)], ground, Shows.GROUND, 0.1)
    turn = np.linspace(0, 2 * np.pi, 90)
    hub, radius = np.array([w * rng.uniform(0.9, 0.98), h * 0.95]), h * rng.uniform(0.36, 0.42)
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    drawn.polygon(hub + radius * circle, [0.012] * 3, Shows.TRIM, 0.05)
    drawn.polygon(hub + 0.9 * radius * circle, [0.025] * 3, Shows.TRIM, 0.05)
    drawn.polygon(hub + 0.55 * radius * circle, [0.4, 0.41, 0.42], Shows.OTHER)


def _marked(drawn: _Drawn, card, ladder) -> tuple[Region, ...]:
    rng, (h, w) = drawn.rng, drawn.shows.shape
    half = np.array([w * rng.uniform(0.06, 0.09), h * rng.uniform(0.12, 0.16)])
    centre = np.array([w * rng.uniform(0.52, 0.58), h * rng.uniform(0.5, 0.56)])  # its corner may cover the wheel arch
    turn = rng.normal(0, 9)
    drawn.shade(_turned(centre + rng.uniform(-0.006, 0.006, 2) * w, half, turn), rng.uniform(0.2, 0.5), 0.003 * w)
    texture = rng.uniform(0.0, 0.04) if rng.random() < 0.6 else 0.0
    drawn.polygon(_turned(centre, half, turn), [0.8, 0.79, 0.76], Shows.WHITE)
    inner = half - rng.choice([0.0008, 0.004]) * w
    drawn.polygon(_turned(centre, inner, turn), card, Shows.CARD, texture, 1)
    drawn.light[np.isin(drawn.shows, (int(Shows.CARD), int(Shows.WHITE)))] = 1.0
    regions = [_box(Kind.CARD, centre, inner * rng.uniform(0.5, 0.7))]
    box = np.array([w * 0.04, half[1] * 0.6])
    beside = np.array([half[0] + box[0] + w * 0.035, 0.0])
    regions.append(_box(Kind.VEHICLE, centre - beside, box))
    if rng.random() < 0.3:
        regions.append(_box(Kind.VEHICLE, centre - (0, half[1] + h * 0.1), (half[0], h * 0.045)))
    return (*regions, *_folded(drawn, ladder))


def _folded(drawn: _Drawn, ladder) -> list[Region]:
    """Lay a grey card folded along its middle: its two halves see different light."""
    rng, (h, w) = drawn.rng, drawn.shows.shape
    side = w * (0.05 if len(ladder) == 1 else 0.03)
    middle = np.array([w * rng.uniform(0.2, 0.24), h * rng.uniform(0.5, 0.56)])
    extent = np.array([side * 1.3, 1.15 * side * len(ladder)])
    drawn.shade(_turned(middle + 0.004 * w, extent, 0), rng.uniform(0.2, 0.5), 0.003 * w)
    drawn.polygon(_turned(middle, extent, 0), [0.06] * 3, Shows.HOLDER)
    regions = []
    for index, reflectance in enumerate(ladder):
        along = (index - (len(ladder) - 1) / 2) * 2.15 * side
        centre = middle + np.array([0.0, along])
        error = 1 + rng.normal(0, 0.02) + rng.normal(0, 0.006, 3)
        drawn.polygon(_turned(centre, (side, side), 0), reflectance * error, Shows.STEP + index, 0.01)
        regions.append(_box(Kind.GREY, centre, (side * 0.7, side * 0.7), reflectance))
    on_card = (drawn.shows >= int(Shows.STEP)) | (drawn.shows == int(Shows.HOLDER))
    fold = 1 + rng.normal(0, 0.02) * np.sign(drawn.x - middle[0])
    drawn.light[on_card] = fold[on_card]
    return regions


def _phone(drawn: _Drawn) -> np.ndarray:
    """Return the picture (h, w, 3) as a phone develops it: reflections, noise, its reduction, sharpening, a curve."""
    rng, (h, w) = drawn.rng, drawn.shows.shape
    room = 0.04 * rng.uniform(0.1, 0.5) * (1 + 0.5 * np.tanh((0.35 * h - drawn.y) / (0.1 * h)))
    light = drawn.light * np.exp(rng.normal(0, 0.1) * (drawn.x / w - 0.5) + rng.normal(0, 0.12) * (drawn.y / h - 0.5))
    seen = drawn.body * light[..., None] + (room * (drawn.gloss > 0) * light)[..., None].astype(np.float32)
    seen = cv2.GaussianBlur(seen.astype(np.float32), (0, 0), rng.uniform(0.6, 1.2))
    seen *= min((0.18 / float(seen.mean())) ** rng.uniform(0.5, 1.0), 0.95 / float(np.percentile(seen[::4, ::4], 99.5)))
    seen *= (1 + rng.normal(0, 0.06, 3)).astype(np.float32)
    noise = rng.standard_normal(seen.shape, dtype=np.float32)
    seen = np.maximum(seen, 0) + np.sqrt(np.maximum(seen, 0) / 6000 + 1e-6) * noise
    code = srgb_encode(np.clip(seen, 0, 1)).astype(np.float32)
    code = cv2.GaussianBlur(code, (0, 0), rng.uniform(0.6, 1.1))  # noise reduction
    code += rng.uniform(0.3, 0.9) * (code - cv2.GaussianBlur(code, (0, 0), 1.5))  # and sharpening after it
    code += rng.uniform(-0.05, 0.3) * (code - 0.45) * code * (1 - code)
    return np.round(np.clip(code, 0, 1) * 255).astype(np.uint8)
