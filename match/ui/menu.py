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


_SHOWN = "menu_shown"
_offered: Callable[[], list[Page]] | None = None


def offer(pages: Callable[[], list[Page]]) -> None:
    """Tell the menu how to make its pages; the same for every visit."""
    global _offered
    _offered = pages


def navigate() -> Page:
    """Show the menu and return the page that was chosen."""
    page = st.navigation(_pages(), position="top")
    st.session_state[_SHOWN] = page.url_path
    return page


def menu_page(title: str) -> Page:
    """Return the page that the menu shows under this title."""
    return next(page for page in _pages() if page.title == title)


def page_at(address: str) -> Page:
    """Return the page of this address, the first one for an address that there is not."""
    pages = _pages()
    return next((page for page in pages if page.url_path == address), pages[0])


def _pages() -> list[Page]:
    if _offered is None:
        raise RuntimeError("the menu was asked for a page before main.py offered any")
    return _offered()


def link_to_colour(colour_id: str, label: str, place: str = "") -> None:
    """Show a link to the page of one colour; ``place`` tells it from another link to the same one."""
    _link("Colours", label, ":material/palette:", place, {"colour": colour_id})


def link_to_check(check_id: str, label: str, place: str = "") -> None:
    """Show a link to one saved check; ``place`` tells it from another link to the same one."""
    _link("History", label, ":material/open_in_full:", place, {"check": check_id})


def link_to_pot(pot_id: str, label: str) -> None:
    """Show a link to the tint page, going on with one kept pot."""
    st.page_link(menu_page("Tint"), label=label, icon=":material/opacity:", query_params={"pot": pot_id})


def link_to_list() -> None:
    """Show a link to the list of all saved checks."""
    _link("History", "All saved checks", ":material/history:", "list", {})


def link_to_colours() -> None:
    """Show a link to the list of all colours."""
    _link("Colours", "All colours", ":material/palette:", "list", {})


def _link(title: str, label: str, icon: str, place: str, address: dict[str, str]) -> None:
    """Show a link to a page with what its address names, such as a record.

    On that page itself it is a button: Streamlit leaves the address as it is for a link to the page that is shown, and
    the next press, a reload or *Back* would lose the record.
    """
    page = menu_page(title)
    if st.session_state.get(_SHOWN) != page.url_path:
        st.page_link(page, label=label, icon=icon, query_params=address or None)
        return
    key = "_".join(("link", place, *address.values()))
    st.button(label, key=key, icon=icon, type="tertiary", on_click=st.query_params.from_dict, args=(address,))


def link_to_phone(label: str) -> None:
    """Show a link to the page of phones and of the photos that they sent."""
    st.page_link(menu_page("Phone"), label=label, icon=":material/smartphone:")


def link_to_next_check(label: str) -> None:
    """Show a link to where the next card is checked."""
    st.page_link(menu_page("Check"), label=label, icon=":material/arrow_forward:")


def go_to_check_page() -> None:
    """Turn to the check page."""
    st.switch_page(menu_page("Check"))
