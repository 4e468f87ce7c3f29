"""Where to look: rectangles in pixels of the upright photo, and what each one shows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from match.errors import RegionError

MINIMUM_SIDE_PX = 12
"""Engineering choice: below this a JPEG's 8 x 8 blocks, not the paint, decide the colour."""

_TEXT = re.compile(r"^\s*(-?\d+)\s*,\s*(-?\d+)\s*,\s*(-?\d+)\s*,\s*(-?\d+)\s*(?:@\s*(\S+)\s*)?$")


class Kind(StrEnum):
    """What a region shows."""

    GREY = "grey"
    CARD = "card"
    VEHICLE = "vehicle"


@dataclass(frozen=True)
class Region:
    """A rectangle in pixels of the upright photo.

    ``reflectance`` is the luminous reflectance (0 to 1) of a grey patch, and None for any other kind.
    """

    kind: Kind
    x: int
    y: int
    width: int
    height: int
    reflectance: float | None = None

    @property
    def name(self) -> str:
        """The region as a person would point it out."""
        return f"the {self.kind.value} region at {self.x},{self.y}"

    def overlaps(self, other: Region) -> bool:
        """Return whether the two rectangles share at least one pixel."""
        return (
            self.x < other.x + other.width
            and other.x < self.x + self.width
            and self.y < other.y + other.height
            and other.y < self.y + self.height
        )


def parse_region(kind: Kind, text: str, default_reflectance: float) -> Region:
    """Read ``X,Y,W,H`` (with ``@REFLECTANCE``, as 0.18 or 18%, for a grey patch), raising :class:`RegionError`."""
    found = _TEXT.match(text)
    if not found:
        raise RegionError(
            f"the {kind.value} region {text!r} is not X,Y,W,H in whole pixels, for example 120,80,200,150"
        )
    x, y, width, height = (int(group) for group in found.groups()[:4])
    if kind is not Kind.GREY:
        if found.group(5):
            raise RegionError(f"the {kind.value} region {text!r} has a reflectance: only a grey region takes one")
        return Region(kind, x, y, width, height)
    reflectance = parse_reflectance(found.group(5)) if found.group(5) else default_reflectance
    return Region(kind, x, y, width, height, reflectance)


def parse_reflectance(text: str) -> float:
    """Read a luminous reflectance written as a fraction (0.18) or with a percent sign (18%)."""
    try:
        value = float(text.removesuffix("%")) / (100.0 if text.endswith("%") else 1.0)
    except ValueError:
        raise RegionError(f"the grey's reflectance {text!r} is not a number: write 0.18 or 18%") from None
    return checked_reflectance(value)


def checked_reflectance(value: float) -> float:
    """Return ``value`` if it can be the luminous reflectance of a grey reference, else raise."""
    if not 0.01 <= value <= 1.0:
        raise RegionError(
            f"a grey's reflectance of {value:g} is not between 0.01 and 1: write 0.18 or 18% for a photo card"
        )
    return value


def check_regions(
    regions: Sequence[Region], photo_width: int, photo_height: int, needed: Sequence[Kind] = tuple(Kind)
) -> None:
    """Raise :class:`RegionError` for a ``needed`` region that is missing, or any outside, too small or overlapping."""
    for kind, what in ((Kind.GREY, "grey reference"), (Kind.CARD, "spray-out card"), (Kind.VEHICLE, "vehicle")):
        count = sum(region.kind is kind for region in regions)
        if count == 0 and kind in needed:
            raise RegionError(f"no {kind.value} region is marked: mark the {what} on the photo")
        if kind is Kind.CARD and count > 1:
            raise RegionError(f"{count} card regions are marked: mark one, and check each card in its own photo")
    for region in regions:
        if region.width < MINIMUM_SIDE_PX or region.height < MINIMUM_SIDE_PX:
            raise _too_small(region)
        inside = region.x >= 0 and region.y >= 0
        if not inside or region.x + region.width > photo_width or region.y + region.height > photo_height:
            raise _outside(region, photo_width, photo_height)
    for index, region in enumerate(regions):
        for other in regions[index + 1 :]:
            if region.overlaps(other) and (region.kind is not other.kind or region.kind is Kind.GREY):
                raise _overlapping(region, other)


def _too_small(region: Region) -> RegionError:
    return RegionError(
        lambda called: (
            f"{called(region)} is {region.width} x {region.height} pixels: "
            f"draw it at least {MINIMUM_SIDE_PX} pixels wide and high"
        )
    )


def _outside(region: Region, photo_width: int, photo_height: int) -> RegionError:
    return RegionError(
        lambda called: (
            f"{called(region)} ({region.width} x {region.height}) reaches outside the photo, "
            f"which is {photo_width} x {photo_height} pixels: move it inside"
        )
    )


def _overlapping(region: Region, other: Region) -> RegionError:
    return RegionError(lambda called: f"{called(region)} overlaps {called(other)}: move them apart")
