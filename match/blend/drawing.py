"""Drawings of a plan as SVG: the difference and its visibility along a panel, and the coats in section.

Shapes, patterns and words carry the meaning, never hue alone; the greys stay neutral so that they colour nothing beside
them. Drawn 360 units wide, readable on a phone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from match.blend.film import Gun, built_film
from match.blend.profile import PanelProfile
from match.blend.side_plan import SidePlan
from match.blend.sides import MM_PER_INCH, Length
from match.blend.viewing import Strictness
from match.colorimetry import Array
from match.svg import ticks

WIDTH = 360
LEFT, RIGHT = 34, 350
INK, MUTED, PALE, PAPER = "#1f1f1f", "#5c5c5c", "#d4d4d4", "#ffffff"
LIMIT = "#b34700"  # a dark orange that stays apart from grey in every common colour vision
COAT_GREYS = ("#9a9a9a", "#bdbdbd")
MOST_TICKS = 6
LABEL_HEIGHT = 10.0


@dataclass(frozen=True)
class _Frame:
    """Maps mm along the panel and one quantity onto the drawing."""

    x_end_mm: float
    y_end: float
    top: float
    bottom: float

    def x(self, at_mm: float) -> float:
        return LEFT + (RIGHT - LEFT) * min(max(at_mm / self.x_end_mm, 0.0), 1.0)

    def y(self, value: float) -> float:
        return self.bottom - (self.bottom - self.top) * min(value / self.y_end, 1.0)

    def path(self, x_mm: Array, values: Array) -> str:
        points = [f"{self.x(x):.1f},{self.y(v):.1f}" for x, v in zip(x_mm, values, strict=True) if x <= self.x_end_mm]
        return "M" + " L".join(points)


def chart_svg(side: SidePlan, profile: PanelProfile, strictness: Strictness, unit: Length) -> str:
    """Return a chart of one side: difference to the car above, visibility with its limit below, zones behind both."""
    end = _shown_mm(side)
    top_end = max(1.0, float(profile.delta_e00.max()) * 1.15)
    seen_end = max(2.0, float(profile.visibility.max()) * 1.15)
    upper, lower = _Frame(end, top_end, 52.0, 132.0), _Frame(end, seen_end, 168.0, 248.0)
    parts = [
        _zones(side, upper, 40.0, lower.bottom),
        _text(LEFT, 36, "difference to the car (CIEDE2000)", MUTED, 11),
        *_y_axis(upper),
        _line(upper.path(*_with_stop(side, profile.x_mm, profile.delta_e00, end)), INK, 2.2),
        _text(LEFT, 162, "how visible (1 is the limit)", MUTED, 11),
        *_y_axis(lower),
        _line(f"M{LEFT},{lower.y(1.0):.1f} L{RIGHT},{lower.y(1.0):.1f}", LIMIT, 1.6, "6 4"),
        _text(RIGHT, lower.y(1.0) - 4, f"limit for {strictness.words}", LIMIT, 11, "end"),
        _line(lower.path(profile.x_mm, profile.visibility), INK, 2.2),
        *_marks(side, upper, 40.0, lower.bottom),
        *_x_axis(lower, unit, lower.bottom),
    ]
    name = f"Colour along the panel, {side.side.name}"
    about = f"Full colour to {side.covers_to_mm:.0f} mm, faded by {side.fades_to_mm:.0f} mm."
    return _svg(292, name, about, parts)


def coats_svg(side: SidePlan, gun: Gun, fan_in_sigmas: float, unit: Length) -> str:
    """Return the film in section: each coat on top of the one before, thickness greatly enlarged, and its reach."""
    end = _shown_mm(side)
    x = np.arange(0.0, min(end, side.fades_to_mm if side.stop else end) + 2.5, 5.0)
    layers = [built_film(x, (coat,), gun, fan_in_sigmas) for coat in side.fade.coats]
    heights = np.vstack([np.zeros_like(x), np.cumsum(layers, axis=0)])
    frame = _Frame(end, float(heights.max()) * 1.1, 40.0, 150.0)
    parts = [_text(LEFT, 36, "film, in covering coats (greatly enlarged)", MUTED, 11)]
    for index in range(len(layers)):
        parts.append(_layer(frame, x, heights[index], heights[index + 1], index, side.fade.coats[index].reduced))
    for index in range(len(layers)):
        middle = 0.5 * (heights[index, 0] + heights[index + 1, 0])
        if frame.y(heights[index, 0]) - frame.y(heights[index + 1, 0]) >= LABEL_HEIGHT:
            parts.append(_text(LEFT + 5, frame.y(float(middle)) + 4, _coat_name(index, side), INK, 11))
    parts += [*_y_axis(frame), *_marks(side, frame, 44.0, frame.bottom), *_x_axis(frame, unit, frame.bottom)]
    about = f"{len(layers)} coats, the last reaching {side.fade.coats[-1].reach_mm:.0f} mm from the repair."
    return _svg(194, f"Coats in section, {side.side.name}", about, parts)


def _coat_name(index: int, side: SidePlan) -> str:
    return f"coat {index + 1}, reduced further" if side.fade.coats[index].reduced else f"coat {index + 1}"


def _shown_mm(side: SidePlan) -> float:
    beyond = side.side.next_panel.room_mm if side.side.next_panel and side.onto_next_mm > 0.0 else 0.0
    return float(max(50.0, min(side.side.room_mm + beyond, max(1.5 * side.fades_to_mm, 200.0)))) * 1.04


def _with_stop(side: SidePlan, x_mm: Array, values: Array, end_mm: float) -> tuple[Array, Array]:
    """Let the difference drop to nothing where the colour stops, and stay there to the end of the drawing."""
    return np.append(x_mm, [side.fades_to_mm, end_mm]), np.append(values, [0.0, 0.0])


def _zones(side: SidePlan, frame: _Frame, top: float, bottom: float) -> str:
    cover, fade = frame.x(side.covers_to_mm), frame.x(side.fades_to_mm)
    height = bottom - top
    zones = (
        f'<rect x="{LEFT}" y="{top}" width="{cover - LEFT:.1f}" height="{height}" fill="{PALE}"/>'
        f'<rect x="{cover:.1f}" y="{top}" width="{fade - cover:.1f}" height="{height}" fill="url(#fade)"/>'
    )
    labels = [(LEFT, cover, "full"), (cover, fade, "fade"), (fade, RIGHT, "car")]
    wide = [((a + b) / 2, words) for a, b, words in labels if b - a > 7 * len(words)]
    return zones + "".join(_text(x, 20, words, INK, 12, "middle") for x, words in wide)


def _marks(side: SidePlan, frame: _Frame, top: float, bottom: float) -> list[str]:
    marks = []
    for at in side.side.lines_mm:
        if at <= frame.x_end_mm:
            x = frame.x(at)
            marks.append(_line(f"M{x:.1f},{top} L{x:.1f},{bottom}", MUTED, 1.2, "2 3"))
            marks.append(_text(x + 3, bottom - 4, "line", MUTED, 10))
    if side.side.room_mm <= frame.x_end_mm:
        x = frame.x(side.side.room_mm)
        for shift in (-1.5, 1.5):
            marks.append(_line(f"M{x + shift:.1f},{top} L{x + shift:.1f},{bottom}", INK, 1.0))
        marks.append(_text(x - 4, top + 11, "edge" if side.side.next_panel is None else "gap", INK, 10, "end"))
    return marks


def _layer(frame: _Frame, x: Array, lower: Array, upper: Array, index: int, reduced: bool) -> str:
    over = " L".join(f"{frame.x(a):.1f},{frame.y(b):.1f}" for a, b in zip(x, upper, strict=True))
    back = " L".join(f"{frame.x(a):.1f},{frame.y(b):.1f}" for a, b in zip(x[::-1], lower[::-1], strict=True))
    fill = "url(#fade)" if reduced else COAT_GREYS[index % 2]
    return f'<path d="M{over} L{back} Z" fill="{fill}" stroke="{INK}" stroke-width="0.8"/>'


def _x_axis(frame: _Frame, unit: Length, bottom: float) -> list[str]:
    per_unit = MM_PER_INCH if unit is Length.INCH else 1.0
    parts = [_line(f"M{LEFT},{bottom} L{RIGHT},{bottom}", INK, 1.0)]
    for value in ticks(frame.x_end_mm / per_unit, MOST_TICKS):
        x = frame.x(value * per_unit)
        parts.append(_line(f"M{x:.1f},{bottom} L{x:.1f},{bottom + 4}", INK, 1.0))
        parts.append(_text(x, bottom + 16, f"{value:g}", INK, 11, "middle"))
    parts.append(_text(RIGHT, bottom + 31, f"{unit.value} from the repair's edge", MUTED, 11, "end"))
    return parts


def _y_axis(frame: _Frame) -> list[str]:
    parts = [_line(f"M{LEFT},{frame.top} L{LEFT},{frame.bottom} L{RIGHT},{frame.bottom}", MUTED, 0.8)]
    for value in ticks(frame.y_end, 4):
        parts.append(_text(LEFT - 5, frame.y(value) + 4, f"{value:g}", INK, 11, "end"))
    return parts


def _line(path: str, colour: str, width: float, dashes: str = "") -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width}"{dashed}/>'


def _text(x: float, y: float, words: str, colour: str, size: int, anchor: str = "start") -> str:
    halo = f'stroke="{PAPER}" stroke-width="3" paint-order="stroke"'
    place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"'
    return f'<text {place} font-size="{size}" fill="{colour}" {halo}>{escape(words)}</text>'


def _svg(height: int, name: str, about: str, parts: Sequence[str]) -> str:
    pattern = (
        '<defs><pattern id="fade" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<rect width="7" height="7" fill="#f4f4f4"/><rect width="2" height="7" fill="{PALE}"/></pattern></defs>'
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="100%" role="img" '
        f'aria-label="{escape(name)}. {escape(about)}" font-family="system-ui, sans-serif">'
        f"<title>{escape(name)}</title><desc>{escape(about)}</desc>{pattern}"
        f'<rect width="{WIDTH}" height="{height}" fill="{PAPER}"/>{"".join(parts)}</svg>'
    )
