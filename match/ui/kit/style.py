"""The look shared by every page, and the one way in which pages show pieces of HTML."""

import re
from functools import cache
from html import escape
from pathlib import Path

import streamlit as st

INK = "#161616"
SURROUND = "#949494"
"""Mid-grey of CIELAB L* 61, a Munsell N6: the surround in which paint colours are shown."""


@cache
def _read(file: Path) -> str:
    return f"<style>{file.read_text(encoding='utf-8')}</style>"


def load(file: Path) -> None:
    """Load a page's own stylesheet."""
    st.html(_read(file))


def apply() -> None:
    """Load the stylesheet and the name of the app; call once a run, before any page."""
    load(Path(__file__).with_suffix(".css"))
    st.logo(_wordmark(), size="large")


def text(words: object) -> str:
    """Return ``words`` safe inside HTML; every text from outside this package's source goes through it."""
    return escape(str(words), quote=True)


def unmarked(words: object) -> str:
    """Return ``words`` for a title, label or option, which Streamlit reads as Markdown, so that they show as typed.

    Every text from outside this package's source goes through it. A backslash takes a sign's meaning in Markdown
    (CommonMark 0.31, section 2.4). Addresses, emoji names and arrows are looked for after that is done; a word joiner,
    which shows nothing, parts them.
    """
    plain = " ".join(str(words).split())
    return _ACTS.sub(r"\\\g<0>", _LOOKED_FOR.sub("\\g<0>\u2060", plain))


_ACTS = re.compile(r"[\\`*_~\[\]<>$|]|:(?=\S)|&(?=[#\w])|^[#+-]|(?<=^\d)[.)]|(?<=^\d\d)[.)]")
_LOOKED_FOR = re.compile(r"[:@](?=\S)|\bwww(?=\.)|[<>=-](?=[<>=-])", re.IGNORECASE)


def icon() -> str:
    """Return the app's sign as SVG, for the browser's tab: two swatches that touch, one shade apart."""
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32" width="32" height="32">{_SIGN}</svg>'


_SIGN = (
    '<rect x="1" y="5" width="15" height="22" fill="#6d6d6d"/>'
    '<rect x="16" y="5" width="15" height="22" fill="#828282"/>'
    f'<rect x="1" y="5" width="30" height="22" fill="none" stroke="{INK}" stroke-width="1.5"/>'
)


def _wordmark() -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 214 32" width="214" height="32">{_SIGN}'
        f'<text x="41" y="22" font-family="Source Sans, Helvetica, Arial, sans-serif" font-size="19" font-weight="600" '
        f'fill="{INK}">Spray-out Match</text></svg>'
    )
