"""The check page: a photo is asked for, then laid on the bench.

What the bench needs takes a second to import, so the first screen of the app comes without it.
"""

import streamlit as st

from match.ui import libraries, session
from match.ui.check.photo_input import choose_photo
from match.ui.guided import visit
from match.ui.kit import say


def page() -> None:
    """Show the page."""
    photo = session.bench()
    if photo is None:
        st.title("Does the card match the car?", anchor=False)
        if visit.was_done():
            st.html('<p class="sm-found" role="status">That was a whole check. Now a photo of your own.</p>')
        say.lead("Photograph card, panel and a grey together.")
        choose_photo()
        return
    libraries.wait()
    from match.ui.check.bench import show_bench

    show_bench(photo)
