"""What outcomes teach about the tolerances: counted, told with intervals, offered, and never applied unasked."""

from datetime import UTC, datetime

import streamlit as st

from match.check.verdict import Verdict, limit_words
from match.history.store import Store
from match.history.tolerances import Lesson, Offer, accept, lessons, load_limits, load_rules
from match.history.words import held_words
from match.ui import measured
from match.ui.kit import say
from match.ui.kit.notices import bullets, sentence
from match.ui.kit.style import text

NAMES = {Verdict.GO: "go straight", Verdict.BLEND: "blends"}
LIMIT_WORDS = {
    "acceptability": "the acceptability limit, from which the limits for go are taken",
    "blend_to_retint": "the limit from blend to retint",
}
_ACCEPTED = "learned_accepted"


def show_learned(store: Store) -> None:
    """Show what outcomes of straight paint and of fades say, with an offer where there is one."""
    say.note(
        "Counted from the outcomes you record after delivery. Only what was delivered was seen, so beyond the "
        "greatest difference delivered nothing is known. Nothing changes unless you press."
    )
    told = st.session_state.pop(_ACCEPTED, None)
    if told:
        st.html(f'<p class="sm-meaning" role="status"><b>{text(told)}</b></p>')
    today = datetime.now(UTC).astimezone().date()
    for lesson in lessons(store.observed_outcomes(), load_rules(), load_limits(), today):
        _show_lesson(lesson)


def _show_lesson(lesson: Lesson) -> None:
    name = NAMES[lesson.deed]
    st.html(f'<p class="sm-title">{"Paint put on straight" if lesson.deed is Verdict.GO else "Blends"}</p>')
    if lesson.counts:
        st.html(bullets("sm-lines", (sentence(held_words(count, name)) for count in lesson.counts)))
    if lesson.offer is None:
        say.note(sentence(lesson.why_not))
    else:
        _show_offer(lesson.offer)


def _show_offer(offer: Offer) -> None:
    st.html(
        f'<p class="sm-meaning">Your outcomes suggest {limit_words(offer.offered)} instead of '
        f"{limit_words(offer.now)} for {text(LIMIT_WORDS[offer.limit])}.</p>"
        f'<p class="sm-note">Would be written with this source: {text(offer.source)}.</p>'
    )
    if st.button(f"Use {limit_words(offer.offered)} from now on", key=f"accept_{offer.limit}"):
        path = accept(offer)
        measured.calibration.clear()
        st.session_state[_ACCEPTED] = f"Written to {path}. Remove that file to go back to the limits as shipped."
        st.rerun()
