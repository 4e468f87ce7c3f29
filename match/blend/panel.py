"""The panel described once: its shape and size, the repairs on it and what lies around, and so every repair's room."""

from dataclasses import dataclass, fields
from typing import Self

from match.blend.panel_shape import ENDS, PanelShape, area_mm2, rooms_mm
from match.blend.sides import Direction, End, NextPanel, PanelArea, Repair, Side, Spot
from match.colorimetry import Array


@dataclass(frozen=True)
class Around:
    """What lies on one side of the panel; distances are from the repair nearest to that side.

    Attributes
    ----------
    room_mm : to where the panel ends; None measures it from the outline
    end, car_colour_beyond, lines_mm, next_panel, break_mm, label, part : as a :class:`match.blend.sides.Side` has them
    """

    direction: Direction
    room_mm: float | None = None
    end: End = End.PANEL_EDGE
    car_colour_beyond: bool = True
    lines_mm: tuple[float, ...] = ()
    next_panel: NextPanel | None = None
    break_mm: float | None = None
    label: str = ""
    part: str = ""

    @classmethod
    def said(cls, side: Side) -> Self:
        """Return what lies on a side whose room was said, in the place of the outline's."""
        return cls(**{field.name: getattr(side, field.name) for field in fields(cls)})

    def side(self, measured_mm: float, inwards_mm: float = 0.0) -> Side:
        """Return the side of a repair that lies further in by ``inwards_mm`` than the one nearest to it.

        ``measured_mm`` is its room by the outline, in the place of which one that was said counts.
        """
        room = measured_mm if self.room_mm is None else self.room_mm + inwards_mm
        # of the nearest repair all is handed on as it was said, so that a line beyond its room is refused
        lines = tuple(at + inwards_mm for at in self.lines_mm if inwards_mm == 0.0 or at + inwards_mm < room)
        break_mm = None if self.break_mm is None else max(room, self.break_mm + inwards_mm)
        return Side(**{**vars(self), "room_mm": room, "lines_mm": lines, "break_mm": break_mm})


@dataclass(frozen=True)
class Panel:
    """One panel: the name of its shape in ``panels.toml``, its size, the repairs on it, and what was said of its sides.

    Of a side of which nothing was said the shape's usual holds.
    """

    shape: str
    width_mm: float
    height_mm: float
    spots: tuple[Spot, ...]
    around: tuple[Around, ...] = ()

    def outline_mm(self, shape: PanelShape) -> Array:
        """Return the panel's corners (n, 2); ``shape`` is the one that it names."""
        return shape.outline_mm((self.width_mm, self.height_mm))

    def rooms_mm(self, shape: PanelShape) -> list[dict[Direction, float]]:
        """Return the room on every side of each repair; raises :class:`PlanError` for one beside the panel."""
        outline, many = self.outline_mm(shape), len(self.spots) > 1
        numbered = enumerate(self.spots, start=1)
        return [rooms_mm(outline, spot, f"repair {number}" if many else "the repair") for number, spot in numbered]

    def repairs(self, shape: PanelShape) -> tuple[Repair, ...]:
        """Return every repair with all four sides; raises :class:`PlanError` for one that does not lie on the panel."""
        said = {each.direction: each for each in self.around}
        every = [said.get(direction, usual(shape, direction)) for direction in Direction]
        bare = [Repair(each.width_mm, each.height_mm, (), each.left_mm, each.top_mm) for each in self.spots]
        repairs = []
        rows = zip(self.spots, bare, self.rooms_mm(shape), strict=True)
        for number, (spot, repair, rooms) in enumerate(rows, start=1):
            sides = []
            for each in every:
                inwards = max(other.edge_mm(each.direction) for other in bare) - repair.edge_mm(each.direction)
                sides.append(each.side(rooms[each.direction], inwards))
            covers = ((number, spot),) if len(self.spots) > 1 else ()
            place = spot.left_mm, spot.top_mm
            repairs.append(Repair(spot.width_mm, spot.height_mm, tuple(sides), *place, covers, self._area(shape)))
        return tuple(repairs)

    def _area(self, shape: PanelShape) -> PanelArea | None:
        """Return the panel's own area; none where a room was said in the outline's place."""
        if any(each.room_mm is not None for each in self.around):
            return None
        return PanelArea(self.width_mm, self.height_mm, area_mm2(self.outline_mm(shape)))


def usual(shape: PanelShape, direction: Direction) -> Around:
    """Return what usually lies on a side of a shape."""
    end, beyond = ENDS[shape.end(direction)]
    return Around(direction, end=end, car_colour_beyond=beyond)
