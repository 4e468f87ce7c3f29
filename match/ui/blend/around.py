"""What lies on the sides of a repair, or of a panel with its repairs: the fields that ask for it, and filling them."""

from enum import StrEnum

import streamlit as st

from match.blend.panel import Around, Panel
from match.blend.sides import Direction, End, Length, NextPanel, Side
from match.blend.words import length
from match.errors import PlanError
from match.ui.blend.fields import panel_length
from match.ui.blend.whole_panel import panels
from match.ui.kit import say
from match.ui.kit.choice import one_from_list
from match.words import capital

START_ROOM_MM, START_LINE_MM, START_NEXT_MM, START_BREAK_MM = (400.0, 120.0, 500.0, 900.0)
"""What the form opens with: an invented, ordinary door repair."""


class LiesThere(StrEnum):
    """What lies where the room ends, in the words of the page."""

    EDGE = "This panel's own edge"
    NEXT = "A panel I may paint too"
    KEPT = "A part kept, in the car's colour"
    OTHER = "Another plane or material, in the car's colour"
    OPEN = "No edge: the panel runs on"
    BARE = "Glass, lamp, trim or wheel arch"


_ENDS = {
    LiesThere.EDGE: End.PANEL_EDGE,
    LiesThere.NEXT: End.NEXT_PANEL,
    LiesThere.KEPT: End.KEPT_PART,
    LiesThere.OTHER: End.OTHER_PART,
    LiesThere.OPEN: End.NO_EDGE,
    LiesThere.BARE: End.KEPT_PART,
}


def ask_sides(unit: Length) -> tuple[Side, ...]:
    """Ask for each side's room by hand."""
    directions = st.pills(
        "Sides with room",
        list(Direction),
        selection_mode="multi",
        default=[Direction.LEFT, Direction.RIGHT],
        format_func=lambda direction: direction.name.capitalize(),
        key="blend_sides",
        persist_state="session",
    )
    return tuple(_ask_side(direction, unit) for direction in Direction if direction in (directions or []))


def _ask_side(direction: Direction, unit: Length) -> Side:
    name = direction.name.lower()
    with st.container(border=True, key=f"blend_side_{name}"):
        st.html(f'<p class="sm-title sm-side">{capital(direction.value)}</p>')
        tip = "From the edge of the covered repair to where this panel ends."
        first, second = st.columns([1, 1.4])
        with first:
            room = panel_length("Room", f"room_{name}", START_ROOM_MM, unit, 0.0, tip)
        with second:
            there = _ask_there("At its end", name, LiesThere.EDGE)
        return _around(direction, name, room, unit, there).side(room)


def ask_around(panel: Panel, unit: Length) -> tuple[Around, ...]:
    """Ask what lies on all four sides of a panel; the rooms come from where the repairs sit, unless measured."""
    rooms = panel.rooms_mm(panels().shape(panel.shape))
    with st.expander("What lies around it"):
        if len(panel.spots) > 1:
            say.note("Distances are from the repair nearest to that side.")
        return tuple(
            _ask_end(panel.shape, direction, min(room[direction] for room in rooms), unit) for direction in Direction
        )


def _ask_end(shape: str, direction: Direction, room: float, unit: Length) -> Around:
    name, usual = _named(shape, direction), _usual(shape, direction)
    there = _ask_there(f"{capital(direction.value)}, {length(room, unit)}", name, usual)
    said = None
    if st.checkbox("I measured this room", key=f"blend_room_known_{name}", persist_state="session"):
        said = panel_length("Room from the repair", f"room_{name}", room, unit)
    return _around(direction, name, room if said is None else said, unit, there, said)


def _usual(shape: str, direction: Direction) -> LiesThere:
    return LiesThere[panels().shape(shape).end(direction).upper()]


def _named(shape: str, direction: Direction) -> str:
    return f"{shape}_{direction.name.lower()}"


def _ask_there(label: str, name: str, usual: LiesThere) -> LiesThere:
    tip = "Beyond glass or trim there is nothing of the car's colour to compare with."
    return one_from_list(label, LiesThere, usual, f"blend_end_{name}", tip=tip)


def _around(
    direction: Direction, name: str, room: float, unit: Length, there: LiesThere, said: float | None = None
) -> Around:
    next_panel = _ask_next(name, unit) if there == LiesThere.NEXT else None
    lines = _ask_line(name, unit)
    return Around(
        direction,
        said,
        _ENDS[there],
        car_colour_beyond=there != LiesThere.BARE,
        lines_mm=lines,
        next_panel=next_panel,
        break_mm=_ask_break(name, room, unit) if there == LiesThere.OPEN else None,
    )


def _ask_break(name: str, room_mm: float, unit: Length) -> float | None:
    key = f"blend_break_known_{name}"
    if not st.checkbox("The clear can be carried on to an edge or sharp break", key=key, persist_state="session"):
        return None
    return max(room_mm, panel_length("That far from the repair", f"break_{name}", START_BREAK_MM, unit, 1.0))


def _ask_next(name: str, unit: Length) -> NextPanel:
    tip = "Across the next panel, from the shared gap to its far edge."
    return NextPanel(panel_length("Room on that panel", f"next_{name}", START_NEXT_MM, unit, 1.0, tip))


def _ask_line(name: str, unit: Length) -> tuple[float, ...]:
    key = f"blend_line_on_{name}"
    if not st.checkbox("A body line on the way", key=key, persist_state="session"):
        return ()
    return (panel_length("The line's distance", f"line_{name}", START_LINE_MM, unit, 0.0),)


def put_around(panel: Panel) -> dict[str, float]:
    """Fill the fields of a panel's sides before they are drawn, and return the lengths to be filled besides.

    Raises :class:`PlanError` for a side of more body lines, or more of a next panel, than the page asks for; nothing is
    filled then.
    """
    if any(len(side.lines_mm) > 1 for side in panel.around):
        raise PlanError("it has several body lines on one side, which this page cannot show: plan it by the command")
    nexts = [side.next_panel for side in panel.around if side.next_panel]
    if any(beyond != NextPanel(beyond.room_mm) for beyond in nexts):
        raise PlanError(
            "it says more of a next panel than its room, which this page cannot show: plan it by the command"
        )
    said = {side.direction: side for side in panel.around}
    lengths: dict[str, float] = {}
    for direction in Direction:
        name, side = _named(panel.shape, direction), said.get(direction)
        st.session_state[f"blend_end_{name}"] = _usual(panel.shape, direction) if side is None else _there(side)
        st.session_state[f"blend_room_known_{name}"] = side is not None and side.room_mm is not None
        st.session_state[f"blend_line_on_{name}"] = side is not None and bool(side.lines_mm)
        st.session_state[f"blend_break_known_{name}"] = side is not None and side.break_mm is not None
        if side is not None:
            found = {
                f"room_{name}": side.room_mm,
                f"line_{name}": side.lines_mm[0] if side.lines_mm else None,
                f"next_{name}": side.next_panel.room_mm if side.next_panel else None,
                f"break_{name}": side.break_mm,
            }
            lengths |= {each: value for each, value in found.items() if value is not None}
    return lengths


def _there(side: Around) -> LiesThere:
    if not side.car_colour_beyond:
        return LiesThere.BARE
    return next(there for there, end in _ENDS.items() if end is side.end)
