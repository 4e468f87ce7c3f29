"""Where things lie on the demo photo, known from its scene: whether a box lies right, and the boxes that do."""

from collections.abc import Sequence
from dataclasses import replace
from enum import StrEnum

from match.photo.regions import Kind
from match.ui.marker.marks import Mark

USUAL_GREY = 0.18
"""The luminous reflectance that a grey's box starts with: of the photo's three patches, the one to tap."""

_SAME_GREY = 0.1
"""Engineering choice: a tenth; the greys on offer lie farther apart."""

_CLEAR = 0.4
"""Engineering choice: a card's or grey's own box, widened by this share on each side, covers all of the thing."""

_BESIDE = 1.0
"""Engineering choice: the car's paint to tap lies level with the card, within this many of its heights above or below;
a mirrored lamp and the wall lie farther."""


class BoxFault(StrEnum):
    """How a box lies wrong."""

    NOT_GREY = "not-grey"
    OTHER_GREY = "other-grey"
    NOT_CARD = "not-card"
    NOT_CAR = "not-car"


def fault_of(mark: Mark, places: Sequence[Mark]) -> BoxFault | None:
    """Return how a box lies wrong, judged by its middle; None where it lies right. ``places`` are the photo's own."""
    if mark.kind == Kind.GREY:
        there = [each for each in places if each.kind == Kind.GREY and _holds(each, mark)]
        if not there:
            return BoxFault.NOT_GREY
        return None if _is_same_grey(there[0], mark) else BoxFault.OTHER_GREY
    if mark.kind == Kind.CARD:
        return None if any(each.kind == Kind.CARD and _holds(each, mark) for each in places) else BoxFault.NOT_CARD
    things = [each for each in places if each.kind != Kind.VEHICLE]
    on_thing = any(_holds(each, mark, _CLEAR) for each in things)
    return BoxFault.NOT_CAR if on_thing or not _is_level(mark, places) else None


def first_fault(marks: Sequence[Mark], places: Sequence[Mark]) -> BoxFault | None:
    """Return how the first box that lies wrong does so."""
    return next((found for mark in marks if (found := fault_of(mark, places)) is not None), None)


def right_kinds(marks: Sequence[Mark], places: Sequence[Mark]) -> frozenset[Kind]:
    """Return the kinds of which a box lies right."""
    return frozenset(Kind(mark.kind) for mark in marks if fault_of(mark, places) is None)


def sides(marks: Sequence[Mark], places: Sequence[Mark]) -> int:
    """Return on how many sides of the card a box lies right on the car."""
    (card,) = (each for each in places if each.kind == Kind.CARD)
    on_car = [each for each in marks if each.kind == Kind.VEHICLE and fault_of(each, places) is None]
    return len({_middle(each)[0] > _middle(card)[0] for each in on_car})


def all_right(places: Sequence[Mark]) -> list[Mark]:
    """Return the boxes of a right check: the usual grey, the card, the car on both its sides."""
    return [each for each in places if each.kind != Kind.GREY or _is_same_grey(each, _USUAL)]


def with_right(marks: Sequence[Mark], kind: Kind, places: Sequence[Mark]) -> list[Mark]:
    """Return the boxes that lie right, and of this kind those of a right check."""
    kept = [each for each in marks if fault_of(each, places) is None and each.kind != kind]
    return [*kept, *(each for each in all_right(places) if each.kind == kind)]


def with_slip(places: Sequence[Mark]) -> list[Mark]:
    """Return the boxes of a right check, but the card's slid down onto the car."""
    return [
        replace(each, y=min(each.y + 1.2 * each.height, 1.0 - each.height)) if each.kind == Kind.CARD else each
        for each in all_right(places)
    ]


_USUAL = Mark(Kind.GREY.value, 0.0, 0.0, 1.0, 1.0, USUAL_GREY)


def _is_same_grey(one: Mark, other: Mark) -> bool:
    return abs((one.reflectance or 0.0) - (other.reflectance or 0.0)) <= _SAME_GREY * (one.reflectance or 1.0)


def _is_level(mark: Mark, places: Sequence[Mark]) -> bool:
    """Return whether the middle of a box lies about as high in the photo as the card."""
    (card,) = (each for each in places if each.kind == Kind.CARD)
    return abs(_middle(mark)[1] - _middle(card)[1]) <= (0.5 + _BESIDE) * card.height


def _middle(mark: Mark) -> tuple[float, float]:
    return mark.x + mark.width / 2, mark.y + mark.height / 2


def _holds(place: Mark, mark: Mark, more: float = 0.0) -> bool:
    """Return whether the middle of a box lies in a place, widened by this share of its sides."""
    (x, y), (wide, high) = _middle(mark), (more * place.width, more * place.height)
    across = place.x - wide <= x <= place.x + place.width + wide
    return across and place.y - high <= y <= place.y + place.height + high
