"""Colours met before that are nearest to a measured car."""

import streamlit as st

from match.history.records import Lab
from match.history.store import Store
from match.history.words import near_lead
from match.ui.history.rows import row_words, show_unreadable
from match.ui.kit import say
from match.ui.menu import link_to_check, link_to_colour

MOST_SHOWN = 6


def show_near(store: Store, lab: Lab, whose: str, leave_out: str | None = None) -> None:
    """Show the colours whose car came nearest to ``lab``; ``leave_out`` is the public id of the colour itself."""
    found = store.nearest_colours(lab, per_page=MOST_SHOWN + 1)
    show_unreadable(found.unreadable)
    near = [each for each in found.items if leave_out is None or leave_out not in (each.check.colour, each.check.id)][
        :MOST_SHOWN
    ]
    if not near:
        say.note("No other car has been measured yet.")
        return
    say.note(
        f"Cars measured before, nearest to {whose} first, in CIEDE2000. A near colour may be another paint: compare "
        "the cards in daylight."
    )
    for each in near:
        with st.container(horizontal=True, vertical_alignment="center", border=True, key=f"near_{each.check.id}"):
            st.html(row_words(each.check, near_lead(each)), width="stretch")
            if each.colour is not None:
                link_to_colour(each.colour.id, "Colour", "near")
            else:
                link_to_check(each.check.id, "Open", "near")
