"""Flake of card against car in the photo that shows it best: from a photo's marks to the comparison."""

from collections.abc import Sequence

import numpy as np

from match.check.measuring import PhotoLike
from match.colorimetry import Array
from match.errors import EvidenceError
from match.photo.regions import Kind, Region
from match.several.photo_set import Angle, MeasuredPhoto
from match.several.texture import TextureComparison, TextureRules, compare_texture

MOST_FLAKE_PX = 768
"""Engineering choice: 256 tiles of 48 pixels; more would not make the comparison of flake surer."""


def shows_flake_best(photos: Sequence[MeasuredPhoto]) -> MeasuredPhoto:
    """Return the photo to compare flake in: near the glare, else the first."""
    return next((each for each in photos if each.use.angle is Angle.NEAR_GLARE), photos[0])


def flake_in(photo: PhotoLike, regions: Sequence[Region], rules: TextureRules) -> TextureComparison | str:
    """Compare the flake of the card with the nearest car paint; a sentence where the regions are too small for it."""
    card = next(region for region in regions if region.kind is Kind.CARD)
    paint = [region for region in regions if region.kind is Kind.VEHICLE and not region.is_part]
    car = min(paint, key=lambda region: _apart(region, card))
    greys = [r for r in regions if r.kind is Kind.GREY and min(r.width, r.height) >= rules.tile]
    grey = _middle(photo, greys[0]) if greys else None
    try:
        return compare_texture(_middle(photo, card), _middle(photo, car), rules, grey)
    except EvidenceError as error:
        return str(error)


def _apart(one: Region, other: Region) -> float:
    return float(
        np.hypot(
            one.x + one.width / 2 - other.x - other.width / 2,
            one.y + one.height / 2 - other.y - other.height / 2,
        )
    )


def _middle(photo: PhotoLike, region: Region) -> Array:
    """Return the middle of a region in linear light, no larger than the comparison needs."""
    width, height = min(region.width, MOST_FLAKE_PX), min(region.height, MOST_FLAKE_PX)
    x, y = region.x + (region.width - width) // 2, region.y + (region.height - height) // 2
    return np.asarray(photo.crop(x, y, width, height).linear, dtype=np.float64)
