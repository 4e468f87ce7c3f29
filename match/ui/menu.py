"""The menu: which pages there are, told by ``main``, and the links to them.

No page is imported here, so every page may ask for a link to any other. A link keeps the visit: the photo on the bench
stays.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import streamlit as st

if TYPE_CHECKING:
    from streamlit.navigation.page import Page


_offered: Callable[[], list[Page]] | None = None


def offer(pages: Callable[[], list[Page]]) -> None:
    """Tell the menu how to make its pages; the same for every visit."""
    global _offered
    _offered = pages


def navigate() -> Page:
    """Show the menu and return the page that was chosen."""
    return st.navigation(_pages(), position="top")


def menu_page(title: str) -> Page:
    """Return the page that the menu shows under this title."""
    return next(page for page in _pages() if page.title == title)


def _pages() -> list[Page]:
    if _offered is None:
        raise RuntimeError("the menu was asked for a page before main.py offered any")
    return _offered()


def link_to_colour(colour_id: str, label: str) -> None:
    """Show a link to the page of one colour."""
    st.page_link(menu_page("Colours"), label=label, icon=":material/palette:", query_params={"colour": colour_id})


def link_to_check(check_id: str, label: str) -> None:
    """Show a link to one saved check."""
    st.page_link(menu_page("History"), label=label, icon=":material/open_in_full:", query_params={"check": check_id})


def link_to_pot(pot_id: str, label: str) -> None:
    """Show a link to the tint page, going on with one kept pot."""
    st.page_link(menu_page("Tint"), label=label, icon=":material/opacity:", query_params={"pot": pot_id})


def link_to_list() -> None:
    """Show a link to the list of all saved checks."""
    st.page_link(menu_page("History"), label="All saved checks", icon=":material/history:")


def link_to_colours() -> None:
    """Show a link to the list of all colours."""
    st.page_link(menu_page("Colours"), label="All colours", icon=":material/palette:")


def link_to_phone(label: str) -> None:
    """Show a link to the page of phones and of the photos that they sent."""
    st.page_link(menu_page("Phone"), label=label, icon=":material/smartphone:")


def go_to_check_page() -> None:
    """Turn to the check page."""
    st.switch_page(menu_page("Check"))
