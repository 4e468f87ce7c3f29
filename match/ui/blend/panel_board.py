"""The panel with its repairs, moved on the drawing by mouse, finger or keyboard: a Streamlit component of our own.

The number fields stay the other way to say the same: what is moved is written into them, what is typed moves here.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import streamlit as st

from match.blend.panel import Panel
from match.blend.sides import LARGEST_MM, MOST_REPAIRS, Length, Spot
from match.ui.blend.fields import PANEL, put_lengths
from match.ui.blend.whole_panel import LEAST_MM, panels, put_panel
from match.ui.kit.component import component

_HERE = Path(__file__).parent
KEY = "blend_board"
STEP_MM = {Length.MM: 5.0, Length.INCH: 25.4 / 4.0}
"""What is moved snaps to this, as lengths are told; an arrow key moves by two."""

_component = component("sprayout_panel_board", _HERE / "panel_board.js", css=_HERE / "panel_board.css")

_WORDS = {
    "hint": "Move a repair, its corner or an edge of the panel here, or type below.",
    "board": "The panel. Move its repairs and its edges; arrow keys move what is chosen, with Shift farther.",
    "repair": "Repair {number}: {left} from the left, {top} from the top.",
    "corner": "Size of repair {number}: {width} by {height}.",
    "width": "Panel {width} wide.",
    "height": "Panel {height} high.",
    "edges": {"left": "Left edge", "right": "Right edge", "up": "Upper edge", "down": "Lower edge"},
}


def show_board(panel: Panel, unit: Length) -> None:
    """Show the panel; what is moved on it is in the fields before they are drawn again."""
    scale = PANEL[unit]
    _component(
        key=KEY,
        data={
            "instance": panel.shape,
            "number": _number(st.session_state.get(KEY)),
            "outline": panels().shape(panel.shape).outline_mm((1.0, 1.0)).tolist(),
            "panel": {
                "width": panel.width_mm,
                "height": panel.height_mm,
                "spots": [
                    {"left": each.left_mm, "top": each.top_mm, "width": each.width_mm, "height": each.height_mm}
                    for each in panel.spots
                ],
            },
            "least": LEAST_MM,
            "most": LARGEST_MM,
            "step": STEP_MM[unit],
            "unit": scale.name,
            "per_unit": scale.kept_per_unit,
            "digits": scale.digits,
            "words": _WORDS,
        },
        on_moved_change=_take,
    )


def _take() -> None:
    """Write what was moved into the fields."""
    shape = st.session_state.get("blend_panel")
    moved = read_moved(st.session_state.get(KEY), str(shape)) if shape else None
    if moved is not None:
        put_lengths(put_panel(moved))


def read_moved(state: Any, shape: str) -> Panel | None:
    """Return the panel as the browser sent it, None for anything that is no panel."""
    moved = state.get("moved") if isinstance(state, Mapping) else None
    size = _lengths(moved, ("width", "height"))
    given = moved.get("spots") if isinstance(moved, Mapping) else None
    if size is None or not isinstance(given, list) or not 1 <= len(given) <= MOST_REPAIRS:
        return None
    places = [_lengths(each, ("left", "top", "width", "height")) for each in given]
    spots = tuple(Spot(*place) for place in places if place is not None)
    return Panel(shape, size[0], size[1], spots) if len(spots) == len(places) else None


def _lengths(plain: Any, names: tuple[str, ...]) -> list[float] | None:
    found = [plain.get(name) for name in names] if isinstance(plain, Mapping) else [None]
    lengths = [float(each) for each in found if isinstance(each, int | float) and not isinstance(each, bool)]
    return lengths if len(lengths) == len(found) and all(0.0 <= each <= LARGEST_MM for each in lengths) else None


def _number(state: Any) -> int:
    """Return the number of the last move that was heard of, by which the browser knows an answer from an older one."""
    moved = state.get("moved") if isinstance(state, Mapping) else None
    number = moved.get("number") if isinstance(moved, Mapping) else None
    return number if isinstance(number, int) and not isinstance(number, bool) else 0
