"""Pictures of card, car and grey drawn in a few lines, with a map of what each pixel is: for marks without the sheet.

They share nothing with the renderer of ``match.demo``: other shapes, light, flake and noise.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np

PANEL, CARD, FIRST_GREY = 0, 1, 2
ELSE = -1
LADDER = (0.036, 0.19, 0.6)


@dataclass
class Drawn:
    """An sRGB picture (h, w, 3) uint8, its map of surfaces (h, w), the greys' reflectances and what it is like."""

    picture: np.ndarray
    surface: np.ndarray
    greys: tuple[float, ...]
    traits: set[str] = field(default_factory=set)


class _Bench:
    def __init__(self, size, paint):
        wide, high = size
        self.light = np.ones((high, wide, 3), dtype=np.float32) * np.float32(paint)
        self.surface = np.full((high, wide), PANEL, dtype=np.int16)
        self.flake = np.ones((high, wide), dtype=np.float32)

    def lay(self, centre, sides, turn_deg, colour, number, flake=0.0, shadow=0.0):
        box = cv2.boxPoints((centre, sides, turn_deg))
        mask = np.zeros(self.surface.shape, dtype=np.uint8)
        cv2.fillConvexPoly(mask, np.round(box * 16).astype(np.int32), 255, lineType=cv2.LINE_8, shift=4)
        if shadow:
            moved = cv2.warpAffine(mask, np.float32([[1, 0, 4], [0, 1, 5]]), mask.shape[::-1]).astype(np.float32) / 255
            self.light *= (1 - shadow * cv2.GaussianBlur(moved, (0, 0), 3.0))[..., None]
        inside = mask > 0
        self.light[inside] = colour
        self.surface[inside] = number
        self.flake[inside] = flake


def draw(rng) -> Drawn:
    """Draw a picture at random."""
    portrait, crowded, ladder = (rng.random() < share for share in (0.4, 0.4, 0.5))
    size = (720, 960) if portrait else (960, 720)
    wide, high = size
    unit = 720.0
    near_equal, flaked = rng.random() < 0.35, rng.random() < 0.35
    turn = float(rng.uniform(-14, 14))
    paint = (
        np.exp(rng.uniform(np.log(0.03), np.log(0.6), 3)) if rng.random() < 0.7 else np.full(3, rng.uniform(0.02, 0.8))
    )
    if near_equal:
        step = rng.uniform(0.012, 0.04)
        way = rng.normal(size=3)
        card = paint * np.exp(step * way / np.linalg.norm(way) * np.sqrt(3))
    else:
        card = paint * np.exp(rng.uniform(-0.25, 0.25, 3))
    bench = _Bench(size, paint)
    centre = (wide * rng.uniform(0.46, 0.54), high * rng.uniform(0.42, 0.58))
    sides = (unit * rng.uniform(0.16, 0.24), unit * rng.uniform(0.24, 0.36))
    if not portrait and rng.random() < 0.5:
        sides = sides[::-1]
    turning = np.radians(turn)
    sideways = np.array([np.cos(turning), np.sin(turning)])
    step = sides[0] / 2 + unit * 0.15
    bench.lay(centre, sides, turn, card, CARD, shadow=rng.uniform(0.05, 0.4))
    greys = LADDER if ladder else (0.18,)
    board = unit * rng.uniform(0.10, 0.14)
    side = 1 if rng.random() < 0.5 else -1
    reach = step + unit * rng.uniform(0.0, 0.05)
    at = np.array(centre) + side * sideways * min(reach, wide / 2 - board)
    tall = board * (len(greys) * 0.9 if ladder else 1.2)
    bench.lay(tuple(at), (board * 1.15, tall * 1.08), turn, np.full(3, 0.7 if ladder else 0.18), ELSE, shadow=0.3)
    down = np.array([-np.sin(turning), np.cos(turning)])
    for index, reflectance in enumerate(greys):
        offset = ((index + 0.5) / len(greys) - 0.5) * tall
        cell = (board, tall / len(greys) * (0.9 if ladder else 1.0))
        bench.lay(tuple(at + down * offset), cell, turn, np.full(3, reflectance), FIRST_GREY + index)
    if crowded:
        for _ in range(int(rng.integers(3, 7))):
            spot = (rng.uniform(0, wide), rng.choice([rng.uniform(0, high * 0.14), rng.uniform(high * 0.86, high)]))
            colour = np.exp(rng.uniform(np.log(0.02), np.log(0.9), 3))
            bench.lay(spot, tuple(unit * rng.uniform(0.04, 0.2, 2)), rng.uniform(0, 90), colour, ELSE, shadow=0.3)
    return _photographed(
        bench,
        paint,
        rng,
        greys,
        flaked,
        {
            "portrait" if portrait else "wide",
            "crowded" if crowded else "plain",
            "ladder" if ladder else "one grey",
            *(("nearly equal",) if near_equal else ()),
            *(("tilted",) if abs(turn) > 5 else ()),
        },
    )


def _photographed(bench, paint, rng, greys, flaked, traits) -> Drawn:
    """Light, flake, glare, dust, blur and noise, then sRGB codes."""
    high, wide = bench.surface.shape
    x, y = np.meshgrid(np.linspace(-1, 1, wide), np.linspace(-1, 1, high))
    fall = rng.normal(0, 0.12, 2)
    light = np.exp(fall[0] * x + fall[1] * y + rng.normal(0, 0.05) * (x**2 + y**2))
    picture = bench.light * light[..., None].astype(np.float32)
    if flaked:
        traits.add("flake")
        grain = rng.normal(0, rng.uniform(0.05, 0.2), bench.surface.shape).astype(np.float32)
        on_paint = (bench.surface == PANEL) | (bench.surface == CARD)
        picture *= np.exp(np.where(on_paint, grain, 0))[..., None]
    if rng.random() < 0.4:
        traits.add("glare")
        # A lamp mirrored in the panel, clear of the middle of everything else.
        spot = np.array([rng.uniform(0.1, 0.9) * wide, rng.choice([0.12, 0.88]) * high])
        away = np.hypot((x + 1) * wide / 2 - spot[0], ((y + 1) * high / 2 - spot[1]) * 1.5)
        lamp = np.exp(-((away / (0.06 * wide)) ** 4)) * (bench.surface == PANEL)
        picture += (0.9 * lamp)[..., None].astype(np.float32)
        bench.surface[lamp > 0.02] = ELSE
    for _ in range(int(rng.integers(0, 25))):
        row, column = int(rng.integers(high)), int(rng.integers(wide))
        cv2.circle(picture, (column, row), int(rng.integers(1, 3)), tuple(float(v) for v in np.full(3, 0.5)), -1)
    exposure = min(0.9 / max(np.percentile(picture, 99), 1e-3), 3.0) if rng.random() < 0.5 else 1.0
    picture = cv2.GaussianBlur(picture * np.float32(exposure), (0, 0), rng.uniform(0.6, 1.3))
    picture += rng.normal(0, 1, picture.shape).astype(np.float32) * np.sqrt(np.maximum(picture, 0) * 1e-4 + 2e-6)
    picture = np.clip(picture, 0, 1)
    code = np.where(picture <= 0.0031308, picture * 12.92, 1.055 * picture ** (1 / 2.4) - 0.055)
    return Drawn(np.round(code * 255).astype(np.uint8), bench.surface, tuple(greys), traits)
