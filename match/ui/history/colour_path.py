"""The way of a colour's cards towards the car: in the a*b* plane and in lightness, numbered as in the chart (SVG)."""

from __future__ import annotations

import math
from collections.abc import Sequence

from match.history.records import CheckRow, Lab
from match.ui.history.colour_chart import counts, shown

WIDTH, HEIGHT = 420, 292
_X, _Y, _HALF, _BAR = 158.0, 140.0, 92.0, 352.0
_ASIDE = 20.0  # left and right by turns of the bar's middle, where the car sits
_INK, _PAPER = "#161616", "#f6f6f6"


def steps_of(checks: Sequence[CheckRow]) -> list[tuple[int, Lab]]:
    """Return (number in the chart, card minus car in CIELAB) of every check that is a measurement and still stands."""
    found = []
    for number, check in enumerate(shown(checks), start=1):
        if counts(check) and check.card_lab is not None and check.vehicle_lab is not None:
            lightness, a, b = (card - car for card, car in zip(check.card_lab, check.vehicle_lab, strict=True))
            found.append((number, (lightness, a, b)))
    return found


def path_picture(checks: Sequence[CheckRow]) -> str:
    """Return an SVG drawing with the car in the middle of the plane and of the lightness bar."""
    walked = steps_of(checks)
    reach = _reach(walked)
    unit = _HALF / reach
    plane = [(number, _X + a * unit, _Y - b * unit) for number, (_, a, b) in walked]
    bar = [(number, _BAR, _Y - lightness * unit) for number, (lightness, _, _) in walked]
    spread = [(number, x + _ASIDE * (-1) ** (place + 1), y) for place, (number, x, y) in enumerate(bar)]
    parts = [_plane(unit, reach), _bar(unit, reach), _line(plane), _line(spread), _car(_X, _Y), _car(_BAR, _Y)]
    parts += [_numbered(*place, place is plane[-1]) for place in plane]
    parts += [_numbered(*place, place is spread[-1]) for place in spread]
    parts.append(
        f'{_car(20, HEIGHT - 14)}<text x="33" y="{HEIGHT - 9}">car</text>'
        f'{_numbered(0, 84, HEIGHT - 14, True)}<text x="100" y="{HEIGHT - 9}">latest card</text>'
        f'<text x="{WIDTH - 8}" y="{HEIGHT - 9}" text-anchor="end">ring: {_ring(reach):g} CIELAB</text>'
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-size="14" '
        f'font-family="Source Sans, Helvetica, Arial, sans-serif" fill="{_INK}">{"".join(parts)}</svg>'
    )


def path_words(checks: Sequence[CheckRow]) -> str:
    """Say what the picture shows, for a reader who does not see it."""
    told = [
        f"{number}: {abs(lightness):.1f} {'lighter' if lightness >= 0 else 'darker'}, "
        f"{abs(a):.1f} {'redder' if a >= 0 else 'greener'}, {abs(b):.1f} {'yellower' if b >= 0 else 'bluer'}"
        for number, (lightness, a, b) in steps_of(checks)
    ]
    return "Each card against the car, in CIELAB units. " + "; ".join(told) + "."


def _reach(walked: Sequence[tuple[int, Lab]]) -> float:
    largest = max((abs(value) for _, delta in walked for value in delta), default=1.0)
    needed = 1.12 * largest
    return next(
        (float(step) for step in (1, 2, 3, 4, 5, 6, 8, 10, 15, 20, 30) if step >= needed), 10.0 * math.ceil(needed / 10)
    )


def _ring(reach: float) -> float:
    return next((step for step in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0) if reach / step <= 5), 50.0)


def _plane(unit: float, reach: float) -> str:
    left, right, top, bottom = _X - _HALF, _X + _HALF, _Y - _HALF, _Y + _HALF
    rings = "".join(
        f'<circle cx="{_X}" cy="{_Y}" r="{count * _ring(reach) * unit:.1f}" fill="none" stroke="#b0b0b0"/>'
        for count in range(1, int(reach / _ring(reach) + 1e-9) + 1)
    )
    return (
        f'<rect x="{left}" y="{top}" width="{2 * _HALF}" height="{2 * _HALF}" fill="{_PAPER}" stroke="#8a8a8a"/>{rings}'
        f'<path d="M{left} {_Y}H{right}M{_X} {top}V{bottom}" stroke="#6b6b6b"/>'
        f'<text x="{_X}" y="{top - 10}" text-anchor="middle">yellower</text>'
        f'<text x="{_X}" y="{bottom + 20}" text-anchor="middle">bluer</text>'
        f'<text x="{left - 8}" y="{_Y + 5}" text-anchor="end">greener</text>'
        f'<text x="{right + 8}" y="{_Y + 5}">redder</text>'
    )


def _bar(unit: float, reach: float) -> str:
    top, bottom, ring = _Y - _HALF, _Y + _HALF, _ring(reach)
    ticks = "".join(
        f"M{_BAR - 30} {_Y + sign * count * ring * unit:.1f}h60"
        for count in range(1, int(reach / ring + 1e-9) + 1)
        for sign in (-1, 1)
    )
    return (
        f'<rect x="{_BAR - 34}" y="{top}" width="68" height="{2 * _HALF}" fill="{_PAPER}" stroke="#8a8a8a"/>'
        f'<path d="{ticks}" stroke="#b0b0b0"/><path d="M{_BAR - 34} {_Y}h68" stroke="#6b6b6b"/>'
        f'<text x="{_BAR}" y="{top - 10}" text-anchor="middle">lighter</text>'
        f'<text x="{_BAR}" y="{bottom + 20}" text-anchor="middle">darker</text>'
    )


def _line(places: Sequence[tuple[int, float, float]]) -> str:
    if len(places) < 2:
        return ""
    path = "L".join(f"{x:.1f} {y:.1f}" for _, x, y in places)
    return f'<path d="M{path}" fill="none" stroke="{_INK}" stroke-width="2"/>'


def _car(x: float, y: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" fill="#fff" stroke="{_INK}" stroke-width="3"/>'


def _numbered(number: int, x: float, y: float, latest: bool) -> str:
    """Return a card's diamond with its number, dark for the latest."""
    fill, ink = (_INK, "#fff") if latest else (_PAPER, _INK)
    words = f'<text x="{x:.1f}" y="{y + 4:.1f}" font-size="11" font-weight="600" text-anchor="middle" fill="{ink}">'
    label = f"{words}{number}</text>" if number else ""
    return (
        f'<path d="M{x:.1f} {y - 12:.1f}l12 12-12 12-12-12z" fill="{fill}" stroke="{_INK}" stroke-width="1.5"/>{label}'
    )
