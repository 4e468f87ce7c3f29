"""The phone's page: at the desk the way in, on both screens the photos that came from phones."""

from __future__ import annotations

import streamlit as st

from match.ui import visit
from match.ui.phone.way_in import show_way_in


def page() -> None:
    """Show the page."""
    st.title("Phone", anchor=False)
    if visit.is_phone():
        st.html('<p class="sm-lead">This phone is in. It stays in until it is shut out at the desk.</p>')
    else:
        show_way_in()
