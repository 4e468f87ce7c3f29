"""Marks read from the photo itself, for a person to accept or move: by the capture sheet, else by the picture."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Self

from match.measure.words import SURE_SD
from match.photo.found_marks import find_marks
from match.photo.load import Photo
from match.photo.proposals.propose import merge
from match.photo.regions import Kind
from match.photo.sheet.detect import SheetReading
from match.ui.marker.marks import Mark, from_region, to_regions
from match.words import listed

_NAMES = {Kind.GREY: "a grey reference", Kind.CARD: "a card", Kind.VEHICLE: "the car's paint beside it"}


class Source(StrEnum):
    """Where a photo's first marks came from."""

    HAND = "hand"
    SHEET = "sheet"
    PICTURE = "picture"
    CARRIED = "carried"
    NOTHING = "nothing"


@dataclass(frozen=True)
class Start:
    """The first marks of a photo: where from, what to say of them, and whether they still wait to be accepted."""

    source: Source
    sentences: tuple[str, ...] = ()
    pending: bool = False

    def accepted(self) -> Self:
        """Return the same, accepted."""
        return replace(self, pending=False)


@dataclass(frozen=True)
class FirstMarks:
    """What was found, and the marks in fractions of the picture."""

    start: Start
    marks: tuple[Mark, ...] = ()


def first_marks(photo: Photo, grey_reflectance: float) -> FirstMarks:
    """Look for the capture sheet, then for a card, paint and a grey that can be told from the rest.

    ``grey_reflectance`` (0 to 1) is the luminous reflectance that a found grey is taken to have.
    """
    found = find_marks(photo, (grey_reflectance,))
    marks = tuple(from_region(region, photo.width, photo.height) for region in found.regions)
    if found.sheet is not None:
        return FirstMarks(Start(Source.SHEET, (_sheet_words(found.sheet), *found.notes), bool(marks)), marks)
    no_sheet, *lacking = found.notes
    partly = (no_sheet,) if found.saw_sheet else ()
    if not marks:
        words = "No capture sheet is in the photo, and card and grey cannot be told from the rest: mark them by hand."
        return FirstMarks(Start(Source.NOTHING, partly or (words,)))
    kinds = {region.kind for region in found.regions}
    names = [_NAMES[kind] for kind in (Kind.CARD, Kind.VEHICLE, Kind.GREY) if kind in kinds]
    words = f"No capture sheet is in the photo. From the picture itself: {listed(names)}."
    if Kind.GREY in kinds:
        words += f" The grey is taken as {grey_reflectance * 100:g} %: tap its box to say otherwise."
    return FirstMarks(Start(Source.PICTURE, (*(partly or (words,)), *lacking), True), marks)


def carried(marks: Sequence[Mark]) -> FirstMarks:
    """Return the marks of an earlier photo as a starting point for the next one."""
    words = "The boxes are where they were on the first photo. Drag each onto its place here."
    return FirstMarks(Start(Source.CARRIED, (words,), True), tuple(marks))


def joined(by_hand: Sequence[Mark], found: FirstMarks, width_px: int, height_px: int) -> FirstMarks:
    """Return the found marks beside those made by hand, of which none is changed."""
    hand = to_regions(by_hand, width_px, height_px)
    both = merge(hand, to_regions(found.marks, width_px, height_px))
    added = tuple(from_region(region, width_px, height_px) for region in both[len(hand) :])
    return replace(found, start=replace(found.start, pending=bool(added)), marks=(*by_hand, *added))


def _sheet_words(reading: SheetReading) -> str:
    return (
        f"The capture sheet was found: a pixel of the photo is {reading.mm_per_px:.2g} mm on the card, and the camera "
        f"was tilted by {reading.tilt_deg:.0f}° (give or take {max(SURE_SD * reading.tilt_sd_deg, 1.0):.0f}°)."
    )
