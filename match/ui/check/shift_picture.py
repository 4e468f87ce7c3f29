"""Which way the card is off: its place in the a*b* plane around the car, and its lightness beside it (SVG)."""

from __future__ import annotations

import math
from collections.abc import Sequence

from match.colorimetry import Array

Triple = Sequence[float] | Array
"""Three values in the order L*, a*, b*."""

WIDTH, HEIGHT = 420, 292
_CENTRE_X, _CENTRE_Y, _HALF = 158.0, 140.0, 92.0
_BAR_X = 352.0


def shift_picture(delta_lab: Triple, delta_lab_sd: Triple) -> str:
    """Return an SVG drawing of card minus car, CIELAB (L*, a*, b*), with two standard deviations around it."""
    reach = _reach(delta_lab, delta_lab_sd)
    unit = _HALF / reach
    lightness, a, b = (float(value) for value in delta_lab)
    sd_lightness, sd_a, sd_b = (float(value) for value in delta_lab_sd)
    x, y = _CENTRE_X + a * unit, _CENTRE_Y - b * unit
    bar_y = _CENTRE_Y - lightness * unit
    parts = [
        _plane(unit, reach),
        _cloud(x, y, 2 * sd_a * unit, 2 * sd_b * unit),
        _arrow(_CENTRE_X, _CENTRE_Y, x, y),
        _car(_CENTRE_X, _CENTRE_Y),
        _card(x, y),
        _lightness_axis(unit, reach),
        _spread(bar_y, 2 * sd_lightness * unit),
        _car(_BAR_X, _CENTRE_Y),
        _card(_BAR_X, bar_y),
        _key(reach),
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-size="14" '
        f'font-family="Source Sans, Helvetica, Arial, sans-serif" fill="#161616">{"".join(parts)}</svg>'
    )


def shift_words(delta_lab: Triple, delta_lab_sd: Triple) -> str:
    """Say what the picture shows, for a reader who does not see it."""
    names = (("lighter", "darker"), ("redder", "greener"), ("yellower", "bluer"))
    told = [
        f"{abs(value):.1f} {more if value >= 0 else less} (give or take {2 * sd:.1f})"
        for value, sd, (more, less) in zip(delta_lab, delta_lab_sd, names, strict=True)
    ]
    return "Card against car, in CIELAB units: " + ", ".join(told) + "."


def _reach(delta_lab: Triple, delta_lab_sd: Triple) -> float:
    """Return how many CIELAB units the drawing shows from its centre, so that card and uncertainty fit in."""
    largest = max(abs(float(value)) + 2 * float(sd) for value, sd in zip(delta_lab, delta_lab_sd, strict=True))
    for step in (1, 2, 3, 4, 5, 6, 8, 10, 15, 20, 30, 40):
        if step >= 1.05 * largest:
            return float(step)
    return float(10 * math.ceil(0.105 * largest))


def _plane(unit: float, reach: float) -> str:
    left, right = _CENTRE_X - _HALF, _CENTRE_X + _HALF
    top, bottom = _CENTRE_Y - _HALF, _CENTRE_Y + _HALF
    ring_step = _ring_step(reach)
    rings = "".join(
        f'<circle cx="{_CENTRE_X}" cy="{_CENTRE_Y}" r="{count * ring_step * unit:.1f}" fill="none" stroke="#b0b0b0"/>'
        for count in range(1, int(reach / ring_step) + 1)
    )
    return (
        f'<rect x="{left}" y="{top}" width="{2 * _HALF}" height="{2 * _HALF}" fill="#f6f6f6" stroke="#8a8a8a"/>{rings}'
        f'<path d="M{left} {_CENTRE_Y}H{right}M{_CENTRE_X} {top}V{bottom}" stroke="#6b6b6b"/>'
        f'<text x="{_CENTRE_X}" y="{top - 10}" text-anchor="middle">yellower</text>'
        f'<text x="{_CENTRE_X}" y="{bottom + 20}" text-anchor="middle">bluer</text>'
        f'<text x="{left - 8}" y="{_CENTRE_Y + 5}" text-anchor="end">greener</text>'
        f'<text x="{right + 8}" y="{_CENTRE_Y + 5}">redder</text>'
    )


def _ring_step(reach: float) -> float:
    return 1.0 if reach <= 6 else 2.0 if reach <= 10 else 5.0 if reach <= 20 else 10.0


def _lightness_axis(unit: float, reach: float) -> str:
    top, bottom = _CENTRE_Y - _HALF, _CENTRE_Y + _HALF
    step = _ring_step(reach)
    marks = "".join(
        f"M{_BAR_X - 9} {_CENTRE_Y + sign * count * step * unit:.1f}h18"
        for count in range(1, int(reach / step) + 1)
        for sign in (-1, 1)
    )
    return (
        f'<rect x="{_BAR_X - 17}" y="{top}" width="34" height="{2 * _HALF}" fill="#f6f6f6" stroke="#8a8a8a"/>'
        f'<path d="{marks}" stroke="#b0b0b0"/><path d="M{_BAR_X - 17} {_CENTRE_Y}h34" stroke="#6b6b6b"/>'
        f'<text x="{_BAR_X}" y="{top - 10}" text-anchor="middle">lighter</text>'
        f'<text x="{_BAR_X}" y="{bottom + 20}" text-anchor="middle">darker</text>'
    )


def _cloud(x: float, y: float, radius_x: float, radius_y: float) -> str:
    return (
        f'<ellipse cx="{x:.1f}" cy="{y:.1f}" rx="{radius_x:.1f}" ry="{radius_y:.1f}" fill="#161616" '
        'fill-opacity="0.10" stroke="#161616" stroke-width="1.5" stroke-dasharray="4 3"/>'
    )


def _spread(y: float, half: float) -> str:
    return (
        f'<rect x="{_BAR_X - 11}" y="{y - half:.1f}" width="22" height="{2 * half:.1f}" fill="#161616" '
        'fill-opacity="0.10" stroke="#161616" stroke-width="1.5" stroke-dasharray="4 3"/>'
    )


def _arrow(x1: float, y1: float, x2: float, y2: float) -> str:
    if math.hypot(x2 - x1, y2 - y1) < 16:
        return ""
    return f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" stroke="#161616" stroke-width="2.5"/>'


def _car(x: float, y: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" fill="#fff" stroke="#161616" stroke-width="3"/>'


def _card(x: float, y: float) -> str:
    return f'<path d="M{x:.1f} {y - 9:.1f}l9 9-9 9-9-9z" fill="#161616" stroke="#fff" stroke-width="2"/>'


def _key(reach: float) -> str:
    y = HEIGHT - 14.0
    return (
        f'{_car(20, y)}<text x="33" y="{y + 5}">car</text>{_card(78, y)}<text x="92" y="{y + 5}">card</text>'
        f'<rect x="138" y="{y - 7}" width="16" height="14" fill="#161616" fill-opacity="0.10" stroke="#161616" '
        f'stroke-dasharray="4 3"/><text x="160" y="{y + 5}">where the card may lie</text>'
        f'<text x="{WIDTH - 8}" y="{y + 5}" text-anchor="end">ring: {_ring_step(reach):g}</text>'
    )
