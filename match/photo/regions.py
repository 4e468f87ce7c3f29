"""Where to look: rectangles in pixels of the upright photo, and what each one shows."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from match.errors import RegionError
from match.words import shown

MINIMUM_SIDE_PX = 12
"""Engineering choice: below this a JPEG's 8 x 8 blocks, not the paint, decide the colour."""

WIDEST_PX = 1_000_000
"""Engineering choice: no photo is a million pixels wide, so a larger number is a slip."""

MOST_CARDS = 6
"""Engineering choice: more cards do not fit beside the car in the light of one grey."""

LONGEST_LABEL = 40
"""Engineering choice, characters: a name stands in sentences and under swatches."""

_TEXT = re.compile(r"^\s*(-?\d+)\s*,\s*(-?\d+)\s*,\s*(-?\d+)\s*,\s*(-?\d+)\s*(?:@\s*([^\s=]+)\s*)?(?:=\s*(.*?)\s*)?$")


class Kind(StrEnum):
    """What a region shows."""

    GREY = "grey"
    CARD = "card"
    VEHICLE = "vehicle"


EVERY_QUESTION = "every-question"
"""What was answered where a file says only that somebody looked, as all did before the question was kept with it."""

LABELS = {Kind.GREY: "Grey", Kind.CARD: "Card", Kind.VEHICLE: "Car"}
"""What a box of each kind is called on the photo."""


@dataclass(frozen=True)
class Region:
    """A rectangle in pixels of the upright photo.

    ``reflectance`` is the luminous reflectance (0 to 1) of a grey patch, and None for any other kind; ``label`` is what
    a person calls the card, empty where there is no other or nothing was said. Car paint with a label is that of a part
    with a colour of its own: a bumper cover, a door painted before.
    ``sure`` are the questions, by their codes, to which a person who looked answered that the mark is right.
    """

    kind: Kind
    x: int
    y: int
    width: int
    height: int
    reflectance: float | None = None
    label: str = ""
    sure: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The region as a person would point it out."""
        if self.label:
            return f"the {self.kind.value} {self.label} at {self.x},{self.y}"
        return f"the {self.kind.value} region at {self.x},{self.y}"

    @property
    def unsaid(self) -> Region:
        """The region without a person's word on it: where it lies and what it is said to be."""
        return replace(self, sure=())

    @property
    def claim(self) -> str:
        """What a word on the region was given on, as files hold it: its kind, and the rest as the command line does."""
        told = "" if self.reflectance is None else f"@{self.reflectance:.12g}"
        name = f"={self.label}" if self.is_part else ""
        return f"{self.kind.value} {self.x},{self.y},{self.width},{self.height}{told}{name}"

    def answers(self, question: str) -> bool:
        """Return whether a person's word on the region answers a question of this code."""
        return question in self.sure or EVERY_QUESTION in self.sure

    @property
    def is_part(self) -> bool:
        """Whether it shows a named part, and not the car's own paint that the card is judged against."""
        return self.kind is Kind.VEHICLE and bool(self.label)

    def scaled(self, scale: float, size_px: tuple[int, int]) -> Region:
        """Return the region in a picture ``scale`` times as large, inside its width and height ``size_px``."""
        x, y = int(self.x * scale), int(self.y * scale)
        width, height = (int(side * scale) for side in (self.width, self.height))
        return replace(self, x=x, y=y, width=min(width, size_px[0] - x), height=min(height, size_px[1] - y))

    def overlaps(self, other: Region) -> bool:
        """Return whether the two rectangles share at least one pixel."""
        return (
            self.x < other.x + other.width
            and other.x < self.x + self.width
            and self.y < other.y + other.height
            and other.y < self.y + self.height
        )


def parse_region(kind: Kind, text: str, default_reflectance: float, named: Mapping[str, float] | None = None) -> Region:
    """Read ``X,Y,W,H``, with ``@REFLECTANCE`` (0.18, 18%, a name of ``named``) for a grey, ``=NAME`` for any other.

    Raises :class:`RegionError` when it is not such a text.
    """
    found = _TEXT.match(text)
    if not found:
        raise RegionError(
            f"the {kind.value} region {text!r} is not X,Y,W,H in whole pixels, for example 120,80,200,150"
        )
    x, y, width, height = (int(group) for group in found.groups()[:4])
    if found.group(6) is not None and kind is Kind.GREY:
        raise RegionError(f"the {kind.value} region {text!r} has a name: only a card or a part of the car takes one")
    if kind is not Kind.GREY:
        if found.group(5):
            raise RegionError(f"the {kind.value} region {text!r} has a reflectance: only a grey region takes one")
        return Region(kind, x, y, width, height, label=checked_label(found.group(6) or "", kind))
    told = found.group(5)
    known = (named or {}).get(told or "")
    reflectance = known or (parse_reflectance(told) if told else default_reflectance)
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


def checked_label(label: str, kind: Kind = Kind.CARD) -> str:
    """Return what a card or a part is called, without outer blanks, if a sentence can hold it; else raise."""
    label = label.strip()
    if len(label) > LONGEST_LABEL or not label.isprintable():
        raise RegionError(
            f"the {'card' if kind is Kind.CARD else 'part'}'s name {shown(label)} cannot be used: give it up to "
            f"{LONGEST_LABEL} plain characters"
        )
    return label


def cards_in(regions: Sequence[Region]) -> tuple[Region, ...]:
    """Return the cards as they lie in the photo: row by row, each from left to right.

    A card whose middle lies below the lower edge of the row's first card begins another row.
    """
    rows: list[list[Region]] = []
    for card in sorted((r for r in regions if r.kind is Kind.CARD), key=lambda r: 2 * r.y + r.height):
        if rows and 2 * card.y + card.height < 2 * (rows[-1][0].y + rows[-1][0].height):
            rows[-1].append(card)
        else:
            rows.append([card])
    return tuple(card for row in rows for card in sorted(row, key=lambda r: r.x))


def named_cards(regions: Sequence[Region]) -> tuple[Region, ...]:
    """Return the regions with a name for each of several cards; one without takes the number of its place.

    Raises :class:`RegionError` when there are more than :data:`MOST_CARDS`, or two have one name.
    """
    cards = cards_in(regions)
    if len(cards) > MOST_CARDS:
        raise RegionError(f"{len(cards)} card regions are marked: mark up to {MOST_CARDS} in one photo")
    if len(cards) < 2:
        return tuple(regions)
    names = {id(card): card.label or f"Card {place}" for place, card in enumerate(cards, start=1)}
    for name in names.values():
        if (count := list(names.values()).count(name)) > 1:
            raise RegionError(f"{count} cards are called {name}: give each card its own name")
    return tuple(replace(r, label=names[id(r)]) if r.kind is Kind.CARD else r for r in regions)


def without_parts(regions: Sequence[Region]) -> tuple[Region, ...]:
    """Return the regions that the card is judged by: without those of named parts."""
    return tuple(region for region in regions if not region.is_part)


def parts_in(regions: Sequence[Region]) -> tuple[str, ...]:
    """Return the names of the marked parts, in the order of their first marks."""
    return tuple(dict.fromkeys(region.label for region in regions if region.is_part))


def of_one_card(regions: Sequence[Region], card: Region) -> tuple[Region, ...]:
    """Return the regions without the other cards."""
    return tuple(region for region in regions if region.kind is not Kind.CARD or region == card)


def card_named(regions: Sequence[Region], name: str) -> Region:
    """Return the card of this name, raising :class:`RegionError` with the names that there are."""
    cards = cards_in(regions)
    for card in cards:
        if card.label == name:
            return card
    known = ", ".join(card.label for card in cards if card.label) or "no card has a name"
    raise RegionError(f"no card is called {shown(name)} ({known}): correct the name")


def check_regions(
    regions: Sequence[Region],
    photo_width: int,
    photo_height: int,
    needed: Sequence[Kind] = tuple(Kind),
    most_cards: int = 1,
) -> None:
    """Raise :class:`RegionError` for a ``needed`` region that is missing, or any outside, too small or overlapping.

    Of the vehicle, a region of the car's own paint is needed, without a name.
    """
    for kind, what in ((Kind.GREY, "grey reference"), (Kind.CARD, "spray-out card"), (Kind.VEHICLE, "vehicle")):
        count = sum(region.kind is kind for region in regions)
        if count == 0 and kind in needed:
            raise RegionError(f"no {kind.value} region is marked: mark the {what} on the photo")
        if kind is Kind.CARD and count > most_cards:
            most = "one" if most_cards == 1 else f"up to {most_cards}"
            raise RegionError(f"{count} card regions are marked: mark {most} in one photo")
    if Kind.VEHICLE in needed and all(region.is_part for region in regions if region.kind is Kind.VEHICLE):
        raise RegionError(
            "every mark on the car has the name of a part: leave the name out where the card is to be judged"
        )
    for region in regions:
        if region.width < MINIMUM_SIDE_PX or region.height < MINIMUM_SIDE_PX:
            raise _too_small(region)
        inside = region.x >= 0 and region.y >= 0
        if not inside or region.x + region.width > photo_width or region.y + region.height > photo_height:
            raise _outside(region, photo_width, photo_height)
    for index, region in enumerate(regions):
        for other in regions[index + 1 :]:
            one_paint = region.kind is other.kind is Kind.VEHICLE and region.label == other.label
            if region.overlaps(other) and not one_paint:
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
