"""The panel: its outline, where the repair sits on it, and so how much room there is on every side."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from match.blend.sides import Direction, End, Spot
from match.calibration import quantity
from match.colorimetry import Array
from match.errors import PlanError

TOO_LARGE = "the repair is larger than the panel: correct one of them"
PLACES_TRIED, FEW_LINES = 11, 5
"""On the way across and down for a place to begin with, and the lines along which each is looked at."""
LINES_ACROSS = 33
"""Places along a repair's edge from which the room is measured; the least of them counts."""

ENDS = {
    "edge": (End.PANEL_EDGE, True),
    "kept": (End.KEPT_PART, True),
    "other": (End.OTHER_PART, True),
    "open": (End.NO_EDGE, True),
    "bare": (End.KEPT_PART, False),
}
"""What a panel's side is called in ``panels.toml`` and on the command line; whether the car's colour goes on there."""


@dataclass(frozen=True)
class PanelShape:
    """One panel of ``panels.toml``: its size, its outline as shares of it, and what usually lies on each side."""

    words: str
    left: str
    right: str
    up: str
    down: str
    width: float = quantity("mm")
    height: float = quantity("mm")
    outline: tuple[float, ...] = quantity("share")

    def outline_mm(self, size_mm: tuple[float, float]) -> Array:
        """Return the corners (n, 2) of a panel of this shape and another width and height."""
        return np.asarray(np.reshape(self.outline, (-1, 2)) * np.asarray(size_mm))

    def end(self, direction: Direction) -> str:
        """Return what usually lies on a side (a key of :data:`ENDS`)."""
        return {
            Direction.LEFT: self.left,
            Direction.RIGHT: self.right,
            Direction.UP: self.up,
            Direction.DOWN: self.down,
        }[direction]


@dataclass(frozen=True)
class PanelFile:
    """The whole of ``panels.toml``."""

    panels: dict[str, PanelShape]

    def shape(self, name: str) -> PanelShape:
        """Return one shape, raising :class:`PlanError` for one that is not there."""
        if name not in self.panels:
            raise PlanError(f"no panel is called {name!r}: use one of {', '.join(self.panels)}")
        return self.panels[name]


def rooms_mm(
    outline_mm: Array, spot: Spot, name: str = "the repair", lines: int = LINES_ACROSS
) -> dict[Direction, float]:
    """Return a repair's room on every side: the least way from its edge to the outline, along so many lines.

    Raises :class:`PlanError` where the repair does not lie on the panel.

    Parameters
    ----------
    outline_mm : the panel's corners (n, 2)
    spot : where the repair lies
    name : what to call it where it lies nowhere on the panel
    """
    right, bottom = spot.left_mm + spot.width_mm, spot.top_mm + spot.height_mm
    rows, columns = np.linspace(spot.top_mm, bottom, lines), np.linspace(spot.left_mm, right, lines)
    across, down = [_crossings(outline_mm, y, 1) for y in rows], [_crossings(outline_mm, x, 0) for x in columns]
    edges = [
        (x, y, row, down[end])
        for y, row in zip(rows, across, strict=True)
        for x, end in ((spot.left_mm, 0), (right, -1))
    ]
    edges += [
        (x, y, across[end], column)
        for x, column in zip(columns, down, strict=True)
        for y, end in ((spot.top_mm, 0), (bottom, -1))
    ]
    if not all(_inside(*edge) for edge in edges):
        raise PlanError(f"{name} does not lie on the panel: move it, or make it smaller")
    return {
        Direction.LEFT: min(spot.left_mm - _before(row, spot.left_mm) for row in across),
        Direction.RIGHT: min(_after(row, right) - right for row in across),
        Direction.UP: min(spot.top_mm - _before(column, spot.top_mm) for column in down),
        Direction.DOWN: min(_after(column, bottom) - bottom for column in down),
    }


def place_for(
    shape: PanelShape,
    size_mm: tuple[float, float],
    repair_mm: tuple[float, float],
    others: Sequence[Spot] = (),
) -> Spot:
    """Return where a repair sits to begin with: furthest from the panel's edge and from the others on it.

    Tried to a tenth of the way; raises :class:`PlanError` for a repair that fits nowhere.
    """
    outline = shape.outline_mm(size_mm)
    free = np.subtract(size_mm, repair_mm)
    if min(free) < 0.0:
        raise PlanError(TOO_LARGE)
    found: list[tuple[float, tuple[float, float], Spot]] = []
    for x in np.linspace(0.0, 1.0, PLACES_TRIED):
        for y in np.linspace(0.0, 1.0, PLACES_TRIED):
            spot = Spot(float(x * free[0]), float(y * free[1]), *repair_mm)
            try:
                least = min(rooms_mm(outline, spot, lines=FEW_LINES).values())
            except PlanError:
                continue
            apart = min((_between_mm(spot, other) for other in others), default=0.0)
            # of equals the one furthest from the others, then nearest to the middle
            ties = (round(apart, 6), -round(abs(x - 0.5) + abs(y - 0.5), 6))
            found.append((round(min(least, apart) if others else least, 6), ties, spot))
    if not found:
        raise PlanError(TOO_LARGE)
    return max(found, key=lambda each: each[:2])[2]


def _between_mm(one: Spot, other: Spot) -> float:
    """Return how far two repairs lie apart across or down, whichever is more; negative where they overlap."""
    across = max(one.left_mm, other.left_mm) - min(one.left_mm + one.width_mm, other.left_mm + other.width_mm)
    down = max(one.top_mm, other.top_mm) - min(one.top_mm + one.height_mm, other.top_mm + other.height_mm)
    return max(across, down)


def area_mm2(outline_mm: Array) -> float:
    """Return the area within an outline (n, 2), by the shoelace formula."""
    x, y = outline_mm.T
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))


def _crossings(outline: Array, at: float, axis: int) -> Array:
    """Return, sorted, where the outline crosses the line on which coordinate ``axis`` is ``at``."""
    first, second = outline, np.roll(outline, -1, axis=0)
    a, b = first[:, axis] - at, second[:, axis] - at
    crossed = (a <= 0.0) != (b <= 0.0)
    share = a[crossed] / (a[crossed] - b[crossed])
    other = 1 - axis
    return np.sort(first[crossed, other] + share * (second[crossed, other] - first[crossed, other]))


def _before(places: Array, at: float) -> float:
    nearer = places[places <= at + 1e-9]
    return float(nearer[-1]) if len(nearer) else at


def _after(places: Array, at: float) -> float:
    further = places[places >= at - 1e-9]
    return float(further[0]) if len(further) else at


def _inside(x: float, y: float, row: Array, column: Array) -> bool:
    """Return whether a place lies on the panel, by where its row and column cross the outline; the edge counts too."""
    touches = bool(np.any(np.abs(row - x) <= 1e-9)) or bool(np.any(np.abs(column - y) <= 1e-9))
    return touches or int(np.sum(row < x - 1e-9)) % 2 == 1
