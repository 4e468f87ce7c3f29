"""Every page of the app, in the order of the menu; a page is imported when it is first opened."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING

import streamlit as st

from match.errors import MatchError
from match.ui import libraries
from match.ui.bench import keeping, offer
from match.ui.guided import visit
from match.ui.kit import say

if TYPE_CHECKING:
    from streamlit.navigation.page import Page


_PAGES = (
    ("Check", "check", ":material/compare:", "match.ui.check.page"),
    ("Blend", "blend", ":material/blur_linear:", "match.ui.blend.page"),
    ("Tint", "tint", ":material/colorize:", "match.ui.tint.page"),
    ("Coats", "coats", ":material/layers:", "match.ui.coats.page"),
    ("History", "history", ":material/history:", "match.ui.history.page"),
    ("Colours", "colour", ":material/palette:", "match.ui.history.colour_page"),
    ("Camera", "camera", ":material/photo_camera:", "match.ui.camera.page"),
    ("Capture sheet", "sheet", ":material/print:", "match.ui.sheet.page"),
    ("Phone", "phone", ":material/smartphone:", "match.ui.phone.page"),
)
"""Title, address, icon and module of each page; the app opens with the first."""


def all_pages() -> list[Page]:
    """Return the pages for ``st.navigation``."""
    return [
        st.Page(partial(_show, address, module), title=title, url_path=address, icon=icon, default=address == "check")
        for title, address, icon, module in _PAGES
    ]


def _show(address: str, module: str) -> None:
    """Import a page and show it; the first screen does without the libraries, the others wait for them."""
    if address != "check":
        libraries.wait()
    import_module(module).page()


def run(page: Page) -> None:
    """Run the chosen page, and keep the bench as it is then, also where the page was left before its end.

    What no page expects, such as an own calibration file with a slip, is said in a sentence.
    """
    address = page.url_path or "check"
    try:
        _offer_then(address, page.run)
        _tell_of_own_files()
    except MatchError as error:
        say.notice("This page cannot go on.", error)
    finally:
        keeping.keep(address)
        libraries.begin()


def _tell_of_own_files() -> None:
    """Say which figures the shop's own calibration files lacked, below the page that asked for them."""
    from match.calibration import taken_from_shipped

    for sentence in taken_from_shipped():
        say.note(sentence)


def _offer_then(address: str, show: Callable[[], None]) -> None:
    """Show a page under what can be gone on with; the first screen of the app does not wait for that."""
    visit.turn(address)
    visit.resume()
    if visit.is_on() and _guided(address, show):
        return
    offer.tell()
    place = offer.place(address)
    if address != "check":
        offer.offer(place, address)
    show()
    if address == "check":
        offer.offer(place, address)


def _guided(address: str, show: Callable[[], None]) -> bool:
    """Show a page under the strip of the guided check, filled once the page is drawn; False where it is over."""
    from match.ui.guided import strip

    if strip.is_over(address):
        return False
    at = strip.place(address)
    if at is not None:
        show()
        strip.fill(at, address)
    return True
