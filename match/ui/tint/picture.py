"""The cards' path towards the car: in the a*b* plane and in lightness, with where the next card should land (SVG)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from match.tint.pigment import Floats

WIDTH, HEIGHT = 440, 312
_X, _Y, _HALF = 166.0, 146.0, 98.0
_BAR_X = 372.0
_DEVIATIONS = 2.0
REACHES = (1, 2, 3, 4, 5, 6, 8, 10, 15, 20, 30, 40, 60, 80, 120)


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
    reach = _reach(shown)
    unit = _HALF / reach
    parts = [_plane(unit, reach), _lightness(unit, reach)]
    parts += [_ellipse(place, unit) for place in shown[-2:]]
    counted = [card for card in cards if card.counts]
    parts += [_line(one, other, unit, "") for one, other in pairwise(counted)]
    if landing and counted:
        parts.append(_line(counted[-1], landing, unit, 'stroke-dasharray="5 4"'))
    parts.append(_car(_X, _Y) + _car(_BAR_X, _Y))
    parts += [_card(card, number, unit) for number, card in enumerate(cards, 1)]
    parts += [_landing(landing, unit)] if landing else []
    parts.append(_key(reach, landing is not None))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-size="14" '
        f'font-family="Source Sans, Helvetica, Arial, sans-serif" fill="#161616">{"".join(parts)}</svg>'
    )


def path_words(cards: Sequence[Place], landing: Place | None) -> str:
    """Say what the picture shows, for a reader who does not see it."""
    told = [f"{place.words}: {_offset(place)}" for place in [*cards, *([landing] if landing else [])]]
    return "From the car, in CIELAB units: " + "; ".join(told) + "."


def _offset(place: Place) -> str:
    names = (("lighter", "darker"), ("redder", "greener"), ("yellower", "bluer"))
    return ", ".join(
        f"{abs(float(value)):.1f} {more if value >= 0 else less}"
        for value, (more, less) in zip(place.delta_lab, names, strict=True)
    )


def _reach(places: Sequence[Place]) -> float:
    """Return how many CIELAB units the drawing shows from its centre, so that everything fits in."""
    largest = max(
        float(np.max(np.abs(place.delta_lab) + _DEVIATIONS * np.sqrt(np.diag(place.covariance)))) for place in places
    )
    return float(next((step for step in REACHES if step >= 1.05 * largest), 10 * math.ceil(0.105 * largest)))


def _ring_step(reach: float) -> float:
    return 1.0 if reach <= 6 else 2.0 if reach <= 10 else 5.0 if reach <= 20 else 10.0


def _plane(unit: float, reach: float) -> str:
    left, right, top, bottom = _X - _HALF, _X + _HALF, _Y - _HALF, _Y + _HALF
    step = _ring_step(reach)
    rings = "".join(
        f'<circle cx="{_X}" cy="{_Y}" r="{count * step * unit:.1f}" fill="none" stroke="#b0b0b0"/>'
        for count in range(1, int(reach / step) + 1)
    )
    return (
        f'<rect x="{left}" y="{top}" width="{2 * _HALF}" height="{2 * _HALF}" fill="#f6f6f6" stroke="#8a8a8a"/>{rings}'
        f'<path d="M{left} {_Y}H{right}M{_X} {top}V{bottom}" stroke="#6b6b6b"/>'
        f'<text x="{_X}" y="{top - 10}" text-anchor="middle">yellower</text>'
        f'<text x="{_X}" y="{bottom + 20}" text-anchor="middle">bluer</text>'
        f'<text x="{left - 8}" y="{_Y + 5}" text-anchor="end">greener</text>'
        f'<text x="{right + 8}" y="{_Y + 5}">redder</text>'
    )


def _lightness(unit: float, reach: float) -> str:
    top, bottom, step = _Y - _HALF, _Y + _HALF, _ring_step(reach)
    marks = "".join(
        f"M{_BAR_X - 12} {_Y + sign * count * step * unit:.1f}h24"
        for count in range(1, int(reach / step) + 1)
        for sign in (-1, 1)
    )
    return (
        f'<rect x="{_BAR_X - 24}" y="{top}" width="48" height="{2 * _HALF}" fill="#f6f6f6" stroke="#8a8a8a"/>'
        f'<path d="{marks}" stroke="#b0b0b0"/><path d="M{_BAR_X - 24} {_Y}h48" stroke="#6b6b6b"/>'
        f'<text x="{_BAR_X}" y="{top - 10}" text-anchor="middle">lighter</text>'
        f'<text x="{_BAR_X}" y="{bottom + 20}" text-anchor="middle">darker</text>'
    )


def _at(place: Place, unit: float) -> tuple[float, float, float]:
    """Return x and y in the plane, and y in the bar."""
    lightness, a, b = (float(value) for value in place.delta_lab)
    return _X + a * unit, _Y - b * unit, _Y - lightness * unit


def _ellipse(place: Place, unit: float) -> str:
    """Return where the colour may lie: two standard deviations, turned as its covariance is."""
    x, y, bar_y = _at(place, unit)
    variances, axes = np.linalg.eigh(np.asarray(place.covariance)[1:, 1:])
    major, minor = (_DEVIATIONS * unit * math.sqrt(max(float(v), 0.0)) for v in (variances[1], variances[0]))
    turn = -math.degrees(math.atan2(float(axes[1, 1]), float(axes[0, 1])))
    half = _DEVIATIONS * unit * math.sqrt(max(float(place.covariance[0, 0]), 0.0))
    look = 'fill="#161616" fill-opacity="0.09" stroke="#161616" stroke-dasharray="4 3"'
    return (
        f'<ellipse cx="{x:.1f}" cy="{y:.1f}" rx="{major:.1f}" ry="{minor:.1f}" '
        f'transform="rotate({turn:.1f} {x:.1f} {y:.1f})" {look}/>'
        f'<rect x="{_BAR_X - 14}" y="{bar_y - half:.1f}" width="28" height="{2 * half:.1f}" {look}/>'
    )


def _line(one: Place, other: Place, unit: float, dashes: str) -> str:
    (x1, y1, bar1), (x2, y2, bar2) = _at(one, unit), _at(other, unit)
    return (
        f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}M{_BAR_X} {bar1:.1f}V{bar2:.1f}" fill="none" stroke="#161616" '
        f'stroke-width="2" {dashes}/>'
    )


def _car(x: float, y: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" fill="#fff" stroke="#161616" stroke-width="3"/>'


def _card(card: Place, number: int, unit: float) -> str:
    x, y, bar_y = _at(card, unit)
    ink = "#161616" if card.counts else "#8a8a8a"
    return "".join(
        f'<path d="M{at_x:.1f} {at_y - 11:.1f}l11 11-11 11-11-11z" fill="{ink}" stroke="#fff" stroke-width="1.5"/>'
        f'<text x="{at_x:.1f}" y="{at_y + 4.5:.1f}" text-anchor="middle" font-size="12" font-weight="700" fill="#fff">'
        f"{number}</text>"
        for at_x, at_y in ((x, y), (_BAR_X, bar_y))
    )


def _landing(landing: Place, unit: float) -> str:
    x, y, bar_y = _at(landing, unit)
    return "".join(
        f'<path d="M{at_x:.1f} {at_y - 9:.1f}l9 9-9 9-9-9z" fill="#fff" stroke="#161616" stroke-width="2"/>'
        for at_x, at_y in ((x, y), (_BAR_X, bar_y))
    )


def _key(reach: float, with_landing: bool) -> str:
    y = HEIGHT - 14.0
    black = f'<path d="M76 {y - 9}l9 9-9 9-9-9z" fill="#161616"/><text x="90" y="{y + 5}">cards</text>'
    white = (
        f'<path d="M146 {y - 9}l9 9-9 9-9-9z" fill="#fff" stroke="#161616" stroke-width="2"/>'
        f'<text x="160" y="{y + 5}">where the next should land</text>'
    )
    return (
        f'{_car(16, y)}<text x="28" y="{y + 5}">car</text>{black}{white if with_landing else ""}'
        f'<text x="{WIDTH - 4}" y="{y + 5}" text-anchor="end">ring: {_ring_step(reach):g}</text>'
    )
