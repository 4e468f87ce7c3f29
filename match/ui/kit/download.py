"""The button that saves a file to the person's own computer."""

from pathlib import PurePath
from typing import Literal

import streamlit as st

_MEDIA_TYPES = {
    ".json": "application/json",
    ".pdf": "application/pdf",
    ".csv": "text/csv",
    ".zip": "application/zip",
}


def download(
    label: str,
    content: str | bytes,
    name: str,
    *,
    key: str | None = None,
    is_main: bool = False,
    width: Literal["stretch", "content"] = "content",
) -> None:
    """Show the button for a file of this name, whose ending says what it is; a press draws nothing anew."""
    st.download_button(
        label,
        content,
        file_name=name,
        mime=_MEDIA_TYPES[PurePath(name).suffix],
        key=key,
        icon=":material/download:",
        type="primary" if is_main else "secondary",
        on_click="ignore",
        width=width,
    )
