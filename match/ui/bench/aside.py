"""A visit's own work, laid aside while it practises on something invented, and put back as it was."""

import re
from typing import Any

import streamlit as st

from match.ui.bench import fields

_OWN = re.compile(
    r"session_\w+|marks-[0-9a-f]+.*"
    r"|tint_(story|letdowns|earlier|not_cards)|hiding_photo|camera_photo|let_down_\w+|.*-marks-[0-9a-f]{12}-kept"
    r"|bench_(row|row_seen|last|page|seen|fault|refused)"
)


def lay_aside() -> dict[str, Any]:
    """Clear the bench of this visit, and return what lay on it for :func:`put_back`."""
    return {key: st.session_state.pop(key) for key in _present()}


def put_back(work: dict[str, Any]) -> None:
    """Put work back in place of what lies on the bench now; before any field of it is drawn."""
    lay_aside()
    for key, value in work.items():
        st.session_state[key] = value


def _present() -> list[str]:
    keys = [str(key) for key in st.session_state]
    return [key for key in keys if _OWN.fullmatch(key) or fields.is_field(key.removesuffix("_used"))]
