"""The tint page: a checked card in, which toner and how much out; then the next card, and whether it helped."""

from functools import partial
from pathlib import Path

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from match.check.verdict import Finish
from match.demo.pot import is_demo
from match.errors import MatchError
from match.tint.card import CheckedCard
from match.tint.card_from_check import EFFECT_PAINT
from match.tint.shelf_file import Shelf
from match.tint.story import Story, begin
from match.tint.what_next import Answer, headline
from match.ui.kit import say, style
from match.ui.kit.layout import ANSWER_COLUMNS
from match.ui.kit.notices import sentence
from match.ui.kit.style import text
from match.ui.store import refusal_shown
from match.ui.tint import state
from match.ui.tint.answer import (
    show_advice,
    show_amounts,
    show_attempt,
    show_cautions,
    show_grounds,
    show_path,
    show_pours,
)
from match.ui.tint.keep import learn_if_asked, open_asked, show_history
from match.ui.tint.log import ask_added, ask_mixed, show_log, show_new_check, show_saving, show_waiting
from match.ui.tint.mix import Asked, ask_finish, ask_mix, prepare
from match.ui.tint.toners import show_own_toners
from match.words import INVENTED


def page() -> None:
    """Show the page."""
    style.load(Path(__file__).with_name("tint_page.css"))
    st.title("Which toner, and how much?", anchor=False)
    with refusal_shown("The earlier pots cannot be read."):
        learn_if_asked()
    try:
        shelf = state.shelf()
        prepare(shelf)
        open_asked()
    except MatchError as error:
        say.notice("The toners cannot be read.", error)
        return
    latest, fault = _latest()
    form, shown = st.columns(ANSWER_COLUMNS, gap="large")
    with form:
        if ask_finish() is not Finish.SOLID:
            say.notice("No tint advice for this finish.", sentence(EFFECT_PAINT))
            return
        story = state.kept_story() or (begin(latest, float(st.session_state[state.POT])) if latest else None)
        if fault and (story is None or not is_demo(story)):
            say.notice("The last check cannot be tinted from.", fault)
        asked = _ask(story, shelf) if story else None
        show_own_toners(shelf)
        show_saving(asked.story if asked else None)
        show_history(asked.story if asked else None, shelf)
    if asked is not None:
        _show(asked, shelf, latest, shown)
    elif story is None:
        with shown:
            say.lead("Check a card that calls for a new tint on the Check page, then come here. Or open a saved one.")


def _latest() -> tuple[CheckedCard | None, MatchError | None]:
    """Return the last check of the visit, or why it cannot be tinted from."""
    try:
        return state.latest(), None
    except MatchError as error:
        return None, error


def _ask(story: Story, shelf: Shelf) -> Asked | None:
    source = INVENTED if is_demo(story) else story.start.name
    say.note(source)
    try:
        asked = ask_mix(story, shelf)
    except MatchError as error:
        say.notice("This mix cannot be tinted.", error)
        return None
    if state.kept_story() is not None:
        state.keep(asked.story)
    return asked


def _show(asked: Asked, shelf: Shelf, latest: CheckedCard | None, shown: DeltaGenerator) -> None:
    """Show the next step beside the form, and what it rests on below."""
    story = asked.story
    try:
        with shown:
            if story.waiting:
                show_waiting(story, shelf, latest)
                show_path(story, shelf, None)
                found = None
            else:
                found = state.answered(story, asked.wanted)
                _show_answer(found, shelf, latest)
    except MatchError as error:
        with shown:
            say.notice("This pot cannot be advised on.", error)
        found = None
    pot, grounds = st.columns(ANSWER_COLUMNS, gap="large")
    with pot:
        show_log(story)
    with grounds:
        if found:
            show_grounds(found)
        show_cautions()


def _show_answer(found: Answer, shelf: Shelf, latest: CheckedCard | None) -> None:
    if state.kept_story() is not None:
        show_new_check(found.story, latest)
    show_attempt(found)
    show_advice(found)
    show_pours(found, partial(ask_mixed, found))
    show_path(found.story, shelf, found)
    show_amounts(found)
    ask_added(found.story, shelf, found)
    st.html(f'<div class="tint-strip" role="status"><b>{text(headline(found))}</b></div>')
