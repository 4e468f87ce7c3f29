"""What a page says in a paragraph, and what it could not do; every text is escaped here."""

from typing import Literal

import streamlit as st

from match.ui.kit.notices import Told, notices
from match.ui.kit.style import text

Width = Literal["stretch", "content"]


def note(words: object, *, is_news: bool = False, width: Width = "stretch") -> None:
    """Show a remark, small; ``is_news`` is told at once to whoever does not see the page."""
    _paragraph("sm-note", words, is_news, width)


def meaning(words: object, *, is_news: bool = False, width: Width = "stretch") -> None:
    """Show what something means, as :func:`note` does."""
    _paragraph("sm-meaning", words, is_news, width)


def lead(words: object, *, is_news: bool = False, width: Width = "stretch") -> None:
    """Show what a page or its part is about, as :func:`note` does."""
    _paragraph("sm-lead", words, is_news, width)


def notice(what: str, remedy: Told) -> None:
    """Show what is wrong, and why or what to do about it."""
    st.html(notices([(what, remedy)]))


def _paragraph(css: str, words: object, is_news: bool, width: Width) -> None:
    role = ' role="status"' if is_news else ""
    st.html(f'<p class="{css}"{role}>{text(words)}</p>', width=width)
