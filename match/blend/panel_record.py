"""A described panel as plain values, and back again: for keeping, checked field by field when it is read."""

from collections.abc import Mapping
from typing import Any

from match.blend.panel import Around, Panel
from match.blend.sides import LARGEST_MM, MOST_REPAIRS, Direction, End, NextPanel, Spot
from match.errors import PlanError

PLACE = ("left_mm", "top_mm", "width_mm", "height_mm")
MOST_LINES = 20
LONGEST_NAME = 200


def panel_as_record(panel: Panel) -> dict[str, Any]:
    """Return the panel as dictionaries, lists, texts and numbers; lengths in mm."""
    return {
        "shape": panel.shape,
        "width_mm": panel.width_mm,
        "height_mm": panel.height_mm,
        "repairs": [{name: getattr(spot, name) for name in PLACE} for spot in panel.spots],
        "sides": [_side(side) for side in panel.around],
    }


def _side(side: Around) -> dict[str, Any]:
    following = side.next_panel
    beyond = None
    if following is not None:
        beyond = {
            "room_mm": following.room_mm,
            "end": following.end.name.lower(),
            "car_colour_beyond": following.car_colour_beyond,
            "lines_mm": list(following.lines_mm),
        }
    return {
        "side": side.direction.name.lower(),
        "room_mm": side.room_mm,
        "end": side.end.name.lower(),
        "car_colour_beyond": side.car_colour_beyond,
        "lines_mm": list(side.lines_mm),
        "next_panel": beyond,
        "break_mm": side.break_mm,
        "label": side.label,
    }


def panel_from(plain: Any) -> Panel:
    """Return a panel from plain values; whether its repairs lie on it is seen when it is planned.

    Raises :class:`PlanError` naming what is missing or cannot be.
    """
    said = _object(plain, "the panel", ("shape", "width_mm", "height_mm", "repairs", "sides"))
    spots = [
        _spot(each, "a repair of the panel")
        for each in _list(said["repairs"], "the repairs of the panel", MOST_REPAIRS)
    ]
    around = [
        _around(each, "a side of the panel") for each in _list(said["sides"], "the sides of the panel", len(Direction))
    ]
    if not spots:
        raise PlanError("the panel has no repair: describe it again")
    if len({side.direction for side in around}) != len(around):
        raise PlanError("the panel says something of one side twice: describe it again")
    width, height = (_length(said[name], f"the {name[:-3]} of the panel") for name in ("width_mm", "height_mm"))
    return Panel(_word(said["shape"], "the shape of the panel"), width, height, tuple(spots), tuple(around))


def _spot(plain: Any, what: str) -> Spot:
    said = _object(plain, what, PLACE)
    return Spot(*(_length(said[name], f"the {name[:-3]} of {what}") for name in PLACE))


def _around(plain: Any, what: str) -> Around:
    names = ("side", "room_mm", "end", "car_colour_beyond", "lines_mm", "next_panel", "break_mm", "label")
    said = _object(plain, what, names)
    following = None
    if said["next_panel"] is not None:
        beyond = _object(
            said["next_panel"], f"{what}'s next panel", ("room_mm", "end", "car_colour_beyond", "lines_mm")
        )
        following = NextPanel(
            _length(beyond["room_mm"], f"the room of {what}'s next panel"),
            _member(End, beyond["end"], f"the end of {what}'s next panel"),
            _yes_or_no(beyond["car_colour_beyond"], what),
            _lengths(beyond["lines_mm"], what),
        )
    return Around(
        _member(Direction, said["side"], what),
        None if said["room_mm"] is None else _length(said["room_mm"], f"the room of {what}"),
        _member(End, said["end"], f"the end of {what}"),
        _yes_or_no(said["car_colour_beyond"], what),
        _lengths(said["lines_mm"], what),
        following,
        None if said["break_mm"] is None else _length(said["break_mm"], f"the break of {what}"),
        _word(said["label"], f"the label of {what}"),
    )


def _object(plain: Any, what: str, names: tuple[str, ...]) -> Mapping[str, Any]:
    if not isinstance(plain, Mapping) or set(plain) != set(names):
        raise PlanError(f"{what} does not have the fields {', '.join(names)}: describe it again")
    return plain


def _list(plain: Any, what: str, most: int) -> list[Any]:
    if not isinstance(plain, list) or len(plain) > most:
        raise PlanError(f"{what} are no list of at most {most}: describe it again")
    return plain


def _length(value: Any, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value <= LARGEST_MM:
        raise PlanError(f"{what} is no length from 0 to {LARGEST_MM:g} mm: describe it again")
    return float(value)


def _lengths(plain: Any, what: str) -> tuple[float, ...]:
    lines = _list(plain, f"the lines of {what}", MOST_LINES)
    return tuple(_length(each, f"a line of {what}") for each in lines)


def _word(value: Any, what: str) -> str:
    if not isinstance(value, str) or len(value) > LONGEST_NAME:
        raise PlanError(f"{what} is no text of at most {LONGEST_NAME} characters: describe it again")
    return value


def _yes_or_no(value: Any, what: str) -> bool:
    if not isinstance(value, bool):
        raise PlanError(f"{what} does not say whether the car's colour goes on there: describe it again")
    return value


def _member(kind: Any, name: Any, what: str) -> Any:
    if not isinstance(name, str) or name.upper() not in kind.__members__:
        known = ", ".join(each.lower() for each in kind.__members__)
        raise PlanError(f"{what} is not one of {known}: describe it again")
    return kind[name.upper()]
