"""Every page of the app, in the order of the menu; a page is imported when it is first opened."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import streamlit as st

from match.errors import MatchError
from match.ui import libraries
from match.ui.bench import keeping, offer
from match.ui.guided import visit
from match.ui.kit.notices import notices
from match.ui.kit.style import text

if TYPE_CHECKING:
    from streamlit.navigation.page import Page


def all_pages() -> list[Page]:
    """Return the pages for ``st.navigation``."""
    return [
        st.Page(_check, title="Check", url_path="check", icon=":material/compare:", default=True),
        st.Page(_blend, title="Blend", url_path="blend", icon=":material/blur_linear:"),
        st.Page(_tint, title="Tint", url_path="tint", icon=":material/colorize:"),
        st.Page(_coats, title="Coats", url_path="coats", icon=":material/layers:"),
        st.Page(_history, title="History", url_path="history", icon=":material/history:"),
        st.Page(_colour, title="Colours", url_path="colour", icon=":material/palette:"),
        st.Page(_camera, title="Camera", url_path="camera", icon=":material/photo_camera:"),
        st.Page(_sheet, title="Capture sheet", url_path="sheet", icon=":material/print:"),
        st.Page(_phone, title="Phone", url_path="phone", icon=":material/smartphone:"),
    ]


def run(page: Page) -> None:
    """Run the chosen page, and keep the bench as it is then, also where the page was left before its end.

    What no page expects, such as an own calibration file with a slip, is said in a sentence.
    """
    address = page.url_path or "check"
    try:
        _offer_then(address, page.run)
        _tell_of_own_files()
    except MatchError as error:
        st.html(notices([("This page cannot go on.", error)]))
    finally:
        keeping.keep(address)
        libraries.begin()


def _tell_of_own_files() -> None:
    """Say which figures the shop's own calibration files lacked, below the page that asked for them."""
    from match.calibration import taken_from_shipped

    for sentence in taken_from_shipped():
        st.html(f'<p class="sm-note">{text(sentence)}</p>')


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


def _check() -> None:
    from match.ui.check.page import page

    page()


def _blend() -> None:
    libraries.wait()
    from match.ui.blend.page import page

    page()


def _tint() -> None:
    libraries.wait()
    from match.ui.tint.page import page

    page()


def _coats() -> None:
    libraries.wait()
    from match.ui.coats.page import page

    page()


def _history() -> None:
    libraries.wait()
    from match.ui.history.page import page

    page()


def _colour() -> None:
    libraries.wait()
    from match.ui.history.colour_page import page

    page()


def _camera() -> None:
    libraries.wait()
    from match.ui.camera.page import page

    page()


def _sheet() -> None:
    libraries.wait()
    from match.ui.sheet.page import page

    page()


def _phone() -> None:
    libraries.wait()
    from match.ui.phone.page import page

    page()
