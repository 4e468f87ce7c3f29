"""Several cards in one photo: all beside the car on one ground, around it in a picture, and which one goes on."""

import streamlit as st

from match.check.cards import CardsAnswer
from match.ui import session
from match.ui.check.cards_picture import cards_picture, cards_words
from match.ui.kit import say
from match.ui.kit.choice import one_of
from match.ui.kit.layout import COLUMNS, PICTURE_WIDTH_PX
from match.ui.kit.notices import steps
from match.ui.kit.style import unmarked
from match.ui.kit.swatches import swatches_on_one_car

NEAREST = ""
"""Stands for whichever card reads nearest."""


def show_cards(answer: CardsAnswer) -> None:
    """Show every card against the car, in the order of the photo, and ask which one counts."""
    st.header("The cards", anchor=False)
    left, right = st.columns(COLUMNS, gap="large")
    with left:
        st.html(card_swatches(answer) + steps(card.sentence for card in answer.cards))
        _ask_which(answer)
    with right:
        st.image(cards_picture(answer), alt=cards_words(answer), width=PICTURE_WIDTH_PX)
        say.note(
            "The dashed shapes hold the true place 95 times in 100. Light, grey and camera move all cards together, "
            "so which is nearer is surer than how far each is. The filled one gives the verdict."
        )


def card_swatches(answer: CardsAnswer) -> str:
    """Return HTML with the cards side by side, all touching one field of the car's colour, nothing between them."""
    shown = [card for card in answer.cards if card.result.figures_hold]
    if not shown:
        return ""
    named = [(card.name, card.result.measurement.card_lab) for card in shown]
    return swatches_on_one_car(named, answer.front_card.result.measurement.vehicle_lab)


def _ask_which(answer: CardsAnswer) -> None:
    names = [NEAREST, *(card.name for card in answer.cards)]
    if st.session_state.get(session.CARD_NAME) not in names:
        st.session_state.pop(session.CARD_NAME, None)
    tip = "Verdict, tint, blend and history go on with this card."
    said = {name: unmarked(name) or "The nearest" for name in names}
    one_of("The card that counts", names, NEAREST, session.CARD_NAME, said.__getitem__, tip=tip)
