"""Several cards around the car: their places in the a*b* plane, and their lightness beside it (SVG)."""

import numpy as np

from match.check.cards import CardsAnswer, CheckedCard
from match.measure.words import SURE_SD
from match.svg import DOUBT, INK, PAPER, LabPlane, delta_words, diamond, ellipse, label, picture, ring, scale_end

WIDTH, HEIGHT = 420, 292
_BAR_HALF = 44.0
_PLANE_SD = 2.448
"""Standard deviations that hold 95 % of a normal distribution in a plane (chi-square, 2 freedoms)."""


def cards_picture(answer: CardsAnswer) -> str:
    """Return an SVG drawing; each card has the number of its place in the photo, the one in front is filled."""
    shown = _shown(answer)
    reach = max((abs(v) + _PLANE_SD * sd for _, card in shown for v, sd in zip(*_off(card), strict=True)), default=1.0)
    plane = LabPlane(scale_end(1.05 * reach), _BAR_HALF)
    parts = [plane.ground()]
    for index, (_, card) in enumerate(shown):
        half, turn, level = _ellipse(card)
        parts.append(plane.doubt(card.result.delta_lab, half, turn, 0.0))
        parts.append(_stretch(plane, _aside(index, len(shown)), card, level))
    for index, (place, card) in enumerate(shown):
        front = card is answer.front_card
        x, y = plane.level(card.result.delta_lab)
        parts.append(_numbered(*plane.at(card.result.delta_lab), place, front))
        parts.append(_numbered(x + _aside(index, len(shown)), y, place, front))
    y = HEIGHT - 14.0
    parts += [
        ring(20, y),
        label(33, y + 5, "car"),
        diamond(78, y, 9, _look(front=False)),
        label(92, y + 5, "a card by its number"),
        label(WIDTH - 8, y + 5, f"ring: {plane.step:g}", "end"),
    ]
    return picture(WIDTH, HEIGHT, parts)


def cards_words(answer: CardsAnswer) -> str:
    """Say what the picture shows, for a reader who does not see it."""
    told = [f"{card.name}: {', '.join(delta_words(card.result.delta_lab))}" for _, card in _shown(answer)]
    return "The cards against the car, in CIELAB units: " + "; ".join(told) + "."


def _shown(answer: CardsAnswer) -> list[tuple[int, CheckedCard]]:
    return [(place, card) for place, card in enumerate(answer.cards, start=1) if card.result.figures_hold]


def _off(card: CheckedCard) -> tuple[tuple[float, ...], tuple[float, ...]]:
    return card.result.delta_lab, tuple(float(sd) for sd in card.result.measurement.delta_lab_sd)


def _ellipse(card: CheckedCard) -> tuple[tuple[float, float], float, float]:
    """Return half axes (CIELAB) and turn (degrees, clockwise on the screen) in a*b*, and half the stretch of L*."""
    draws = card.result.measurement.draws
    spread = np.cov((draws.card_lab - draws.vehicle_lab).T)
    (wide, tall), turn = ellipse(spread)
    return (_PLANE_SD * wide, _PLANE_SD * tall), turn, SURE_SD * float(np.sqrt(spread[0, 0]))


def _aside(index: int, count: int) -> float:
    """Return how far from the bar's middle a card stands in it, so that none hides another."""
    return (2.0 * (index + 0.5) / count - 1.0) * (_BAR_HALF - 2.0)


def _stretch(plane: LabPlane, aside: float, card: CheckedCard, level: float) -> str:
    x, y = plane.level(card.result.delta_lab)
    half = level * plane.unit
    return f'<rect x="{x + aside - 5:.1f}" y="{y - half:.1f}" width="10" height="{2 * half:.1f}" {DOUBT}/>'


def _look(front: bool) -> str:
    return f'fill="{INK if front else PAPER}" stroke="{PAPER if front else INK}" stroke-width="2"'


def _numbered(x: float, y: float, place: int, front: bool) -> str:
    ink = PAPER if front else INK
    return diamond(x, y, 12, _look(front)) + label(x, y + 4.5, place, "middle", f'fill="{ink}" font-size="13"')
