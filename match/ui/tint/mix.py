"""The form of the tint page: the finish, the pot, the formula, and the toners that may be added."""

from dataclasses import dataclass, replace

import streamlit as st

from match.check.verdict import Finish
from match.errors import TintError
from match.tint.shelf_file import Shelf
from match.tint.story import Mix, Story
from match.tint.tinting import Wanted
from match.ui.kit.style import unmarked
from match.ui.kit.typed import number
from match.ui.tint import state

FIRST_ROWS = 3
MOST_PARTS = 1e6
"""Engineering choice: a formula in hundredths of a gram for a large can."""


@dataclass(frozen=True)
class Asked:
    """What the form holds."""

    story: Story
    wanted: Wanted


def prepare(shelf: Shelf) -> None:
    """Give every field its first value, once a visit."""
    first = {
        "tint_finish": Finish.SOLID,
        state.POT: state.calibration().pot.test_pot_g,
        state.BATCH: 0.0,
        state.RESERVE: 0.0,
        state.MIX: state.calibration().pot.test_pot_g,
        state.ON_TOP: False,
        state.FORMULA_ON: False,
        state.ROWS: (),
        state.SHARE: 100.0,
        state.ALLOWED: list(shelf.offered or shelf.toners),
    }
    for key, value in first.items():
        if key not in st.session_state:
            st.session_state[key] = value
    allowed = [name for name in st.session_state[state.ALLOWED] if name in shelf.toners]
    new = st.session_state.pop(state.NEW_TONER, None)
    st.session_state[state.ALLOWED] = allowed if new is None or new in allowed else [*allowed, new]


def ask_finish() -> Finish:
    """Ask for the kind of paint."""
    chosen = st.segmented_control(
        "Finish",
        list(Finish),
        required=True,
        format_func=lambda finish: finish.value.capitalize(),
        help="Tint advice is for solid colours; a metallic or pearl needs alternates of its formula.",
        key="tint_finish",
        persist_state="session",
    )
    return Finish(chosen or Finish.SOLID)


def ask_mix(story: Story, shelf: Shelf) -> Asked:
    """Show the form and return the story with what it holds."""
    begun = bool(story.steps)
    with st.container(horizontal=True):
        pot_g = _grams("Test pot (g)", state.POT, 1.0, "Untinted paint weighed into the pot.", disabled=begun)
        batch_g = _grams("Batch (g)", state.BATCH, 0.0, "Untinted paint you will tint once the pot is right.")
        reserve_g = _grams("Reserve (g)", state.RESERVE, 0.0, "Untinted paint at hand to thin an over-tinted pot.")
    formula, share, mix_g, on_top = _ask_formula(shelf), 1.0, 0.0, False
    if formula is not None:
        with st.expander("Toner's share, next mix"):
            share, (mix_g, on_top) = _ask_share(), _ask_next_mix()
    with st.expander("Toners on the shelf"):
        allowed = st.pills(
            "Toners that may be added",
            list(shelf.toners),
            selection_mode="multi",
            format_func=unmarked,
            key=state.ALLOWED,
            persist_state="session",
            help="Take out those you do not have. Those in the formula are preferred.",
        )
    if not allowed:
        raise TintError("no toner may be added: choose at least one under Toners on the shelf")
    some = tuple(name for name in shelf.toners if name in allowed)
    mix = Mix(formula, share, None if some == (shelf.offered or tuple(shelf.toners)) else some)
    wanted = Wanted(batch_g, reserve_g, mix_g, on_top)
    return Asked(replace(story, mix=mix, pot_g=story.pot_g if begun else pot_g), wanted)


def _ask_next_mix() -> tuple[float, bool]:
    """Return the amount of the next mix and whether it goes on top of the pot."""
    with st.container(horizontal=True, vertical_alignment="bottom"):
        mix_g = _grams("Next mix (g)", state.MIX, 1.0, "How much the next mix is to make, if one is advised.")
        on_top = st.toggle(
            "On top of the pot",
            key=state.ON_TOP,
            persist_state="session",
            help="Pour it on what is in the pot, where that makes no more than twice the paint; else into a fresh can.",
        )
    return mix_g, bool(on_top)


def _grams(label: str, key: str, least: float, tip: str, *, disabled: bool = False) -> float:
    held = st.session_state[key]
    return number(
        label,
        least,
        least,
        100_000.0,
        key=key,
        step=10.0,
        digits=0 if held is None or float(held).is_integer() else 2,
        unit="g",
        tip=tip,
        disabled=disabled,
        width=104,
    )


def _ask_formula(shelf: Shelf) -> dict[str, float] | None:
    """Return the formula in parts; None where nobody knows it."""
    known = st.toggle(
        "I know the formula",
        key=state.FORMULA_ON,
        persist_state="session",
        on_change=_first_rows,
        help="Without it the toners in the paint are guessed from its colour, and the advice is rougher.",
    )
    if not known:
        return None
    formula: dict[str, float] = {}
    for row in st.session_state[state.ROWS]:
        name, parts = _ask_row(row, shelf)
        if parts > 0:
            formula[name] = formula.get(name, 0.0) + parts
    st.button("Add a toner", key="tint_add_row", icon=":material/add:", on_click=_add_row)
    if not formula:
        raise TintError("the formula is empty: give the parts of at least one toner, or switch it off")
    return formula


def _ask_share() -> float:
    """Return the share (0 to 1) of the paint that the formula's toners make up."""
    percent = number(
        "Toners make up (% of the paint's weight)",
        100.0,
        1.0,
        100.0,
        key=state.SHARE,
        step=5.0,
        unit="%",
        tip="100 when the rows above are the whole paint; less when binder, thinner or hardener come on top.",
    )
    return percent / 100


def _ask_row(row: int, shelf: Shelf) -> tuple[str, float]:
    names = list(shelf.toners)
    if st.session_state.get(f"tint_toner_{row}") not in names:
        st.session_state[f"tint_toner_{row}"] = names[0]
    with st.container(horizontal=True, vertical_alignment="center", key=f"tint_row_{row}"):
        name = st.selectbox(
            "Toner", names, key=f"tint_toner_{row}", persist_state="session", label_visibility="collapsed"
        )
        parts = number(
            "Parts",
            0.0,
            0.0,
            MOST_PARTS,
            key=f"tint_parts_{row}",
            step=1.0,
            digits=2,
            unit="parts",
            label_visibility="collapsed",
            width=100,
        )
        st.button(
            ":material/close:",
            key=f"tint_remove_{row}",
            on_click=_remove_row,
            args=(row,),
            type="tertiary",
            help="Take this row out",
        )
    return str(name), parts


def _first_rows() -> None:
    if st.session_state[state.FORMULA_ON] and not st.session_state[state.ROWS]:
        names = ("white", "black", "yellow")[:FIRST_ROWS]
        state.fill_formula({name: 100.0 if name == "white" else 0.0 for name in names})


def _add_row() -> None:
    row = st.session_state.get("tint_next_row", 0)
    st.session_state["tint_next_row"] = row + 1
    st.session_state[state.ROWS] = (*st.session_state[state.ROWS], row)
    st.session_state[f"tint_parts_{row}"] = 0.0


def _remove_row(row: int) -> None:
    st.session_state[state.ROWS] = tuple(kept for kept in st.session_state[state.ROWS] if kept != row)
