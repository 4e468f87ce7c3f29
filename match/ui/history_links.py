"""Links between the pages that show saved checks; a link keeps the visit, so the photo on the bench stays."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

if TYPE_CHECKING:
    from streamlit.navigation.page import Page


def menu_page(title: str) -> Page:
    """Return the page that the menu shows under this title."""
    from match.ui import pages  # pages link to each other both ways

    return next(page for page in pages.all_pages() if page.title == title)


def link_to_colour(colour_id: str, label: str) -> None:
    """Show a link to the page of one colour."""
    st.page_link(menu_page("Colours"), label=label, icon=":material/palette:", query_params={"colour": colour_id})


def link_to_check(check_id: str, label: str) -> None:
    """Show a link to one saved check."""
    st.page_link(menu_page("History"), label=label, icon=":material/open_in_full:", query_params={"check": check_id})


def link_to_list() -> None:
    """Show a link to the list of all saved checks."""
    st.page_link(menu_page("History"), label="All saved checks", icon=":material/history:")


def link_to_colours() -> None:
    """Show a link to the list of all colours."""
    st.page_link(menu_page("Colours"), label="All colours", icon=":material/palette:")


def go_to_check_page() -> None:
    """Turn to the check page."""
    st.switch_page(menu_page("Check"))
