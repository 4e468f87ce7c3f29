"""One saved check in a list: its two colours on mid-grey, its verdict in a word and a shape, and what it belongs to."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import streamlit as st

from match.check.verdict import Verdict
from match.history.records import CheckRow, Lab, Page, UnreadableRecord
from match.history.words import car_words, day_and_time, named, size_words, unreadable_line
from match.ui.kit import say, style
from match.ui.kit.icons import verdict_icon
from match.ui.kit.notices import notices
from match.ui.kit.style import text
from match.ui.kit.swatches import screen_colour
from match.ui.menu import link_to_check, link_to_colour


def apply_style() -> None:
    """Load the look of the pages that show saved checks; call it once a run on each of them."""
    style.load(Path(__file__).with_name("history.css"))


def small_pair(card_lab: Lab | None, vehicle_lab: Lab | None) -> str:
    """Return both colours touching on mid-grey, card on the left, small enough for a line of a list."""
    if card_lab is None or vehicle_lab is None:
        return '<div class="sm-small-stage"><span class="none">no colours</span></div>'
    card, vehicle = (screen_colour(np.array(lab)) for lab in (card_lab, vehicle_lab))
    return (
        '<div class="sm-small-stage" role="img" aria-label="Card on the left, car on the right.">'
        f'<span style="background:{card}"></span><span style="background:{vehicle}"></span></div>'
    )


def verdict_tag(verdict: str) -> str:
    """Return a verdict as its silhouette and its word; one from a newer version stays a word."""
    known = verdict in {each.value for each in Verdict}
    picture = f'<img src="{verdict_icon(Verdict(verdict))}" alt="">' if known else ""
    return f'<span class="sm-tag" data-verdict="{text(verdict)}">{picture}{text(verdict.capitalize())}</span>'


def row_words(row: CheckRow, lead: str = "", with_colour: bool = True) -> str:
    """Return a check as HTML for a list; ``lead`` goes before everything else that is said."""
    colour = f"<span>{text(named(row.colour_name, row.code))}</span>" if with_colour else ""
    facts = [
        lead,
        car_words(row),
        day_and_time(row.created_at),
        "corrected by a later check" if row.corrected_by else "",
    ]
    facts += ["a correction" if row.corrects else "", row.note]
    told = " · ".join(text(fact) for fact in facts if fact)
    return (
        f'<div class="sm-row" data-check="{text(row.id)}">{small_pair(row.card_lab, row.vehicle_lab)}'
        f'<div><div class="sm-row-head">{verdict_tag(row.verdict)}<b>{text(size_words(row))}</b>'
        f"{colour}</div>"
        f'<p class="sm-note">{told}</p></div></div>'
    )


def show_unreadable(records: Sequence[UnreadableRecord]) -> None:
    """Say of each record that it cannot be read; the others stay as they are."""
    remedy = "Everything else can be used. Press Verify everything on the history page, and keep the latest backup"
    if records:
        st.html(notices((unreadable_line(record), remedy) for record in records))


def page_asked(key: str, asked: str) -> int:
    """Return the page of a list to show; another search starts at its first page."""
    number, was_asked = st.session_state.get(key, (1, asked))
    return int(number) if was_asked == asked else 1


def turn_pages(key: str, asked: str, found: Page[Any], what: str) -> None:
    """Show the presses that turn the pages of a list, where it has several."""
    if found.pages < 2:
        return
    with st.container(horizontal=True, vertical_alignment="center"):
        newer = st.button("Newer", key=f"{key}_newer", icon=":material/chevron_left:", disabled=found.page <= 1)
        older = st.button(
            "Older", key=f"{key}_older", icon=":material/chevron_right:", disabled=found.page >= found.pages
        )
        say.note(f"Page {found.page} of {found.pages}; {found.total} {what}.", width="content")
    if newer or older:
        st.session_state[key] = (found.page + (1 if older else -1), asked)
        st.rerun()


def show_row(row: CheckRow) -> None:
    """Show one line of a list with its links."""
    with st.container(horizontal=True, vertical_alignment="center", border=True, key=f"row_{row.id}"):
        st.html(row_words(row), width="stretch")
        with st.container(horizontal=True, vertical_alignment="center", width="content"):
            link_to_check(row.id, "Open")
            if row.colour:
                link_to_colour(row.colour, "Colour")
