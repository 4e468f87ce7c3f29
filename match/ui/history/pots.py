"""The pots of one colour: each from its formula to its last card, how it ended, and the way back to the tint page."""

import json
from dataclasses import replace

import streamlit as st

from match.errors import MatchError
from match.history.records import ENDS, PotRecord
from match.history.store import Store
from match.history.words import END_WORDS, day_and_time
from match.tint.foreseen import Foreseen, foreseen
from match.tint.path_picture import path_picture, path_words, story_places
from match.tint.shelf_file import load_shelf
from match.tint.story import Story, story_from
from match.tint.story_words import story_lines
from match.tint.what_next import load_tint_calibration
from match.ui.kit import say
from match.ui.kit.download import download
from match.ui.kit.layout import PICTURE_WIDTH_PX
from match.ui.kit.notices import steps
from match.ui.menu import link_to_pot
from match.ui.store import keep_first, refusal_shown, show_refusal


def show_pots(history: Store, pots: tuple[PotRecord, ...]) -> None:
    """Show every pot of a colour, the newest open."""
    if not pots:
        return
    st.header("Pots", anchor=False)
    for place, pot in enumerate(reversed(pots)):
        title = f"{day_and_time(pot.created_at)}: {len(pot.cards)} cards, {END_WORDS[pot.ended]}"
        with st.expander(title, expanded=place == 0), refusal_shown("This pot cannot be shown."):
            _show_pot(history, pot)


def _show_pot(history: Store, pot: PotRecord) -> None:
    story = story_from(pot.story, pot.name)
    predictions = _predictions(story)
    left, right = st.columns((1, 1), gap="large")
    with left:
        st.html(steps(story_lines(story, predictions)))
        if pot.notes:
            say.note(pot.notes)
        with st.container(horizontal=True, vertical_alignment="center"):
            link_to_pot(pot.id, "Go on with this pot")
            written = json.dumps(story.as_dict(), indent=1)
            download("Save it as a file", written, f"pot-{pot.id[:8]}.json", key=f"pot_json_{pot.id}")
            st.button(
                "Delete",
                key=f"pot_delete_{pot.id}",
                icon=":material/delete:",
                help="It can be brought back; its cards stay.",
                on_click=keep_first,
                args=("It was not deleted.", f"pot_{pot.id}", history.delete, pot.id),
            )
        _ask_end(history, pot)
    with right:
        cards, predicted = story_places(story, predictions)
        picture = path_picture(cards, None, predicted)
        st.image(picture, alt=path_words(cards, None, predicted), width=PICTURE_WIDTH_PX)
        say.note(
            "Each card against the car in its own photo. A white number is where that card was predicted, from the "
            "cards before it and by the toners as the shelf holds them today."
        )


def _predictions(story: Story) -> tuple[Foreseen, ...]:
    """Return the predictions; none where the shelf has lost a toner of this pot, which is said."""
    try:
        return foreseen(story, load_shelf(), load_tint_calibration().limits)
    except MatchError as error:
        say.notice("What was predicted cannot be shown.", error)
        return ()


def _ask_end(history: Store, pot: PotRecord) -> None:
    with st.form(f"pot_end_{pot.id}", enter_to_submit=False):
        st.selectbox(
            "How it ended", ENDS, index=ENDS.index(pot.ended), format_func=END_WORDS.__getitem__, key=f"ended_{pot.id}"
        )
        st.text_input("Notes on this pot", pot.notes, key=f"pot_notes_{pot.id}")
        st.form_submit_button(
            "Keep these",
            on_click=keep_first,
            args=("That could not be kept.", f"pot_{pot.id}", _keep_end, history, pot),
        )
    show_refusal(f"pot_{pot.id}")


def _keep_end(history: Store, pot: PotRecord) -> None:
    typed = {"ended": st.session_state[f"ended_{pot.id}"], "notes": st.session_state[f"pot_notes_{pot.id}"]}
    history.edit(replace(pot, **typed))
    st.toast("Kept.")
