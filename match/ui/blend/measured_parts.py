"""Parts of the check with a colour of their own: on which side each lies, and what was found of it."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import streamlit as st

from match.blend.parts import MeasuredPart, PartAnswer, hold_to_parts, may_lie, parts_beside
from match.blend.sides import Direction, Repair
from match.ui.blend.answer import calibration
from match.ui.blend.colours import Colours
from match.ui.blend.room import Asked
from match.ui.kit.notices import steps
from match.ui.kit.style import unmarked
from match.words import capital


def with_parts(asked: Asked, colours: Colours) -> Asked:
    """Ask where each measured part lies and return the room with its parts; nothing is asked where there is none."""
    taken: dict[Direction, str] = {}
    measured = colours.checked.parts if colours.checked else ()
    for place, part in enumerate(each for each in measured if each.figures_hold):
        sides = [side.direction for side in asked.repairs[0].sides if may_lie(side)]
        chosen = _ask_side(part, [each for each in sides if each not in taken], f"blend_part_{place}")
        if chosen:
            taken[chosen] = part.name
    return replace(asked, repairs=tuple(_with_parts(repair, taken) for repair in asked.repairs))


def _with_parts(repair: Repair, taken: Mapping[Direction, str]) -> Repair:
    return replace(repair, sides=tuple(replace(side, part=taken.get(side.direction, "")) for side in repair.sides))


def _ask_side(part: MeasuredPart, free: Sequence[Direction], key: str) -> Direction | None:
    if st.session_state.get(key) not in free:
        st.session_state.pop(key, None)
    chosen = st.selectbox(
        unmarked(f"Where the {part.name} lies"),
        free,
        index=None,
        format_func=lambda direction: capital(direction.value),
        placeholder="Not beside this repair",
        key=key,
        persist_state="session",
        help="Its own colour was measured: the fade there is held to it.",
    )
    return Direction(chosen) if chosen else None


def held_to_parts(colours: Colours, asked: Asked) -> tuple[Asked, tuple[PartAnswer, ...]]:
    """Return the room with each part's side held to the part's own colour, and what was found of each."""
    measured = colours.checked.parts if colours.checked else ()
    beside = parts_beside(asked.repairs[0], measured)
    sureness = calibration().practice.fade.sureness
    repairs, parts = hold_to_parts(asked.repairs, colours.pairs, beside, asked.viewing.allowed, sureness)
    return replace(asked, repairs=repairs), parts


def show_parts(lines: Sequence[str]) -> None:
    """Show what was found of the parts: what differs before anybody paints comes first."""
    if lines:
        st.header("Parts with a colour of their own", anchor=False)
        st.html(steps(lines))
