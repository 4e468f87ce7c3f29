"""The cards' path towards the car in the a*b* plane and in lightness, seen and predicted (SVG)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from match.colorimetry import Array
from match.svg import FRAME, INK, LabPlane, delta_words, diamond, ellipse, label, line, picture, ring, scale_end
from match.tint.foreseen import Foreseen
from match.tint.story import Story
from match.tint.story_words import cards_of

WIDTH, HEIGHT = 440, 312
_DEVIATIONS = 2.0
_WHITE = f'fill="#fff" stroke="{INK}" stroke-width="2"'
_MISS = 'stroke-width="1.5" stroke-dasharray="2 3"'


@dataclass(frozen=True, eq=False)
class Place:
    """One colour less the car, CIELAB (L*, a*, b*), with its covariance; a card that does not count is drawn grey."""

    words: str
    delta_lab: Array
    covariance: Array
    counts: bool = True


def story_places(story: Story, predictions: Sequence[Foreseen]) -> tuple[list[Place], list[Place | None]]:
    """Return a story's cards as places, and for each of them the place predicted before it was sprayed, if any."""
    by_card = {told.number: told for told in predictions}
    cards, predicted = list[Place](), list[Place | None]()
    for number, card in enumerate(cards_of(story), 1):
        cards.append(Place(f"card {number}", np.array(card.delta_lab), np.array(card.covariance), card.used))
        told = by_card.get(number)
        words = f"predicted for card {number}"
        predicted.append(Place(words, told.delta_lab, told.covariance) if told else None)
    return cards, predicted


def path_picture(cards: Sequence[Place], landing: Place | None, predicted: Sequence[Place | None] = ()) -> str:
    """Return an SVG of the cards in their order, from the car in the middle.

    Parameters
    ----------
    cards : as measured
    landing : where the next card should land
    predicted : for each card, where it should have landed
    """
    missed = [(number, place) for number, place in enumerate(predicted, 1) if place]
    shown = [*(place for _, place in missed), *cards, *([landing] if landing else [])]
    plane = LabPlane(_reach(shown), 24.0, 166.0, 146.0, 98.0, 372.0)
    counted = [card.delta_lab for card in cards if card.counts]
    parts = [plane.ground(), *(_doubt(plane, place) for place in shown[-2:])]
    parts += [line([to(delta) for delta in counted]) for to in (plane.at, plane.level)]
    if landing and counted:
        ends, look = (counted[-1], landing.delta_lab), 'stroke-width="2" stroke-dasharray="5 4"'
        parts += [line([to(delta) for delta in ends], look) for to in (plane.at, plane.level)]
    parts += [ring(plane.x0, plane.y0), ring(plane.bar_x, plane.y0)]
    for number, place in missed:
        for to in (plane.at, plane.level):
            parts.append(line([to(place.delta_lab), to(cards[number - 1].delta_lab)], _MISS))
            parts.append(diamond(*to(place.delta_lab), 9, _WHITE) + _number(to(place.delta_lab), number, INK))
    parts += [_card(plane, card, number) for number, card in enumerate(cards, 1)]
    if landing:
        parts += [diamond(*to(landing.delta_lab), 9, _WHITE) for to in (plane.at, plane.level)]
    return picture(WIDTH, HEIGHT, [*parts, _key(plane, _white_words(landing, bool(missed)))])


def path_words(cards: Sequence[Place], landing: Place | None, predicted: Sequence[Place | None] = ()) -> str:
    """Say what the picture shows, for a reader who does not see it."""
    places = [*cards, *(place for place in predicted if place), *([landing] if landing else [])]
    told = [f"{place.words}: {', '.join(delta_words(place.delta_lab))}" for place in places]
    return "From the car, in CIELAB units: " + "; ".join(told) + "."


def _reach(places: Sequence[Place]) -> float:
    """Return how many CIELAB units the drawing shows from its centre, so that everything fits in."""
    far = (np.abs(place.delta_lab) + _DEVIATIONS * np.sqrt(np.diag(place.covariance)) for place in places)
    return scale_end(1.05 * max(float(np.max(each)) for each in far))


def _doubt(plane: LabPlane, place: Place) -> str:
    """Return where the colour may lie: two standard deviations, turned as its covariance is."""
    (major, minor), turn = ellipse(np.asarray(place.covariance))
    level = math.sqrt(max(float(place.covariance[0, 0]), 0.0))
    return plane.doubt(place.delta_lab, (_DEVIATIONS * major, _DEVIATIONS * minor), turn, _DEVIATIONS * level)


def _card(plane: LabPlane, card: Place, number: int) -> str:
    look = f'fill="{INK if card.counts else FRAME}" stroke="#fff" stroke-width="1.5"'
    places = (plane.at(card.delta_lab), plane.level(card.delta_lab))
    return "".join(diamond(*place, 11, look) + _number(place, number, "#fff") for place in places)


def _number(place: tuple[float, float], number: int, ink: str) -> str:
    words = f'font-size="12" font-weight="700" fill="{ink}"'
    return label(place[0], place[1] + 4.5, number, "middle", words)


def _white_words(landing: Place | None, missed: bool) -> str:
    if landing is None:
        return "predicted" if missed else ""
    return "predicted; dashed: the next" if missed else "where the next should land"


def _key(plane: LabPlane, white_words: str) -> str:
    y = HEIGHT - 14.0
    white = diamond(146, y, 9, _WHITE) + label(160, y + 5, white_words)
    return (
        ring(16, y)
        + label(28, y + 5, "car")
        + diamond(76, y, 9)
        + label(90, y + 5, "cards")
        + (white if white_words else "")
        + label(WIDTH - 4, y + 5, f"ring: {plane.step:g}", "end")
    )
