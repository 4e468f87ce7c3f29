"""The panel: its outline, where the repair sits on it, and so how much room there is on every side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from match.blend.sides import Direction, End, Repair, Side
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


@dataclass(frozen=True)
class Placed:
    """A repair on a panel, in mm from the panel's upper left corner.

    Attributes
    ----------
    outline_mm : the panel's corners (n, 2)
    left_mm, top_mm : the repair's upper left corner
    width_mm, height_mm : the repair's size
    """

    outline_mm: Array
    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float

    def rooms_mm(self, lines: int = LINES_ACROSS) -> dict[Direction, float]:
        """Return the room on every side: the least way from the repair's edge to the outline, along so many lines.

        Raises
        ------
        PlanError : where the repair does not lie on the panel
        """
        right, bottom = self.left_mm + self.width_mm, self.top_mm + self.height_mm
        rows, columns = np.linspace(self.top_mm, bottom, lines), np.linspace(self.left_mm, right, lines)
        if not self._holds_repair(rows, columns):
            raise PlanError("the repair does not lie on the panel: move it, or make it smaller")
        return {
            Direction.LEFT: min(self.left_mm - _before(_crossings(self.outline_mm, y, 1), self.left_mm) for y in rows),
            Direction.RIGHT: min(_after(_crossings(self.outline_mm, y, 1), right) - right for y in rows),
            Direction.UP: min(self.top_mm - _before(_crossings(self.outline_mm, x, 0), self.top_mm) for x in columns),
            Direction.DOWN: min(_after(_crossings(self.outline_mm, x, 0), bottom) - bottom for x in columns),
        }

    def _holds_repair(self, rows: Array, columns: Array) -> bool:
        edges = [(x, y) for x in columns for y in (rows[0], rows[-1])] + [
            (x, y) for y in rows for x in (columns[0], columns[-1])
        ]
        return all(_inside(self.outline_mm, x, y) for x, y in edges)

    def repair(self, shape: PanelShape, said: Mapping[Direction, Side]) -> Repair:
        """Return the repair with all four sides; those in ``said`` stand as they were given."""
        sides = []
        for direction, room_mm in self.rooms_mm().items():
            end, beyond = ENDS[shape.end(direction)]
            usual = Side(direction, room_mm, end, car_colour_beyond=beyond)
            sides.append(said.get(direction, usual))
        return Repair(self.width_mm, self.height_mm, tuple(sides))


def middle_of(shape: PanelShape, size_mm: tuple[float, float], repair_mm: tuple[float, float]) -> tuple[float, float]:
    """Return where a repair sits to begin with: where the least of its rooms is the largest, to a tenth of the way."""
    outline = shape.outline_mm(size_mm)
    free = np.subtract(size_mm, repair_mm)
    if min(free) < 0.0:
        raise PlanError(TOO_LARGE)
    found: list[tuple[float, float, float]] = []
    for x in np.linspace(0.0, 1.0, PLACES_TRIED):
        for y in np.linspace(0.0, 1.0, PLACES_TRIED):
            placed = Placed(outline, float(x * free[0]), float(y * free[1]), *repair_mm)
            try:
                least = min(placed.rooms_mm(FEW_LINES).values())
            except PlanError:
                continue
            found.append((least, placed.left_mm, placed.top_mm))
    if not found:
        raise PlanError(TOO_LARGE)
    return max(found)[1:]


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


def _inside(outline: Array, x: float, y: float) -> bool:
    """Return whether a place lies on the panel; its edge counts with it."""
    places = _crossings(outline, y, 1)
    left = int(np.sum(places < x - 1e-9))
    touches = bool(np.any(np.abs(places - x) <= 1e-9)) or bool(np.any(np.abs(_crossings(outline, x, 0) - y) <= 1e-9))
    return left % 2 == 1 or touches
