"""Streamlit components of our own, without a build: what all of them share and their own scripts, as one module."""

from pathlib import Path
from typing import Any

import streamlit as st

_SHARED = Path(__file__).with_name("moved.js")


def component(name: str, *scripts: Path, css: Path) -> Any:
    """Register a component; at module level, once a process.

    Only files of this package go in, never anything a user typed.
    """
    written = "\n".join(file.read_text(encoding="utf-8") for file in (_SHARED, *scripts))
    return st.components.v2.component(name, js=written, css=css.read_text(encoding="utf-8"))
