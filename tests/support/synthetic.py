"""A flat synthetic photo in arrays, for tests that need to know every number that went into it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from match.photo.regions import Kind, Region
from tests.support.png import png


@lru_cache(maxsize=8)
def grain(seed, shape):
    """Return normal noise, drawn once for each shape; nobody writes into it."""
    drawn = np.random.default_rng(seed).standard_normal(shape)
    drawn.flags.writeable = False
    return drawn


@lru_cache(maxsize=4)
def roughness(noise, seed, shape):
    """Return what the grain multiplies light by; nobody writes into it."""
    factor = 1.0 + noise * grain(seed, shape)
    factor.flags.writeable = False
    return factor


def rounded(code, levels):
    """Round encoded values 0..1 to whole steps, in place: a photo is drawn for every example of a property."""
    code *= levels
    np.round(code, out=code)
    code /= levels
    return code


def srgb_encode(linear):
    """IEC 61966-2-1."""
    linear = np.clip(linear, 0.0, 1.0)
    code = np.asarray(linear ** (1 / 2.4))
    code *= 1.055
    code -= 0.055
    np.multiply(linear, 12.92, out=code, where=linear <= 0.0031308)
    return code


def srgb_decode(code):
    """IEC 61966-2-1."""
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


@dataclass
class ArrayCrop:
    linear: np.ndarray
    code: np.ndarray


@dataclass
class ArrayPhoto:
    """A photo whose pixels are an array of encoded values 0..1."""

    image: np.ndarray
    scene_linear: bool = False
    notes: tuple[str, ...] = ()
    code_step: float = 1.0 / 255.0

    @property
    def width(self):
        return self.image.shape[1]

    @property
    def height(self):
        return self.image.shape[0]

    def crop(self, x, y, width, height, step=1):
        code = self.image[y : y + height : step, x : x + width : step]
        return ArrayCrop(code if self.scene_linear else srgb_decode(code), code)

    def preview(self, longest_side_px):
        code = srgb_encode(self.image) if self.scene_linear else self.image
        step = max(1, round(max(code.shape[:2]) / longest_side_px))
        return np.rint(np.clip(code[::step, ::step], 0, 1) * 255).astype(np.uint8)


@dataclass
class FlatScene:
    """Card in the middle, car on both sides, greys below; linear sRGB reflectances."""

    card: tuple[float, float, float] = (0.2, 0.1, 0.1)
    vehicle: tuple[float, float, float] = (0.2, 0.1, 0.1)
    greys: tuple[float, ...] = (0.18,)
    gradient: tuple[float, float] = (0.0, 0.0)
    exposure: float = 1.0
    gains: tuple[float, float, float] = (1.0, 1.0, 1.0)
    noise: float = 0.01
    contrast: float = 1.0
    seed: int = 1
    size: tuple[int, int] = (480, 360)
    levels: int = 255
    part: tuple[float, float, float] | None = None
    """Of a second part of the car, beyond a dark gap at four fifths of the width."""

    def photo(self):
        width, height = self.size
        linear = np.tile(np.array(self.vehicle, dtype=float), (height, width, 1))
        linear[97:223, 177:303] *= 0.6  # the shadow that a card throws at its edge
        linear[100:220, 180:300] = self.card
        linear[257:333, 57 : 43 + 90 * len(self.greys)] *= 0.6
        for index, grey in enumerate(self.greys):
            linear[260:330, 60 + 90 * index : 130 + 90 * index] = grey
        if self.part:
            gap = int(0.78 * width)
            linear[:, gap:] = self.part
            linear[:, gap : gap + 6] = 0.005
        if any(self.gradient):
            x, y = np.meshgrid(np.linspace(-0.5, 0.5, width), np.linspace(-0.5, 0.5, height) * height / width)
            linear *= np.exp(self.gradient[0] * x + self.gradient[1] * y)[..., None]
        linear *= self.exposure
        linear *= np.array(self.gains)
        if self.noise:
            linear *= roughness(self.noise, self.seed, linear.shape)
        if self.contrast != 1.0:
            linear = np.clip(linear, 0, 1) ** self.contrast
        return ArrayPhoto(rounded(srgb_encode(linear), self.levels), code_step=1.0 / self.levels)

    def png(self):
        """Return the photo as a PNG file."""
        return png(np.rint(self.photo().image * 255))

    def part_mark(self, name=""):
        return Region(Kind.VEHICLE, int(0.82 * self.size[0]), 110, int(0.14 * self.size[0]), 100, label=name)

    def marks(self, both_sides=True):
        marks = [Region(Kind.CARD, 190, 110, 100, 100), Region(Kind.VEHICLE, 60, 110, 100, 100)]
        if both_sides:
            marks.append(Region(Kind.VEHICLE, 320, 110, 100, 100))
        return marks + [Region(Kind.GREY, 65 + 90 * index, 265, 60, 60, grey) for index, grey in enumerate(self.greys)]


@dataclass
class CardsScene:
    """Several cards in a row, car on both sides, one grey below; linear sRGB reflectances."""

    cards: tuple[tuple[float, float, float], ...]
    vehicle: tuple[float, float, float] = (0.2, 0.1, 0.1)
    noise: float = 0.01
    seed: int = 1

    def photo(self):
        linear = np.tile(np.array(self.vehicle, dtype=float), (300, 240 + 130 * len(self.cards), 1))
        for index in range(len(self.cards)):
            linear[57:183, 117 + 130 * index : 243 + 130 * index] *= 0.6  # the shadow that a card throws at its edge
        for index, card in enumerate(self.cards):
            linear[60:180, 120 + 130 * index : 240 + 130 * index] = card
        linear[210:280, 60:130] = 0.18
        linear *= roughness(self.noise, self.seed, linear.shape)
        return ArrayPhoto(rounded(srgb_encode(linear), 255.0))

    def marks(self, names="ABCDEF"):
        ends = (10, 140 + 130 * len(self.cards))
        return [
            Region(Kind.GREY, 65, 215, 60, 60, 0.18),
            *(Region(Kind.VEHICLE, x, 70, 90, 100) for x in ends),
            *(Region(Kind.CARD, 130 + 130 * i, 70, 100, 100, label=names[i]) for i in range(len(self.cards))),
        ]
