"""The shop's own toners: by name and strength, or measured from let-downs photographed on the check page."""

import numpy as np
import streamlit as st

from match.check.words import DoubtCode
from match.tint import shelf_file as shelves
from match.tint.card_from_check import card_colour
from match.tint.own_toner import LetDown, measure_toner
from match.tint.shelf_file import Shelf
from match.ui import session
from match.ui.kit import say
from match.ui.kit.notices import sentence
from match.ui.kit.style import unmarked
from match.ui.kit.typed import number
from match.ui.marker.box_names import called_in
from match.ui.store import refusal_shown
from match.ui.tint import state
from match.ui.tint.toner_list import ask_list, ask_shelf

UNKNOWN_CLASS = "I do not know"
_NAMED = "tint_named_kept"


def show_own_toners(shelf: Shelf) -> None:
    """Show the folded forms."""
    with st.expander("Your own toners"), refusal_shown("This toner cannot be used."):
        say.meaning(
            "The toners that come with the program are invented pigment classes. Yours differ: give them a strength, "
            "or measure them."
        )
        ask_shelf(shelf)
        ask_list(shelf)
        _ask_named(shelf)
        _ask_measured(shelf)
        _ask_removal(shelf)


def _ask_named(shelf: Shelf) -> None:
    if st.session_state.pop(_NAMED, False):
        st.session_state["tint_own_name"] = ""  # only once it is on the shelf: a refused name stays to be mended
    with st.form("tint_named"):
        name = st.text_input("Name", key="tint_own_name")
        like = st.selectbox("It is like", _classes(shelf), key="tint_own_like")
        strength = st.number_input(
            "Strength",
            value=1.0,
            step=0.05,
            key="tint_own_strength",
            help="1 tints as the class does; 0.8 needs a quarter more of it for the same effect.",
        )
        done = st.form_submit_button("Put it on the shelf")
    if done:
        toner = shelves.keep_named(name, str(like), float(strength))
        st.session_state[_NAMED] = True
        _on_shelf(toner.name)


def _ask_measured(shelf: Shelf) -> None:
    st.html(
        "<p class='sm-title'>Measure one</p><p class='sm-meaning'>Mix the toner into white at a weighed share, 2 to 10 "
        "%, spray a card to full hiding, and check it on the Check page as the card. Two shares tell more than one.</p>"
    )
    taken = state.letdowns()
    for name, letdown in taken:
        say.note(f"{name}: {100 * letdown.share_by_weight:g} % toner in white")
    _take_latest()
    if not taken:
        return
    with st.form("tint_measure"):
        name = st.text_input("What you call it", key="tint_measured_name")
        like = st.selectbox("It is like", [UNKNOWN_CLASS, *_classes(shelf)], key="tint_measured_like")
        done = st.form_submit_button("Measure it and put it on the shelf")
    st.button("Forget these let-downs", key="tint_forget_letdowns", on_click=state.forget_letdowns)
    if done:
        limits = state.calibration().limits
        alike = None if like == UNKNOWN_CLASS else shelf.toner(str(like))
        white = shelf.toner("white")
        measured = measure_toner(name.strip(), [each for _, each in taken], white, shelf.optics, limits, alike)
        shelves.keep_measured(measured)
        said = f"Its strength is known to about {100 * measured.log_strength_sd:.0f} %."
        st.session_state["tint_measured_said"] = (said, *measured.reasons)
        state.forget_letdowns()
        _on_shelf(measured.toner.name)


def _take_latest() -> None:
    """Offer the last check's card as a let-down."""
    check = session.latest_check()
    for line in st.session_state.pop("tint_measured_said", ()):
        say.meaning(sentence(line))
    if check is None or check.photo_name in [name for name, _ in state.letdowns()]:
        return
    spoilt = next(
        (found for found in check.result.warnings if found.spoils and found.code != DoubtCode.UNDECIDED), None
    )
    if spoilt:
        say.notice("The last check cannot serve as a let-down.", spoilt.text(called_in(check)))
        return
    label = "Toner in toner plus white (% by weight)"
    percent = number(label, 5.0, 0.1, 100.0, key="tint_letdown_percent", step=0.5, digits=2, unit="%")
    if st.button(f"Take the card of {unmarked(check.photo_name)} as a let-down", key="tint_take_letdown"):
        measurement = check.result.measurement
        colour = card_colour(measurement.card_lab, np.cov(measurement.draws.card_lab.T))
        state.take_letdown(check, LetDown(percent / 100, colour))
        st.rerun()


def _ask_removal(shelf: Shelf) -> None:
    if not shelf.own:
        return
    name = st.selectbox("Your own, on the shelf", shelf.own, key="tint_own_listed")
    if st.button("Take it off the shelf", key="tint_own_remove"):
        shelves.remove(str(name))
        st.rerun()


def _classes(shelf: Shelf) -> list[str]:
    return [name for name in shelf.toners if name not in shelf.own]


def _on_shelf(name: str) -> None:
    """Let the new toner be added from the next run on."""
    st.session_state[state.NEW_TONER] = name
    st.rerun()
