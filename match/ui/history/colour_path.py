"""The way of a colour's cards towards the car: in the a*b* plane and in lightness, numbered as in the chart (SVG)."""

from collections.abc import Sequence

from match.history.records import CheckRow, Lab
from match.svg import INK, PAPER, LabPlane, delta_words, diamond, label, line, picture, ring, scale_end
from match.ui.history.colour_chart import shown

WIDTH, HEIGHT = 420, 292
_ASIDE = 20.0  # left and right by turns of the bar's middle, where the car sits


def steps_of(checks: Sequence[CheckRow]) -> list[tuple[int, Lab]]:
    """Return (number in the chart, card minus car in CIELAB) of every check that is a measurement and still stands."""
    found = []
    for number, check in enumerate(shown(checks), start=1):
        if check.stands and check.card_lab is not None and check.vehicle_lab is not None:
            lightness, a, b = (card - car for card, car in zip(check.card_lab, check.vehicle_lab, strict=True))
            found.append((number, (lightness, a, b)))
    return found


def path_picture(checks: Sequence[CheckRow]) -> str:
    """Return an SVG drawing with the car in the middle of the plane and of the lightness bar."""
    walked = steps_of(checks)
    plane = LabPlane(scale_end(1.12 * max((abs(value) for _, delta in walked for value in delta), default=1.0)), 34.0)
    inside = [plane.at(delta) for _, delta in walked]
    levels = (plane.level(delta) for _, delta in walked)
    beside = [(x + _ASIDE * (-1) ** (place + 1), y) for place, (x, y) in enumerate(levels)]
    parts = [plane.ground()]
    for points in (inside, beside):
        parts += [line(points), ring(plane.x0, plane.y0) if points is inside else ""]
        parts += [
            _numbered(number, x, y, place == len(walked))
            for place, ((number, _), (x, y)) in enumerate(zip(walked, points, strict=True), start=1)
        ]
    y = HEIGHT - 14.0
    parts += [ring(20, y), label(33, y + 5, "car"), diamond(84, y, 12), label(100, y + 5, "latest card")]
    parts.append(label(WIDTH - 8, y + 5, f"ring: {plane.step:g} CIELAB", "end"))
    return picture(WIDTH, HEIGHT, parts)


def path_words(checks: Sequence[CheckRow]) -> str:
    """Say what the picture shows, for a reader who does not see it."""
    told = [f"{number}: {', '.join(delta_words(delta))}" for number, delta in steps_of(checks)]
    return "Each card against the car, in CIELAB units. " + "; ".join(told) + "."


def _numbered(number: int, x: float, y: float, latest: bool) -> str:
    """Return a card's diamond with its number, dark for the latest."""
    fill, ink = (INK, "#fff") if latest else (PAPER, INK)
    words = f'font-size="11" font-weight="600" fill="{ink}"'
    look = f'fill="{fill}" stroke="{INK}" stroke-width="1.5"'
    return diamond(x, y, 12, look) + label(x, y + 4, number, "middle", words)
