"""Marks on a photo: rectangles as fractions of the upright picture, and the same rectangles in its pixels.

The browser knows the picture only as it is shown; the measurement works on the full photo. Fractions are the common
ground. What comes back from a browser is input like any other, so :func:`read_marks` checks it.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from match.errors import RegionError
from match.photo.regions import LABELS, MINIMUM_SIDE_PX, MOST_CARDS, Kind, Region, checked_label

MOST_MARKS = 60
"""Engineering choice: far above what a photo needs; it stops a broken page from sending without end."""


@dataclass(frozen=True)
class MarkKind:
    """What a mark can show, and how it is told apart on the photo.

    ``hint`` goes on after "draw a box". ``colour`` is a CSS colour and ``dash`` an SVG dash pattern: label and line
    pattern must suffice without the colour. ``limit`` is the most marks of the kind (0 for any number; drawing one
    more replaces the oldest), ``required`` kinds are asked for in turn, a kind that ``reflects`` carries a luminous
    reflectance, and of a ``named`` one each mark has a name where there are several; a mark of a kind with ``parts``
    may be called after the part it shows. The marker asks for ``wanted`` of them, with ``more`` as its hint after the
    first.
    """

    name: str
    label: str
    hint: str
    colour: str
    dash: str
    limit: int = 0
    required: bool = True
    reflects: bool = False
    named: bool = False
    parts: bool = False
    wanted: int = 1
    more: str = ""


CHECK_KINDS = (
    MarkKind(
        Kind.GREY.value,
        LABELS[Kind.GREY],
        "inside the grey reference, clear of its edge, of glare and of shadow",
        colour="#1c1c1c",
        dash="0.1 8",
        reflects=True,
    ),
    MarkKind(
        Kind.CARD.value,
        LABELS[Kind.CARD],
        "on the spray-out card, clear of its edge and of reflections",
        colour="#0a3f8f",
        dash="",
        limit=MOST_CARDS,
        named=True,
    ),
    MarkKind(
        Kind.VEHICLE.value,
        LABELS[Kind.VEHICLE],
        "on the car's paint, close to the card and in the same light",
        colour="#8a3200",
        dash="13 9",
        parts=True,
        wanted=2,
        more="Now the car's paint on the card's other side: light falls off across a panel, and only two sides show by "
        "how much. To go without, press Adjust.",
    ),
)


def two_places(*said: tuple[str, str, str]) -> tuple[MarkKind, MarkKind]:
    """Return two kinds, each for one place, told apart as the card and the car are; each has name, label and hint."""
    first, second = (
        MarkKind(*each, colour=like.colour, dash=like.dash, limit=1)
        for each, like in zip(said, CHECK_KINDS[1:], strict=True)
    )
    return first, second


@dataclass(frozen=True)
class Mark:
    """A rectangle in fractions (0 to 1) of the upright picture's width and height.

    ``reflectance`` is the luminous reflectance (0 to 1) of a grey reference, and None for any other kind; ``name`` is
    what a person calls one of several cards, or the part of the car that is shown.
    """

    kind: str
    x: float
    y: float
    width: float
    height: float
    reflectance: float | None = None
    name: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the mark as the browser receives it; an empty name is left out."""
        return {key: value for key, value in asdict(self).items() if key != "name" or value}


def read_marks(sent: object, kinds: Sequence[MarkKind], default_reflectance: float) -> list[Mark]:
    """Return the usable marks in what a browser sent; whatever is not a rectangle on the picture is left out."""
    if not isinstance(sent, Sequence) or isinstance(sent, str | bytes):
        return []
    known = {kind.name: kind for kind in kinds}
    read = (_read_mark(entry, known, default_reflectance) for entry in sent[:MOST_MARKS])
    return [mark for mark in read if mark is not None]


def _read_mark(entry: object, known: Mapping[str, MarkKind], default_reflectance: float) -> Mark | None:
    if not isinstance(entry, Mapping) or str(entry.get("kind")) not in known:
        return None
    kind = known[str(entry["kind"])]
    x, width = _inside(entry, "x", "width")
    y, height = _inside(entry, "y", "height")
    if width <= 0.0 or height <= 0.0:
        return None
    name = _name(entry) if kind.named or kind.parts else ""
    return Mark(kind.name, x, y, width, height, _reflectance(entry, kind, default_reflectance), name)


def _name(entry: Mapping[str, Any]) -> str:
    """Return the name sent with a mark; none where it is not one."""
    try:
        return checked_label(str(entry.get("name") or ""))
    except RegionError:
        return ""


def _inside(entry: Mapping[str, Any], start_name: str, length_name: str) -> tuple[float, float]:
    """Return start and length of the part between 0 and 1; the length is 0 where there is none."""
    start, length = _number(entry.get(start_name)), _number(entry.get(length_name))
    if start is None or length is None:
        return 0.0, 0.0
    if start >= 0.0 and start + length <= 1.0:
        return start, length
    first, last = max(start, 0.0), min(start + length, 1.0)
    return first, last - first


def _reflectance(entry: Mapping[str, Any], kind: MarkKind, default: float) -> float | None:
    if not kind.reflects:
        return None
    value = _number(entry.get("reflectance"))
    return value if value is not None and 0.01 <= value <= 1.0 else default


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value)


def to_region(mark: Mark, photo_width: int, photo_height: int) -> Region:
    """Return ``mark`` in whole pixels of a photo, inside it and at least the smallest measurable size."""
    x, width = _span(mark.x, mark.width, photo_width)
    y, height = _span(mark.y, mark.height, photo_height)
    return Region(Kind(mark.kind), x, y, width, height, mark.reflectance, mark.name)


def _span(start: float, length: float, total: int) -> tuple[int, int]:
    """Return first pixel and number of pixels; both edges are rounded, so that touching marks stay touching."""
    first, last = round(start * total), round((start + length) * total)
    size = min(max(last - first, MINIMUM_SIDE_PX), total)
    return min(max(first, 0), total - size), size


def to_regions(marks: Sequence[Mark], photo_width: int, photo_height: int) -> tuple[Region, ...]:
    """Return the marks whose kind the measurement knows as :class:`Region` pixels, in the given order."""
    measured = {kind.value for kind in Kind}
    return tuple(to_region(mark, photo_width, photo_height) for mark in marks if mark.kind in measured)


def from_region(region: Region, photo_width: int, photo_height: int) -> Mark:
    """Return ``region`` as fractions of a photo of the given size in pixels."""
    return Mark(
        region.kind.value,
        region.x / photo_width,
        region.y / photo_height,
        region.width / photo_width,
        region.height / photo_height,
        region.reflectance,
        region.label,
    )
