"""The tint page and the history: keep a pot's cards and steps, or begin a pot with a check kept earlier."""

from __future__ import annotations

from collections.abc import Mapping

import streamlit as st

from match.errors import MatchError
from match.history.from_pot import new_cards, new_steps
from match.history.records import CheckRow, NewColour
from match.history.words import colour_title, day_and_time
from match.tint.shelf_file import Shelf
from match.tint.story import Story, begin, read_check
from match.ui.kit.notices import notices
from match.ui.kit.style import text
from match.ui.store import refusal_shown, store
from match.ui.tint import state

_SAVED, _STEPS, _FAULT = "tint_saved", "tint_saved_steps", "tint_begin_fault"
MOST_COLOURS, MOST_CHECKS = 500, 30


def show_history(story: Story | None, shelf: Shelf) -> None:
    """Show the folded panel; the history is opened only when it is asked for."""
    with st.expander("The history"):
        if not st.toggle("Open the history here", key="tint_history_on", persist_state="session"):
            return
        with refusal_shown("The history could not do that."):
            if story is not None:
                _ask_keep(story, shelf)
            _ask_begin()


def _ask_keep(story: Story, shelf: Shelf) -> None:
    """Keep what is not kept yet of this pot."""
    colour_id, card_ids, steps = _kept(story)
    waiting = 1 + sum(step.card is not None for step in story.steps) - len(card_ids)
    if colour_id:
        title = colour_title(store().get_colour(colour_id))
        st.html(f"<p class='sm-meaning'>{len(card_ids)} cards and {steps} steps are kept under {text(title)}.</p>")
    if waiting < 0 or _measured(story)[:steps] != st.session_state.get(_STEPS, {}).get(_pot(story), ())[:steps]:
        st.html(notices([("Steps that are kept were undone here since.", "Correct them in the history.")]))
        return
    if not waiting:
        return
    new_name, known = "", None
    if not colour_id:
        known = st.selectbox(
            "Colour",
            list(store().find_colours(per_page=MOST_COLOURS).items),
            index=None,
            format_func=colour_title,
            key="tint_keep_colour",
            placeholder="A new colour",
        )
        new_name = "" if known else st.text_input("The new colour's name", key="tint_keep_name", max_chars=80)
    if not st.button("Keep this pot's cards and steps", key="tint_keep", icon=":material/save:", width="stretch"):
        return
    if not colour_id and known is None and not new_name.strip():
        st.html(notices([("The colour has no name.", "Choose a colour or name a new one.")]))
        return
    _keep(story, shelf, colour_id or (known.id if known else store().add_colour(_colour(new_name)).id), card_ids, steps)
    st.rerun()


def _colour(name: str) -> NewColour:
    return NewColour(name=name.strip(), finish="solid")


def _keep(story: Story, shelf: Shelf, colour_id: str, card_ids: tuple[str, ...], steps: int) -> None:
    """Add the cards and steps that are not kept yet, remembering each as it is kept."""
    for card in new_cards(story, colour_id)[len(card_ids) :]:
        card_ids = (*card_ids, store().add_card(card).id)
        _remember(story, colour_id, card_ids, steps)
    for step in new_steps(story, card_ids, shelf, state.calibration().limits)[steps:]:
        store().add_tint_step(step)
        steps += 1
        st.session_state[_STEPS] = {**st.session_state.get(_STEPS, {}), _pot(story): _measured(story)}
        _remember(story, colour_id, card_ids, steps)


def _kept(story: Story) -> tuple[str, tuple[str, ...], int]:
    """Return colour id, card ids and number of steps kept of this pot in this visit."""
    found: tuple[str, tuple[str, ...], int] = st.session_state.get(_SAVED, {}).get(_pot(story), ("", (), 0))
    return found


def _remember(story: Story, colour_id: str, card_ids: tuple[str, ...], steps: int) -> None:
    kept = {**st.session_state.get(_SAVED, {}), _pot(story): (colour_id, card_ids, steps)}
    st.session_state[_SAVED] = kept


def _measured(story: Story) -> tuple[Mapping[str, float], ...]:
    """Return what was added in each step that has a card."""
    return tuple(step.additions_g for step in story.steps if step.card is not None)


def _pot(story: Story) -> tuple[object, ...]:
    return story.start.name, story.start.delta_lab, story.vehicle_lab


def _ask_begin() -> None:
    """Begin a pot with a kept check."""
    rows = list(store().find_checks(per_page=MOST_CHECKS).items)
    row = st.selectbox(
        "Begin with a check kept earlier",
        rows,
        index=None,
        format_func=_title,
        key="tint_begin_check",
        placeholder="Choose a check" if rows else "No check is kept yet",
    )
    if row is None:
        return
    st.button("Begin a new pot with it", key="tint_begin", on_click=_begin, args=(row.id, _title(row)))
    if st.session_state.get(_FAULT):
        st.html(notices([("This check cannot be tinted from.", str(st.session_state[_FAULT]))]))


def _begin(check_id: str, title: str) -> None:
    st.session_state[_FAULT] = None
    try:
        checked = read_check(store().get_check(check_id).result, title)
        state.keep(begin(checked, float(st.session_state[state.POT])))
    except MatchError as error:
        st.session_state[_FAULT] = str(error)


def _title(row: CheckRow) -> str:
    name = row.colour_name or row.code or "no colour"
    far = "" if row.delta_e00 is None else f", {row.delta_e00:.1f} apart"
    return f"{name}, {day_and_time(row.created_at)}: {row.verdict}{far}"
