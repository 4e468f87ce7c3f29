"""The coats page: does the card hide its own chart, and which step of a let-down card is nearest to the car."""

from enum import StrEnum

import streamlit as st

from match.ui.coats.hiding import show_hiding
from match.ui.coats.let_down import show_let_down
from match.ui.kit.choice import one_of


class Question(StrEnum):
    """What the page can answer."""

    HIDING = "Does the card hide?"
    LET_DOWN = "How many mid-coats?"


def page() -> None:
    """Show the page."""
    st.title("How many coats?", anchor=False)
    if one_of("Question", Question, Question.HIDING, "coats_question", is_titled=False) is Question.LET_DOWN:
        show_let_down()
    else:
        show_hiding()
