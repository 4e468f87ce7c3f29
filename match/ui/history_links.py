"""Links between the pages that show saved checks; a link keeps the visit, so the photo on the bench stays."""

from __future__ import annotations

import streamlit as st


def link_to_colour(colour_id: str, label: str) -> None:
    """Show a link to the page of one colour."""
    from match.ui import colour  # pages link to each other both ways

    there = st.Page(colour.page, title="Colours", url_path="colour")
    st.page_link(there, label=label, icon=":material/palette:", query_params={"colour": colour_id})


def link_to_check(check_id: str, label: str) -> None:
    """Show a link to one saved check."""
    from match.ui import history

    there = st.Page(history.page, title="History", url_path="history")
    st.page_link(there, label=label, icon=":material/open_in_full:", query_params={"check": check_id})


def link_to_list() -> None:
    """Show a link to the list of all saved checks."""
    from match.ui import history

    there = st.Page(history.page, title="History", url_path="history")
    st.page_link(there, label="All saved checks", icon=":material/history:")


def link_to_colours() -> None:
    """Show a link to the list of all colours."""
    from match.ui import colour

    there = st.Page(colour.page, title="Colours", url_path="colour")
    st.page_link(there, label="All colours", icon=":material/palette:")


def go_to_check_page() -> None:
    """Turn to the check page."""
    from match.ui import check

    st.switch_page(st.Page(check.page, title="Check", url_path="check", default=True))
