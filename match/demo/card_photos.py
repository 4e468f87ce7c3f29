"""Invented photos of a card that does not hide, of let-down steps and of grey steps; no real car, card or paint.

Flat colours with a little grain. What shows through follows Kubelka's film (1948) over the chart's two fields.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from match.photo.encoding import linear_to_srgb
from match.photo.regions import Kind, Region
from match.tint.pigment import film_reflectance

WIDTH, HEIGHT = 900, 640
GRAIN_SD = 0.012
GREY_STEPS = ((0.05, 60), (0.18, 250), (0.6, 440))
BLACK, WHITE = 0.01, 0.80
PAINT = ((0.35, 0.9), (4.5, 0.42), (6.0, 0.38))
"""K/S and optical thickness of one coat for red, green and blue: an invented red that hides slowly."""
MID_BASE, MID_COAT = (0.52, 0.30, 0.12), (0.10, 0.24, 0.42)
"""Ground coat of the let-down card, linear sRGB, and the share of log reflectance that each mid-coat takes away."""
CAR_MID_COATS = 2.6


@dataclass(frozen=True)
class DemoPhoto:
    """One invented photo as PNG bytes with its marks, greys last; ``mid_coats`` on a let-down card."""

    name: str
    content: bytes
    places: tuple[Region, Region]
    greys: tuple[Region, ...]
    mid_coats: float | None = None


def hiding_demo() -> DemoPhoto:
    """Return a card of two coats over a black and a white field."""
    black, white = (
        [float(film_reflectance(absorption, 1.0, 2.0 * coat, field)) for absorption, coat in PAINT]
        for field in (BLACK, WHITE)
    )
    return _photo("demo-card.png", black, white, touching=True)


def let_down_demo() -> tuple[DemoPhoto, ...]:
    """Return one photo for each of four steps beside an invented car."""
    car = _mid_coated(CAR_MID_COATS)
    return tuple(
        _photo(f"demo-step-{coats}.png", _mid_coated(coats), car, touching=False, mid_coats=coats)
        for coats in (1, 2, 3, 4)
    )


def _mid_coated(coats: float) -> list[float]:
    return [base * float(np.exp(-share * coats)) for base, share in zip(MID_BASE, MID_COAT, strict=True)]


def _photo(
    name: str, first: Sequence[float], second: Sequence[float], touching: bool, mid_coats: float | None = None
) -> DemoPhoto:
    from PIL import Image

    linear = np.full((HEIGHT, WIDTH, 3), 0.33)
    if touching:
        linear[70:390, 190:450], linear[70:390, 450:710] = first, second
    else:
        linear[:430], linear[90:370, 140:420] = second, first
    for reflectance, x in GREY_STEPS:
        linear[455:615, x : x + 160] = reflectance
    linear = linear * (1.0 + GRAIN_SD * np.random.default_rng(3).standard_normal(linear.shape))
    codes = np.rint(linear_to_srgb(np.clip(linear, 0.0, 1.0)) * 255).astype(np.uint8)
    written = io.BytesIO()
    Image.fromarray(codes).save(written, "PNG", compress_level=1)  # grain packs no better for six times the work
    corners = ((225, 110), (485, 110)) if touching else ((180, 130), (520, 130))
    first_place, second_place = (Region(Kind.CARD, x, y, 190, 200) for x, y in corners)
    greys = tuple(Region(Kind.GREY, x + 25, 480, 110, 110, reflectance) for reflectance, x in GREY_STEPS)
    return DemoPhoto(name, written.getvalue(), (first_place, second_place), greys, mid_coats)
