"""Which way the card is off: its place in the a*b* plane around the car, and its lightness beside it (SVG)."""

import math

from match.svg import DOUBT, LabPlane, Triple, delta_words, diamond, label, line, picture, ring, scale_end

WIDTH, HEIGHT = 420, 292
_SHORTEST_LINE = 16  # a shorter one would be under the marks


def shift_picture(delta_lab: Triple, delta_lab_sd: Triple) -> str:
    """Return an SVG drawing of card minus car, CIELAB (L*, a*, b*), with two standard deviations around it."""
    delta = [float(value) for value in delta_lab]
    lightness, a, b = (2 * float(sd) for sd in delta_lab_sd)
    plane = LabPlane(scale_end(1.05 * max(abs(v) + sd for v, sd in zip(delta, (lightness, a, b), strict=True))))
    middle, card = (plane.x0, plane.y0), plane.at(delta)
    far = math.dist(middle, card) >= _SHORTEST_LINE
    parts = [
        plane.ground(),
        plane.doubt(delta, (a, b), 0.0, lightness),
        line([middle, card], 'stroke-width="2.5"') + ring(*middle) if far else "",
        diamond(*card, 9),
        diamond(*plane.level(delta), 9),
        _key(plane),
    ]
    return picture(WIDTH, HEIGHT, parts)


def shift_words(delta_lab: Triple, delta_lab_sd: Triple) -> str:
    """Say what the picture shows, for a reader who does not see it."""
    told = [
        f"{words} (give or take {2 * sd:.1f})" for words, sd in zip(delta_words(delta_lab), delta_lab_sd, strict=True)
    ]
    return "Card against car, in CIELAB units: " + ", ".join(told) + "."


def _key(plane: LabPlane) -> str:
    y = HEIGHT - 14.0
    return (
        ring(20, y)
        + label(33, y + 5, "car")
        + diamond(78, y, 9)
        + label(92, y + 5, "card")
        + f'<rect x="138" y="{y - 7}" width="16" height="14" {DOUBT}/>'
        + label(160, y + 5, "where the card may lie")
        + label(WIDTH - 8, y + 5, f"ring: {plane.step:g}", "end")
    )
