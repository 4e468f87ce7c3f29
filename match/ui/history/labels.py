"""Labels to print for spray-out cards: the sheet, the labels already used on it, and the file."""

from collections.abc import Callable
from urllib.parse import urlsplit

import streamlit as st

from match.errors import MatchError
from match.history.addresses import DESK
from match.history.labels import Label
from match.network.phones import PHONES
from match.ui.kit import say
from match.ui.kit.download import download
from match.ui.kit.typed import number

ONLY_HERE = ("localhost", "127.0.0.1", "::1")
"""The names that a computer has for itself: on a phone they mean the phone."""


def desk() -> str:
    """Return the address at which phones reach the app where they are let in, else at which this visit did."""
    if PHONES.opened is not None:
        return PHONES.opened.url
    parts = urlsplit(str(st.context.url or ""))
    return f"{parts.scheme}://{parts.netloc}" if parts.netloc else DESK


def _is_only_here(address: str) -> bool:
    """Return whether an address, with or without its scheme, names the computer that reads it."""
    try:
        return urlsplit(address if "//" in address else f"//{address}").hostname in ONLY_HERE
    except ValueError:  # no address at all
        return False


def show_labels(labels_at: Callable[[str], tuple[Label, ...]], key: str) -> None:
    """Offer labels, made for an address of the app, as a PDF; nothing where there is no card."""
    if not labels_at(DESK):
        return
    with st.expander("Labels for the drawer"):
        if not st.toggle("Print labels", key=f"labels_on_{key}"):
            return
        from match.history.labels_pdf import labels_pdf, load_label_sheets  # here: it loads the printing of sheets

        try:
            known = load_label_sheets()
            with st.container(horizontal=True, vertical_alignment="bottom"):
                sheet = st.selectbox(
                    "Sheet", list(known.sheets), format_func=lambda name: known.sheets[name].label, key=f"sheet_{key}"
                )
                used = number(
                    "Already used",
                    0,
                    0,
                    known.sheets[sheet].count - 1,
                    key=f"used_{key}_{sheet}",
                    step=1,
                    width=140,
                    tip="Labels gone from the first sheet, row by row from the top left.",
                )
            address = st.text_input(
                "The app's address, for the codes",
                desk(),
                key=f"desk_{key}",
                help="As a phone or another computer reaches it. `localhost` is this computer alone.",
            )
            labels = labels_at(address.strip() or desk())
            pdf = labels_pdf(labels, known, sheet, int(used))
        except MatchError as error:
            say.notice("No labels can be made.", error)
            return
        words = f"Download {len(labels)} label{'s' * (len(labels) != 1)} (PDF)"
        download(words, pdf, "card-labels.pdf", key=f"labels_pdf_{key}")
        if _is_only_here(address):
            told = "Let phones in (page Phone), or type the address at which a phone reaches the app."
            say.notice("A phone cannot open these codes: the address is this computer's alone.", told)
        say.note("Print at 100 %, not fitted to the page. The code opens the card's record.")
