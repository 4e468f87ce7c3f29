"""The difference and its uncertainty drawn as a ruler against the limits of the junction (SVG, no colour)."""

import math

from match.check.verdict import Thresholds, limit_words
from match.svg import label, picture
from match.words import capital

WIDTH, HEIGHT = 420, 104
_LEFT, _RIGHT = 14, 406
_TOP, _BOTTOM = 34, 74


def interval_picture(size: float, interval: tuple[float, float], limits: Thresholds) -> str:
    """Return an SVG drawing; ``size`` and ``interval`` are CIEDE2000, as the limits are."""
    end = _scale_end(max(size, interval[1]), limits)

    def place(value: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * min(max(value, 0.0), end) / end

    zones = [("Go", 0.0, limits.go_below, "#ffffff", "")]
    if limits.blend_below > limits.go_below:
        zones.append(("Blend", limits.go_below, limits.blend_below, "#e0e0e0", "thin"))
    zones.append(("Retint", max(limits.blend_below, limits.go_below), end, "#bdbdbd", "thick"))
    parts = [_zone(name, place(start), place(stop), fill, hatch) for name, start, stop, fill, hatch in zones]
    parts.append(_tick(place(0.0), "0"))
    parts += [_tick(place(value), limit_words(value)) for value in sorted({limits.go_below, limits.blend_below})]
    parts.append(_bar(place(interval[0]), place(interval[1]), place(size)))
    return picture(WIDTH, HEIGHT, [_HATCHES, *parts])


def interval_words(size: float, interval: tuple[float, float], limits: Thresholds) -> str:
    """Say what the picture shows, for a reader who does not see it."""
    return (
        f"The difference is {size:.1f}, 95 % sure between {interval[0]:.1f} and {interval[1]:.1f}. "
        f"{capital(limits.words)}."
    )


def _scale_end(high: float, limits: Thresholds) -> float:
    """Return the ruler's end: room for the interval and for a visible retint zone, in whole units."""
    return float(math.ceil(max(1.08 * high, 1.35 * limits.blend_below, 1.5 * limits.go_below, 2.0)))


_HATCHES = (
    '<defs><pattern id="thin" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path d="M0 0V9" stroke="#8a8a8a" stroke-width="1.6"/></pattern>'
    '<pattern id="thick" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)">'
    '<path d="M0 0V7" stroke="#6b6b6b" stroke-width="3.4"/></pattern></defs>'
)


def _zone(name: str, left: float, right: float, fill: str, hatch: str) -> str:
    box = f'x="{left:.1f}" y="{_TOP}" width="{max(right - left, 0.0):.1f}" height="{_BOTTOM - _TOP}"'
    drawn = f'<rect {box} fill="{fill}"/>'
    if hatch:
        drawn += f'<rect {box} fill="url(#{hatch})"/>'
    drawn += f'<rect {box} fill="none" stroke="#161616" stroke-width="1.5"/>'
    middle = 0.5 * (left + right)
    return drawn + label(middle, _TOP - 9, name, "middle", 'font-size="15" font-weight="600"')


def _tick(x: float, words: str) -> str:
    return f'<path d="M{x:.1f} {_BOTTOM}v7" stroke="#161616" stroke-width="1.5"/>' + label(
        x, _BOTTOM + 22, words, "middle"
    )


def _bar(low: float, high: float, best: float) -> str:
    y = 0.5 * (_TOP + _BOTTOM)
    reach = ""
    if not low <= best <= high:  # the reading lies outside: a thin line leads to it, the bar itself stays as computed
        near = low if best < low else high
        reach = f'<path d="M{near:.1f} {y}H{best:.1f}" stroke="#161616" stroke-width="2" stroke-dasharray="3 3"/>'
    line = f"M{low:.1f} {y - 9}v18M{low:.1f} {y}H{high:.1f}M{high:.1f} {y - 9}v18"
    return (
        f'<path d="{line}" fill="none" stroke="#fff" stroke-width="9"/>'
        f'<path d="{line}" fill="none" stroke="#161616" stroke-width="4"/>{reach}'
        f'<path d="M{best:.1f} {y - 13}l11 13-11 13-11-13z" fill="#161616" stroke="#fff" stroke-width="2.5"/>'
    )
