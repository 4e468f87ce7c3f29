"""The capture sheet: what it is for, how to print, cut and use it, and the page to download."""

import streamlit as st

from match.photo.sheet.layout import LAYOUT_OF_CARDS
from match.photo.sheet.sheet_pdf import WARNING, capture_sheet_pdf, steps_of
from match.ui import measured
from match.ui.kit import say
from match.ui.kit.choice import one_of
from match.ui.kit.download import download
from match.ui.kit.notices import steps
from match.ui.kit.style import text, unmarked
from match.ui.sheet.picture import sheet_picture, sheet_words

PRINTING_STEPS = 3
"""The first steps on the sheet are about printing and cutting, the rest about the photo."""


def page() -> None:
    """Show the page."""
    st.title("Capture sheet", anchor=False)
    say.lead(
        "A printed page with windows for card, car paint and grey card. Laid on the panel, it lets the app find all "
        "of them in the photo by itself."
    )
    how, picture = st.columns([1.25, 1], gap="large")
    with how:
        told = {1: "One", 3: "Up to three"}
        cards = one_of("Cards in one photo", LAYOUT_OF_CARDS, 1, "sheet_cards", told.__getitem__)
        layout = measured.sheet_layout(cards)
        names = {name: unmarked(paper.label) for name, paper in layout.papers.items()}
        paper = one_of("Your paper", names, next(iter(names)), "sheet_paper", names.__getitem__)
        file = f"capture-sheet-{paper}.pdf" if cards == 1 else f"capture-sheet-three-cards-{paper}.pdf"
        words = f"Download the sheet ({names[paper]}, PDF)"
        download(words, _pdf(paper, cards), file, is_main=True, width="stretch")
        st.header("Print and cut it", anchor=False)
        st.html(steps(steps_of(layout)[:PRINTING_STEPS]))
        st.header("Use it", anchor=False)
        st.html(steps(steps_of(layout)[PRINTING_STEPS:]))
        st.html(f'<p class="sm-note sm-caution"><b>No colour on the sheet.</b> {text(WARNING)}</p>')
    with picture:
        st.image(sheet_picture(layout), alt=sheet_words(layout), width=430)
        st.html(
            '<p class="sm-title">What it does for you</p><ul class="sm-angles">'
            "<li>Card, car and grey are marked when the photo is opened; you look and accept.</li>"
            "<li>The app says how many millimetres a pixel is, and how far the camera was tilted.</li>"
            "<li>Paint on both sides of the card shows light that falls off, so it can be taken out.</li>"
            "<li>Every photo of a job is framed the same way.</li></ul>"
            '<p class="sm-note">You can do without it: on any photo, draw the boxes by hand.</p>'
        )


@st.cache_data(show_spinner=False)
def _pdf(paper: str, cards: int) -> bytes:
    return capture_sheet_pdf(measured.sheet_layout(cards), paper)
