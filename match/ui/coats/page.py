"""The coats page: does the card hide its own chart, and which step of a let-down card is nearest to the car."""

from __future__ import annotations

from enum import StrEnum

import streamlit as st

from match.ui.coats.hiding import show_hiding
from match.ui.coats.let_down import show_let_down


class Question(StrEnum):
    """What the page can answer."""

    HIDING = "Does the card hide?"
    LET_DOWN = "How many mid-coats?"


def page() -> None:
    """Show the page."""
    st.title("How many coats?", anchor=False)
    question = st.segmented_control(
        "Question",
        list(Question),
        default=Question.HIDING,
        required=True,
        key="coats_question",
        persist_state="session",
        label_visibility="collapsed",
    )
    if question == Question.LET_DOWN:
        show_let_down()
    else:
        show_hiding()
