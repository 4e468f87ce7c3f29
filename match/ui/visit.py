"""Where a visit comes from, as the guard in front of the app says; a client's own word for it never gets here."""

import streamlit as st

from match.network.door import SEEN_FROM


def is_desk() -> bool:
    """Return whether this visit comes from the computer that the app runs on."""
    return _seen_from() == "desk"


def is_phone() -> bool:
    """Return whether this visit came in from the network by a code."""
    return _seen_from() == "phone"


def _seen_from() -> str:
    return str(st.context.headers.get(SEEN_FROM.decode(), ""))
