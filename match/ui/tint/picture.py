"""The cards' path towards the car: in the a*b* plane and in lightness, with where the next card should land (SVG)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from match.svg import FRAME, INK, LabPlane, delta_words, diamond, label, line, picture, ring, scale_end
from match.tint.pigment import Floats

WIDTH, HEIGHT = 440, 312
_DEVIATIONS = 2.0
_WHITE = f'fill="#fff" stroke="{INK}" stroke-width="2"'


@dataclass(frozen=True, eq=False)
class Place:
    """One colour less the car, CIELAB (L*, a*, b*), with its covariance; a card that does not count is drawn grey."""

    words: str
    delta_lab: Floats
    covariance: Floats
    counts: bool = True


def path_picture(cards: Sequence[Place], landing: Place | None) -> str:
    """Return an SVG of the cards in their order, from the car in the middle, and of where the next should land."""
    shown = [*cards, *([landing] if landing else [])]
    plane = LabPlane(_reach(shown), 24.0, 166.0, 146.0, 98.0, 372.0)
    counted = [card.delta_lab for card in cards if card.counts]
    parts = [plane.ground(), *(_doubt(plane, place) for place in shown[-2:])]
    parts += [line([to(delta) for delta in counted]) for to in (plane.at, plane.level)]
    if landing and counted:
        ends, look = (counted[-1], landing.delta_lab), 'stroke-width="2" stroke-dasharray="5 4"'
        parts += [line([to(delta) for delta in ends], look) for to in (plane.at, plane.level)]
    parts += [ring(plane.x0, plane.y0), ring(plane.bar_x, plane.y0)]
    parts += [_card(plane, card, number) for number, card in enumerate(cards, 1)]
    if landing:
        parts += [diamond(*to(landing.delta_lab), 9, _WHITE) for to in (plane.at, plane.level)]
    return picture(WIDTH, HEIGHT, [*parts, _key(plane, landing is not None)])


def path_words(cards: Sequence[Place], landing: Place | None) -> str:
    """Say what the picture shows, for a reader who does not see it."""
    places = [*cards, *([landing] if landing else [])]
    told = [f"{place.words}: {', '.join(delta_words(place.delta_lab))}" for place in places]
    return "From the car, in CIELAB units: " + "; ".join(told) + "."


def _reach(places: Sequence[Place]) -> float:
    """Return how many CIELAB units the drawing shows from its centre, so that everything fits in."""
    far = (np.abs(place.delta_lab) + _DEVIATIONS * np.sqrt(np.diag(place.covariance)) for place in places)
    return scale_end(1.05 * max(float(np.max(each)) for each in far))


def _doubt(plane: LabPlane, place: Place) -> str:
    """Return where the colour may lie: two standard deviations, turned as its covariance is."""
    variances, axes = np.linalg.eigh(np.asarray(place.covariance)[1:, 1:])
    minor, major, level = (_DEVIATIONS * math.sqrt(max(float(v), 0.0)) for v in (*variances, place.covariance[0, 0]))
    turn = -math.degrees(math.atan2(float(axes[1, 1]), float(axes[0, 1])))
    return plane.doubt(place.delta_lab, (major, minor), turn, level)


def _card(plane: LabPlane, card: Place, number: int) -> str:
    look = f'fill="{INK if card.counts else FRAME}" stroke="#fff" stroke-width="1.5"'
    places = (plane.at(card.delta_lab), plane.level(card.delta_lab))
    words = 'font-size="12" font-weight="700" fill="#fff"'
    return "".join(diamond(x, y, 11, look) + label(x, y + 4.5, number, "middle", words) for x, y in places)


def _key(plane: LabPlane, with_landing: bool) -> str:
    y = HEIGHT - 14.0
    white = diamond(146, y, 9, _WHITE) + label(160, y + 5, "where the next should land")
    return (
        ring(16, y)
        + label(28, y + 5, "car")
        + diamond(76, y, 9)
        + label(90, y + 5, "cards")
        + (white if with_landing else "")
        + label(WIDTH - 4, y + 5, f"ring: {plane.step:g}", "end")
    )
