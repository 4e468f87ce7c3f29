"""The let-down card as a curve: how far card and car are apart over the number of mid-coats, angle by angle (SVG)."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from match.check.verdict import Thresholds
from match.coats.let_down import NearestCoats
from match.several.photo_set import Angle
from match.several.travel import ANGLE_NOUNS
from match.svg import GRID, INK, PAPER, label, picture, ticks

WIDTH, HEIGHT = 360, 296
_LEFT, _RIGHT, _TOP, _BOTTOM = 34.0, 350.0, 24.0, 206.0
_DASHES = {Angle.NEAR_GLARE: "2 4", Angle.FACE: "none", Angle.FLOP: "9 5"}
_MARKS = {Angle.NEAR_GLARE: "M-7 6L0 -7L7 6z", Angle.FACE: "M0 -8L8 0L0 8L-8 0z", Angle.FLOP: "M-6 -6H6V6H-6z"}


@dataclass(frozen=True)
class _Scale:
    """Where coats and differences lie on the drawing."""

    first: float
    last: float
    end: float

    def x(self, coats: float) -> float:
        return _LEFT + 14 + (coats - self.first) / (self.last - self.first) * (_RIGHT - _LEFT - 28)

    def y(self, size: float) -> float:
        return _BOTTOM - min(size, self.end) / self.end * (_BOTTOM - _TOP)


def let_down_picture(result: NearestCoats, limits: Thresholds) -> str:
    """Return an SVG drawing, 360 wide: curves, measured steps, the best number of coats and the limit for *go*."""
    scale = _Scale(result.steps[0], result.steps[-1], _end(result, limits))
    parts = [_axes(result, scale), _best(result, scale), _limit(limits.go_below, scale)]
    for angle, curve in result.curves.items():
        every = range(0, len(curve), max(1, len(curve) // 60))
        places = (f"{scale.x(float(result.curve_coats[i])):.1f} {scale.y(float(curve[i])):.1f}" for i in every)
        parts.append(_line(angle, "M" + "L".join(places)))
        parts += [
            _mark(angle, scale.x(coats), scale.y(size))
            for coats, size in zip(result.steps, result.step_delta_e00[angle], strict=True)
        ]
    parts.append(_key(result.curves))
    return picture(WIDTH, HEIGHT, parts)


def let_down_words(result: NearestCoats) -> str:
    """Say what the picture shows, for a reader who does not see it."""
    told = []
    for angle, sizes in result.step_delta_e00.items():
        pairs = zip(result.steps, sizes, strict=True)
        told.append(
            f"{ANGLE_NOUNS[angle].capitalize()}: " + ", ".join(f"{c:g} coats {size:.1f}" for c, size in pairs) + "."
        )
    return " ".join(["Difference from the car by number of mid-coats.", *told, result.sentences[0]])


def _end(result: NearestCoats, limits: Thresholds) -> float:
    largest = max(float(np.max(curve)) for curve in result.curves.values())
    measured = max(max(sizes) for sizes in result.step_delta_e00.values())
    return float(math.ceil(max(1.05 * largest, 1.05 * measured, 1.5 * limits.go_below)))


def _axes(result: NearestCoats, scale: _Scale) -> str:
    rows = "".join(
        f'<path d="M{_LEFT} {scale.y(value):.1f}H{_RIGHT}" stroke="{GRID}"/>'
        + label(_LEFT - 6, scale.y(value) + 5, f"{value:g}", "end")
        for value in ticks(scale.end, 5)
    )
    columns = "".join(
        f'<path d="M{scale.x(coats):.1f} {_BOTTOM}v6" stroke="{INK}" stroke-width="1.5"/>'
        + label(scale.x(coats), _BOTTOM + 21, f"{coats:g}", "middle")
        for coats in result.steps
    )
    return (
        f'<rect x="{_LEFT}" y="{_TOP}" width="{_RIGHT - _LEFT}" height="{_BOTTOM - _TOP}" fill="{PAPER}"/>{rows}'
        f'<path d="M{_LEFT} {_TOP}V{_BOTTOM}H{_RIGHT}" fill="none" stroke="{INK}" stroke-width="1.5"/>{columns}'
        + label(4, 15, "difference")
        + label(0.5 * (_LEFT + _RIGHT), _BOTTOM + 41, "mid-coats", "middle")
    )


def _limit(size: float, scale: _Scale) -> str:
    y = scale.y(size)
    return (
        f'<path d="M{_LEFT} {y:.1f}H{_RIGHT}" stroke="{INK}" stroke-width="4"/>'
        f'<path d="M{_LEFT} {y:.1f}H{_RIGHT}" stroke="#fff" stroke-width="1.6"/>'
        f'<text x="{_LEFT + 5}" y="{y + 14:.1f}" font-weight="600">go below this line</text>'
    )


def _best(result: NearestCoats, scale: _Scale) -> str:
    low, high, best = (scale.x(value) for value in (*result.interval, result.coats))
    return (
        f'<rect x="{low:.1f}" y="{_TOP}" width="{max(high - low, 1.0):.1f}" height="{_BOTTOM - _TOP}" fill="{INK}" '
        'fill-opacity="0.13"/>'
        f'<path d="M{best:.1f} {_TOP}V{_BOTTOM}" stroke="{INK}" stroke-width="2"/>'
        f'<text x="{min(max(best, _LEFT + 40), _RIGHT - 40):.1f}" y="{_TOP - 7}" text-anchor="middle" '
        f'font-weight="700">{result.coats:.1f} coats</text>'
    )


def _line(angle: Angle, path: str) -> str:
    return (
        f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="2.5" stroke-dasharray="{_DASHES[angle]}" '
        'stroke-linejoin="round"/>'
    )


def _mark(angle: Angle, x: float, y: float) -> str:
    return (
        f'<path transform="translate({x:.1f} {y:.1f})" d="{_MARKS[angle]}" fill="{INK}" stroke="#fff" '
        'stroke-width="2"/>'
    )


def _key(angles: Iterable[Angle]) -> str:
    y, x, parts = HEIGHT - 14.0, 8.0, []
    for angle in angles:
        parts.append(_line(angle, f"M{x} {y}h36") + _mark(angle, x + 18, y))
        parts.append(f'<text x="{x + 42}" y="{y + 5}">{ANGLE_NOUNS[angle]}</text>')
        x += 52.0 + 7.2 * len(ANGLE_NOUNS[angle])
    parts.append(f'<rect x="{x}" y="{y - 9}" width="16" height="18" fill="{INK}" fill-opacity="0.13"/>')
    parts.append(f'<text x="{x + 21}" y="{y + 5}">95 %</text>')
    return "".join(parts)
