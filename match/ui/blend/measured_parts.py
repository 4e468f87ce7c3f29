"""Parts of the check with a colour of their own: on which side each lies, and what was found of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from match.blend.parts import MeasuredPart, PartAnswer, judge_parts, may_lie, parts_beside
from match.blend.sides import Direction
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
        sides = [side.direction for side in asked.repair.sides if may_lie(side)]
        chosen = _ask_side(part, [each for each in sides if each not in taken], f"blend_part_{place}")
        if chosen:
            taken[chosen] = part.name
    sides_with = tuple(replace(side, part=taken.get(side.direction, "")) for side in asked.repair.sides)
    return replace(asked, repair=replace(asked.repair, sides=sides_with))


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
    beside = parts_beside(asked.repair, measured)
    sureness = calibration().practice.fade.sureness
    repair, parts = judge_parts(asked.repair, colours.pairs, beside, asked.viewing.allowed, sureness)
    return replace(asked, repair=repair), parts


def show_parts(lines: Sequence[str]) -> None:
    """Show what was found of the parts: what differs before anybody paints comes first."""
    if lines:
        st.subheader("Parts with a colour of their own", anchor=False)
        st.html(steps(lines))
