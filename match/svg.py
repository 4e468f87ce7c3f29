"""What the pictures share: ink and frame, scales in round steps, and the a*b* plane with its lightness bar (SVG).

Shapes and words carry the meaning and every colour is neutral, so that a picture tints nothing beside it.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from match.colorimetry import Array

Triple = Sequence[float] | Array
"""Three values in the order L*, a*, b*."""

INK, PAPER, GRID, FRAME, MUTED = "#161616", "#f6f6f6", "#b0b0b0", "#8a8a8a", "#6b6b6b"
FONT = "Source Sans, Helvetica, Arial, sans-serif"
DOUBT = f'fill="{INK}" fill-opacity="0.10" stroke="{INK}" stroke-dasharray="4 3"'
"""The look of where something may lie."""

_STEPS = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
_AXES = (("lighter", "darker"), ("redder", "greener"), ("yellower", "bluer"))


def picture(width: float, height: float, parts: Iterable[str]) -> str:
    """Return a whole drawing, in units of which ``width`` by ``height`` are shown."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-size="14" '
        f'font-family="{FONT}" fill="{INK}">{"".join(parts)}</svg>'
    )


def scale_end(largest: float) -> float:
    """Return a round number, no smaller than ``largest`` and 1, at which a scale can end."""
    needed = max(largest, 1.0)
    power = 10.0 ** math.floor(math.log10(needed))
    return next(step * power for step in _STEPS if step * power >= needed * (1.0 - 1e-9))


def round_step(end: float, most: int) -> float:
    """Return the smallest of 1, 2, 2.5 and 5 times a power of ten of which at most ``most`` fit in ``end``."""
    raw = end / most
    power = 10.0 ** math.floor(math.log10(raw))
    return next(step * power for step in (1.0, 2.0, 2.5, 5.0, 10.0) if step * power >= raw * (1.0 - 1e-9))


def ticks(end: float, most: int) -> list[float]:
    """Return 0 and the round steps up to ``end``, at most ``most`` of them."""
    step = round_step(end, most)
    return [step * count for count in range(int(end / step + 1e-9) + 1)]


def label(x: float, y: float, words: object, anchor: str = "start", look: str = "") -> str:
    """Return a piece of text; ``words`` are this program's own, nothing is escaped."""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" {look}>{words}</text>'


def line(points: Sequence[tuple[float, float]], look: str = 'stroke-width="2"', ink: str = INK) -> str:
    """Return a line through points; nothing for fewer than two."""
    if len(points) < 2:
        return ""
    path = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f'<path d="M{path}" fill="none" stroke="{ink}" {look}/>'


def diamond(x: float, y: float, half: float, look: str = f'fill="{INK}" stroke="#fff" stroke-width="2"') -> str:
    """Return the mark of a card."""
    return f'<path d="M{x:.1f} {y - half:.1f}l{half:g} {half:g}-{half:g} {half:g}-{half:g}-{half:g}z" {look}/>'


def ring(x: float, y: float) -> str:
    """Return the mark of the car."""
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" fill="#fff" stroke="{INK}" stroke-width="3"/>'


def delta_words(delta_lab: Triple) -> list[str]:
    """Say a difference in CIELAB (L*, a*, b*) by its components, as ``1.2 lighter``."""
    return [
        f"{abs(float(value)):.1f} {more if value >= 0 else less}"
        for value, (more, less) in zip(delta_lab, _AXES, strict=True)
    ]


def ellipse(covariance: Array) -> tuple[tuple[float, float], float]:
    """Return where a colour of this covariance (3, 3), CIELAB, lies in the a*b* plane, at one standard deviation.

    Half axes in CIELAB units, the longer first, and its turn in degrees, clockwise on the screen.
    """
    variances, axes = np.linalg.eigh(covariance[1:, 1:])
    minor, major = np.sqrt(np.maximum(variances, 0.0))
    return (float(major), float(minor)), -math.degrees(math.atan2(axes[1, 1], axes[0, 1]))


@dataclass(frozen=True)
class LabPlane:
    """The a*b* plane around the car, rings a round step apart, and beside it a bar of lightness, both to one scale.

    ``reach`` is the CIELAB units from the middle to a side, ``bar_half`` half the bar's width.
    """

    reach: float
    bar_half: float = 17.0
    x0: float = 158.0
    y0: float = 140.0
    half: float = 92.0
    bar_x: float = 352.0

    @property
    def step(self) -> float:
        """CIELAB units from ring to ring."""
        return round_step(self.reach, 6)

    @property
    def unit(self) -> float:
        """Length of one CIELAB unit."""
        return self.half / self.reach

    def at(self, delta_lab: Triple) -> tuple[float, float]:
        """Return where a difference from the car lies in the plane."""
        return self.x0 + float(delta_lab[1]) * self.unit, self.y0 - float(delta_lab[2]) * self.unit

    def level(self, delta_lab: Triple) -> tuple[float, float]:
        """Return where it lies in the bar."""
        return self.bar_x, self.y0 - float(delta_lab[0]) * self.unit

    def ground(self) -> str:
        """Return plane and bar with their scales, directions and the car."""
        left, right, top, bottom = self.x0 - self.half, self.x0 + self.half, self.y0 - self.half, self.y0 + self.half
        away = [count * self.step * self.unit for count in range(1, int(self.reach / self.step + 1e-9) + 1)]
        rings = (f'<circle cx="{self.x0}" cy="{self.y0}" r="{r:.1f}" fill="none" stroke="{GRID}"/>' for r in away)
        wide = self.bar_half - 4
        marks = "".join(f"M{self.bar_x - wide} {self.y0 + sign * r:.1f}h{2 * wide}" for r in away for sign in (-1, 1))
        look = f'y="{top}" height="{2 * self.half}" fill="{PAPER}" stroke="{FRAME}"'
        cross = (
            f"M{left} {self.y0}H{right}M{self.x0} {top}V{bottom}M{self.bar_x - self.bar_half} {self.y0}"
            f"h{2 * self.bar_half}"
        )
        return (
            f'<rect x="{left}" width="{2 * self.half}" {look}/>{"".join(rings)}'
            f'<rect x="{self.bar_x - self.bar_half}" width="{2 * self.bar_half}" {look}/>'
            f'<path d="{marks}" stroke="{GRID}"/><path d="{cross}" stroke="{MUTED}"/>'
            + label(self.x0, top - 10, "yellower", "middle")
            + label(self.x0, bottom + 20, "bluer", "middle")
            + label(left - 8, self.y0 + 5, "greener", "end")
            + label(right + 8, self.y0 + 5, "redder")
            + label(self.bar_x, top - 10, "lighter", "middle")
            + label(self.bar_x, bottom + 20, "darker", "middle")
            + ring(self.x0, self.y0)
            + ring(self.bar_x, self.y0)
        )

    def doubt(self, delta_lab: Triple, axes: tuple[float, float], turn_deg: float, level: float) -> str:
        """Return where a colour may lie: an ellipse of half ``axes`` CIELAB units, turned, and a stretch of the bar."""
        (x, y), (bar_x, bar_y) = self.at(delta_lab), self.level(delta_lab)
        wide, tall = (axis * self.unit for axis in axes)
        half, across = level * self.unit, self.bar_half - 6
        return (
            f'<ellipse cx="{x:.1f}" cy="{y:.1f}" rx="{wide:.1f}" ry="{tall:.1f}" '
            f'transform="rotate({turn_deg:.1f} {x:.1f} {y:.1f})" {DOUBT}/>'
            f'<rect x="{bar_x - across}" y="{bar_y - half:.1f}" width="{2 * across}" height="{2 * half:.1f}" {DOUBT}/>'
        )
