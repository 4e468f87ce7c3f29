"""The repair and the room around it: what is covered, how far the panel runs on each side, and what stops there."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from match.errors import PlanError
from match.words import listed

MM_PER_INCH = 25.4  # exact by definition
LARGEST_MM = 5000.0
"""Longer than any panel of a car: a larger number is a wrong unit."""
MOST_REPAIRS = 6
"""Engineering choice: with more of them a panel is painted whole."""


class Length(StrEnum):
    """The unit lengths are typed and shown in; everything inside the program is in mm."""

    MM = "mm"
    INCH = "in"


def to_mm(value: float, unit: Length) -> float:
    """Return a typed length in mm."""
    return value * MM_PER_INCH if unit is Length.INCH else value


class Direction(StrEnum):
    """Where a side lies when the repair is looked at from in front; the value is what a person would say."""

    LEFT = "to the left"
    RIGHT = "to the right"
    UP = "upwards"
    DOWN = "downwards"

    @property
    def is_sideways(self) -> bool:
        """Whether the side runs left or right."""
        return self in (Direction.LEFT, Direction.RIGHT)


_BESIDE = {
    Direction.LEFT: "to the left of",
    Direction.RIGHT: "to the right of",
    Direction.UP: "above",
    Direction.DOWN: "below",
}


class End(StrEnum):
    """What lies where the room ends; the value is what a person would say."""

    PANEL_EDGE = "the panel's own edge"
    NEXT_PANEL = "a panel you may paint too"
    KEPT_PART = "a part that must not be painted"
    OTHER_PART = "another plane or material in the car's colour"
    NO_EDGE = "no edge: the panel runs on"


@dataclass(frozen=True)
class NextPanel:
    """A neighbouring panel the colour may be carried onto.

    ``room_mm`` is measured across it from the shared gap; ``end`` is what lies beyond and cannot be another next panel.
    """

    room_mm: float
    end: End = End.PANEL_EDGE
    car_colour_beyond: bool = True
    lines_mm: tuple[float, ...] = ()


@dataclass(frozen=True)
class Side:
    """One side of the repair.

    Attributes
    ----------
    direction : where it lies; each direction at most once
    room_mm : from the edge of the covered repair to where this panel ends
    end : what lies there
    car_colour_beyond : whether the car's colour goes on beyond the end (another panel, a painted bumper cover); at a
        lamp, glass, bare plastic or a wheel opening there is nothing to compare with
    lines_mm : distances from the repair to body lines or gaps on the way, where a colour may stop
    next_panel : needed when the end is a panel that may be painted too
    clear_to_end : whether the clear can run to the panel's end; where the panel runs on with no edge it cannot
    break_mm : where it cannot, how far from the repair the next edge, gap or sharp break lies that the clear could be
        carried on to; None where nobody said
    label : the person's own name for the side, "towards the door"; empty takes the direction's
    part : the name of the measured part that lies there, where it has a colour of its own
    repair : which of several repairs this side is of, "repair 2"; empty where all are covered as one
    end_limit : the largest CIEDE2000 that may be left at the end, where a part's own colour asks for less than the
        table of limits; None takes the table's
    """

    direction: Direction
    room_mm: float
    end: End = End.PANEL_EDGE
    car_colour_beyond: bool = True
    lines_mm: tuple[float, ...] = ()
    next_panel: NextPanel | None = None
    clear_to_end: bool = True
    break_mm: float | None = None
    label: str = ""
    part: str = ""
    end_limit: float | None = None
    repair: str = ""

    @property
    def whole_room_mm(self) -> float:
        """How far out the colour may be carried, the next panel's room included."""
        return self.room_mm + (self.next_panel.room_mm if self.next_panel else 0.0)

    @property
    def where(self) -> str:
        """What to call this side where it is clear which repair is meant."""
        return self.label or self.direction.value

    @property
    def name(self) -> str:
        """What to call this side."""
        if not self.repair:
            return self.where
        return f"{self.label} from {self.repair}" if self.label else f"{_BESIDE[self.direction]} {self.repair}"


@dataclass(frozen=True)
class Spot:
    """Where one repair lies: its upper left corner and its size, in mm from the panel's upper left corner."""

    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float

    @property
    def box_mm(self) -> tuple[float, float, float, float]:
        """Its left, top, right and bottom."""
        return self.left_mm, self.top_mm, self.left_mm + self.width_mm, self.top_mm + self.height_mm


@dataclass(frozen=True)
class PanelArea:
    """A panel whose outline is known: its width and height over all, and the area within the outline."""

    width_mm: float
    height_mm: float
    area_mm2: float


@dataclass(frozen=True)
class Repair:
    """What must be fully covered (primer, filler, bared metal) and the sides around it.

    ``left_mm`` and ``top_mm`` are its place on the panel; they matter where a panel has several. ``covers`` are the
    repairs covered here as one, by number, empty where there is but one. ``panel`` is the panel it lies on, where that
    ends on all sides at its own outline.
    """

    width_mm: float
    height_mm: float
    sides: tuple[Side, ...]
    left_mm: float = 0.0
    top_mm: float = 0.0
    covers: tuple[tuple[int, Spot], ...] = ()
    panel: PanelArea | None = None

    @property
    def spots(self) -> tuple[Spot, ...]:
        """The repairs that lie here."""
        itself = Spot(self.left_mm, self.top_mm, self.width_mm, self.height_mm)
        return tuple(spot for _, spot in self.covers) or (itself,)

    @property
    def named_spots(self) -> tuple[tuple[str, Spot], ...]:
        """The repairs that lie here, each by its number, or as "repair" where it is the only one."""
        names = [str(number) for number, _ in self.covers] or ["repair"]
        return tuple(zip(names, self.spots, strict=True))

    @property
    def numbered(self) -> str:
        """Which repairs these are: "repair 2", "repairs 1 and 3"."""
        numbers = [str(number) for number, _ in self.covers]
        return f"repair{'s' if len(numbers) > 1 else ''} {listed(numbers)}"

    def edge_mm(self, direction: Direction) -> float:
        """Return how far out the edge lies along a direction, from the panel's upper left corner."""
        return {
            Direction.LEFT: -self.left_mm,
            Direction.RIGHT: self.left_mm + self.width_mm,
            Direction.UP: -self.top_mm,
            Direction.DOWN: self.top_mm + self.height_mm,
        }[direction]

    def depth_mm(self, direction: Direction) -> float:
        """Return how deep the repair is, measured along a direction."""
        return self.width_mm if direction.is_sideways else self.height_mm

    def grown_mm(self, reach_mm: Mapping[Direction, float]) -> tuple[float, float]:
        """Return width and height of the repair grown outwards; a direction that is not given grows by nothing."""
        width = self.width_mm + reach_mm.get(Direction.LEFT, 0.0) + reach_mm.get(Direction.RIGHT, 0.0)
        return width, self.height_mm + reach_mm.get(Direction.UP, 0.0) + reach_mm.get(Direction.DOWN, 0.0)

    def grown_mm2(self, reach_mm: Mapping[Direction, float]) -> float:
        """Return the area of the repair grown outwards (see :meth:`grown_mm`)."""
        width, height = self.grown_mm(reach_mm)
        return width * height

    def grown_box_mm(self, reach_mm: Mapping[Direction, float]) -> tuple[float, float, float, float]:
        """Return left, top, right and bottom, from the panel's corner, of the repair grown (see :meth:`grown_mm`)."""
        width, height = self.grown_mm(reach_mm)
        left = self.left_mm - reach_mm.get(Direction.LEFT, 0.0)
        top = self.top_mm - reach_mm.get(Direction.UP, 0.0)
        return left, top, left + width, top + height


def on_every_side(reach_mm: Mapping[Direction, float]) -> dict[Direction, float]:
    """Return the reach on every side: one that nobody described counts as the furthest of the others."""
    furthest = max(reach_mm.values())
    return {direction: reach_mm.get(direction, furthest) for direction in Direction}


def check_repairs(repairs: Sequence[Repair]) -> None:
    """Raise :class:`PlanError` for repairs that cannot be, or cannot be planned together."""
    if not 1 <= len(repairs) <= MOST_REPAIRS:
        raise PlanError(f"{len(repairs)} repairs on one panel cannot be planned: give 1 to {MOST_REPAIRS}")
    for repair in repairs:
        check_repair(repair)
    if len({tuple(side.direction for side in repair.sides) for repair in repairs}) > 1:
        raise PlanError("the repairs have different sides: describe the same sides for each")


def check_repair(repair: Repair) -> None:
    """Raise :class:`PlanError` for sizes that cannot be, or a side whose parts contradict each other."""
    _check_length("the repair's width", repair.width_mm, least=1.0)
    _check_length("the repair's height", repair.height_mm, least=1.0)
    if not repair.sides:
        raise PlanError("no side is given: say how much room there is on at least one side of the repair")
    if len({side.direction for side in repair.sides}) != len(repair.sides):
        raise PlanError("two sides lie in the same direction: give each of left, right, up and down at most once")
    for side in repair.sides:
        _check_side(side)


def _check_side(side: Side) -> None:
    where = f"the room {side.name}"
    _check_length(where, side.room_mm, least=0.0)
    _check_lines(side.lines_mm, side.room_mm, where)
    if side.break_mm is not None:
        _check_length(f"the next break {side.name}", side.break_mm, least=side.room_mm)
    if (side.end is End.NEXT_PANEL) != (side.next_panel is not None):
        raise PlanError(
            f"{where} must either end at a panel you may paint too, with that panel's room, or have neither"
        )
    if side.next_panel is not None:
        beyond = f"the next panel's room {side.name}"
        _check_length(beyond, side.next_panel.room_mm, least=1.0)
        _check_lines(side.next_panel.lines_mm, side.next_panel.room_mm, beyond)
        if side.next_panel.end is End.NEXT_PANEL:
            raise PlanError(f"{beyond} ends at yet another panel: plan to that panel's edge, two panels are the most")


def _check_length(what: str, value_mm: float, least: float) -> None:
    if not least <= value_mm <= LARGEST_MM:
        raise PlanError(f"{what} is {value_mm:g} mm: give a length from {least:g} to {LARGEST_MM:g} mm")


def _check_lines(lines_mm: tuple[float, ...], room_mm: float, where: str) -> None:
    for at_mm in lines_mm:
        if not 0.0 <= at_mm < room_mm:
            raise PlanError(
                f"a line at {at_mm:g} mm is not inside {where}, which is {room_mm:g} mm: correct one of them"
            )
