"""The desk's half of the page: open the way in for phones, show its code, shut everybody out."""

from collections.abc import Callable
from dataclasses import replace

import streamlit as st

from match.errors import MatchError
from match.network.access import Shown
from match.network.addresses import is_own, own_addresses
from match.network.asked import asked
from match.network.code_page import ENTER
from match.network.phones import PHONES, Opened
from match.qr_code import qr_picture
from match.ui.kit import say
from match.ui.kit.notices import steps
from match.ui.kit.style import text

REFRESH_SECONDS = 2.0
"""Engineering choice: a code that was used is replaced on the screen before the next person looks."""

_ADDRESS = "phone_address"
_LISTENED_TO = (
    '<p class="sm-note">Not encrypted. Whoever can listen on this network can read what a phone sends, and take its '
    "place. Use it on a network whose people you trust, or start the app with the shop's own certificate "
    "(<code>--certificate</code>, <code>--key</code>).</p>"
)


def show_way_in() -> None:
    """Show the way in as it is; the part with the code looks again by itself."""
    if not PHONES.can_open:
        st.html('<p class="sm-note">To let phones in, start the app by <code>python -m match app --phone</code>.</p>')
    elif PHONES.opened is None:
        _offer_to_open()
    else:
        _show_open()


def _offer_to_open() -> None:
    say.lead(
        "A phone on the same network can photograph straight into this app. Nobody comes in without the code that "
        "then stands here."
    )
    if PHONES.refusal:
        say.notice("No phone can come in.", PHONES.refusal)
    _ask_address()
    if not asked().certificate:
        st.html(_LISTENED_TO)
    st.button(
        "Let phones in", key="phones_open", icon=":material/phonelink:", type="primary", on_click=_doing, args=(_open,)
    )
    st.html('<p class="sm-note">From the start: <code>python -m match app --phone</code></p>')


def _ask_address() -> None:
    """Ask on which network, where this computer is on several."""
    found = own_addresses()
    if not asked().address and len(found) > 1:
        st.selectbox("This computer's address on the phone's network", found, key=_ADDRESS)


def _open() -> None:
    wanted = asked()
    PHONES.open(replace(wanted, address=wanted.address or str(st.session_state.get(_ADDRESS) or "")))


def _doing(deed: Callable[[], None]) -> None:
    """Do what a press asks for; a refusal stands in ``PHONES.refusal`` for every screen of the desk."""
    try:
        deed()
    except MatchError as error:
        PHONES.refusal = str(error)


@st.fragment(run_every=REFRESH_SECONDS)
def _show_open() -> None:
    opened, shown = PHONES.opened, PHONES.shown()
    if opened is None or shown is None:  # shut on another screen of the desk
        st.rerun()
        return
    picture, words = st.columns([1, 1.4], gap="large")
    picture.image(qr_picture(f"{opened.url}{ENTER}#{shown.ticket}"), width=280, alt="QR code of the phone's way in")
    with words:
        _tell(opened, shown)


def _tell(opened: Opened, shown: Shown) -> None:
    code = " ".join(shown.code[start : start + 3] for start in range(0, len(shown.code), 3))
    st.html(
        steps(("Be on the same network with the phone", "Scan the QR code with its camera, and open what it offers"))
        + f'<p class="sm-note">Without scanning: open <b>{text(opened.url)}</b> and type</p>'
        f'<p class="sm-title" style="font-size:1.9rem;letter-spacing:.06em" data-code="{text(shown.code)}">{text(code)}'
        f'</p><p class="sm-note">Each code lets one phone in; then the next one stands here. {text(_inside(shown))}</p>'
    )
    if not is_own(opened.address):
        remedy = "Press Let no phone in any more, then Let phones in"
        say.notice("This computer has another address on the network now.", remedy)
    if not opened.encrypted:
        st.html(_LISTENED_TO)
    with st.container(horizontal=True):
        st.button(
            "Shut all phones out",
            key="phones_renew",
            icon=":material/lock_reset:",
            on_click=_doing,
            args=(PHONES.renew,),
        )
        st.button("Let no phone in any more", key="phones_shut", on_click=_doing, args=(PHONES.shut,))


def _inside(shown: Shown) -> str:
    inside = {0: "No phone is in.", 1: "One phone is in."}.get(shown.phones, f"{shown.phones} phones are in.")
    if not shown.wrong_tries:
        return inside
    tries = "One wrong code was" if shown.wrong_tries == 1 else f"{shown.wrong_tries} wrong codes were"
    return f"{inside} {tries} typed in the last minutes."
