"""Every page of the app, in the order of the menu: one line a page."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from match.errors import MatchError
from match.ui import blend, camera, check, coats, colour, history, sheet, tint
from match.ui.notices import notices

if TYPE_CHECKING:
    from streamlit.navigation.page import Page


def all_pages() -> list[Page]:
    """Return the pages for ``st.navigation``; ``url_path`` tells them apart, as each function is called ``page``."""
    return [
        st.Page(check.page, title="Check", url_path="check", icon=":material/compare:", default=True),
        st.Page(blend.page, title="Blend", url_path="blend", icon=":material/blur_linear:"),
        st.Page(tint.page, title="Tint", url_path="tint", icon=":material/colorize:"),
        st.Page(coats.page, title="Coats", url_path="coats", icon=":material/layers:"),
        st.Page(history.page, title="History", url_path="history", icon=":material/history:"),
        st.Page(colour.page, title="Colours", url_path="colour", icon=":material/palette:"),
        st.Page(camera.page, title="Camera", url_path="camera", icon=":material/photo_camera:"),
        st.Page(sheet.page, title="Capture sheet", url_path="sheet", icon=":material/print:"),
    ]


def run(page: Page) -> None:
    """Run the chosen page; what no page expects, such as an own calibration file with a slip, is said in a sentence."""
    try:
        page.run()
    except MatchError as error:
        st.html(notices([("This page cannot go on.", str(error))]))
