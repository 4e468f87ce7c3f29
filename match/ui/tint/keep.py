"""The tint page and the history: keep a pot whole, go on with a kept one, or begin a pot with a check kept earlier."""

import streamlit as st

from match.errors import MatchError, StoreError
from match.history.from_pot import earlier_pots, kept_pot
from match.history.pots import same_start, same_story
from match.history.records import CheckRow, NewColour, PotRecord
from match.history.words import colour_title, day_and_time, unreadable_line
from match.tint.card_from_check import read_check
from match.tint.shelf_file import Shelf
from match.tint.story import Story, begin, story_from
from match.ui.kit import say
from match.ui.kit.notices import notices
from match.ui.record_choice import ask_colour, chosen_colour, one_record
from match.ui.store import keep_first, refusal_shown, show_refusal, store
from match.ui.tint import state

_SAVED, _FAULT, _BROKEN = "tint_saved", "tint_begin_fault", "tint_earlier_broken"
ADDRESS = "pot"
MOST_CHECKS = 30
_COLOUR, _NEW_COLOUR = "tint_keep_colour", "tint_keep_name"


def open_asked() -> None:
    """Go on with the pot that the page's address names, once."""
    pot_id = st.query_params.get(ADDRESS)
    if not pot_id:
        return
    with refusal_shown("This pot cannot be opened."):
        pot = store().get_pot(pot_id)
        if pot.deleted_at is not None:
            raise StoreError("this pot is deleted: bring it back first, on the History page")
        story = story_from(pot.story, pot.name)
        state.open_story(story)
        _remember(story, pot.id)
        del st.query_params[ADDRESS]


def show_history(story: Story | None, shelf: Shelf) -> None:
    """Show the folded panel; the history is opened only when it is asked for."""
    with st.expander("The history"):
        if not st.toggle("Open the history here", key="tint_history_on", persist_state="session"):
            return
        show_refusal("tint_keep")
        with refusal_shown("The history could not do that."):
            if story is not None:
                _ask_keep(story, shelf)
            _ask_earlier()
            _ask_begin()


def _ask_keep(story: Story, shelf: Shelf) -> None:
    """Keep what is not kept yet of this pot."""
    pot = _kept(story)
    kept = story_from(pot.story, pot.name) if pot else None
    if kept is not None and not same_start(kept, story):
        say.notice("Steps that are kept were undone here since.", "Keep it as a new pot, or open the kept one.")
        pot = None
    if pot is not None:
        title = colour_title(store().get_colour(pot.colour))
        steps = len(pot.cards) - 1
        say.meaning(f"{len(pot.cards)} cards and {steps} steps are kept under {title}.")
        if kept is not None and same_story(kept, story):
            return
    else:
        ask_colour("Colour", _COLOUR, _NEW_COLOUR)
    st.button(
        "Keep this pot",
        key="tint_keep",
        icon=":material/save:",
        width="stretch",
        on_click=keep_first,
        args=("The pot was not kept.", "tint_keep", _keep, story, shelf, pot),
    )


def _keep(story: Story, shelf: Shelf, pot: PotRecord | None) -> None:
    colour: str | NewColour = pot.colour if pot else chosen_colour(_COLOUR, _NEW_COLOUR, finish="solid")
    kept = store().keep_pot(kept_pot(story, colour, shelf, state.calibration().limits, pot))
    _remember(story, kept.id)


def _ask_earlier() -> None:
    """Ask whether earlier pots teach the toners' strengths."""
    st.toggle(
        "Begin with the toner strengths that earlier pots taught",
        key=state.EARLIER_ON,
        persist_state="session",
        help="From every kept pot of known formula. Its cards show how strong this shop's toners really are.",
        on_change=keep_first,
        args=("The earlier pots cannot be read.", "tint_keep", _take_earlier),
    )
    broken = st.session_state.get(_BROKEN, ())
    if broken and st.session_state[state.EARLIER_ON]:
        st.html(notices((unreadable_line(pot), "It teaches nothing; the others do.") for pot in broken))


def learn_if_asked() -> None:
    """Read the earlier pots where a bench that was put back says that they teach; raises as the history does."""
    if st.session_state.get(state.EARLIER_ON) and not state.has_learned():
        _take_earlier()


def _take_earlier() -> None:
    if not st.session_state[state.EARLIER_ON]:
        state.learn_from(None)
        return
    found = earlier_pots(store(), None)
    st.session_state[_BROKEN] = found.unreadable
    state.learn_from(found.stories)


def _kept(story: Story) -> PotRecord | None:
    """Return the pot as it was kept or opened in this visit; none where it was deleted since."""
    pot_id = st.session_state.get(_SAVED, {}).get(_pot(story))
    pot = store().get_pot(pot_id) if pot_id else None
    return pot if pot is not None and pot.deleted_at is None else None


def _remember(story: Story, pot_id: str) -> None:
    st.session_state[_SAVED] = {**st.session_state.get(_SAVED, {}), _pot(story): pot_id}


def _pot(story: Story) -> tuple[object, ...]:
    return story.start.name, story.start.delta_lab, story.vehicle_lab


def _ask_begin() -> None:
    """Begin a pot with a kept check."""
    rows = store().find_checks(per_page=MOST_CHECKS).items
    placeholder = "Choose a check" if rows else "No check is kept yet"
    row = one_record("Begin with a check kept earlier", rows, _title, "tint_begin_check", placeholder)
    if row is None:
        return
    st.button("Begin a new pot with it", key="tint_begin", on_click=_begin, args=(row.id, _title(row)))
    if st.session_state.get(_FAULT):
        say.notice("This check cannot be tinted from.", st.session_state[_FAULT])


def _begin(check_id: str, title: str) -> None:
    st.session_state[_FAULT] = None
    try:
        checked = read_check(store().get_check(check_id).result, title)
        state.keep(begin(checked, float(st.session_state[state.POT])))
    except MatchError as error:
        st.session_state[_FAULT] = error


def _title(row: CheckRow) -> str:
    name = row.colour_name or row.code or "no colour"
    far = "" if row.delta_e00 is None else f", {row.delta_e00:.1f} apart"
    return f"{name}, {day_and_time(row.created_at)}: {row.verdict}{far}"
