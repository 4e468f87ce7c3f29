"""Hiding: one photo of the card over its black and white fields, and the coats that hide them."""

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from match.check.calibration_files import Calibration
from match.check.pair import called_in_pair
from match.check.verdict import Finish, limit_words
from match.coats.hiding import Shows
from match.coats.judge import FIELDS, CardHiding, judge_card, measure_fields
from match.coats.rules import CoatsRules, load_coats_rules
from match.errors import MatchError
from match.measure.measurement import Measurement
from match.photo.regions import Region
from match.ui import measured, session
from match.ui.kit import say
from match.ui.kit.cautions import spraying
from match.ui.kit.choice import one_of
from match.ui.kit.layout import COLUMNS
from match.ui.kit.notices import notices, table
from match.ui.kit.style import text
from match.ui.kit.typed import number
from match.ui.marker.box_names import called_on
from match.ui.marker.marks import CHECK_KINDS, Mark, from_region, two_places
from match.ui.marker.page_photo import greys_in, lacks, mark, place, put_marks, told, upload
from match.ui.session import ChosenPhoto

PAGE = "hiding"
OVER_BLACK, OVER_WHITE = two_places(
    (
        "over-black",
        "Over black",
        "on the paint over the chart's black field, clear of the chart's edge and of reflections",
    ),
    ("over-white", "Over white", "on the paint over the chart's white field, in the same light"),
)
KINDS = (CHECK_KINDS[0], OVER_BLACK, OVER_WHITE)
BLEND_COATS, MOST_BLEND_COATS = "blend_coats", 6.0
"""The blend page's field for the coats to cover, and the most it takes."""
_PHOTO, _CARRIED = "hiding_photo", "hiding_carried"


def show_hiding() -> None:
    """Show the question and, once marked, the answer."""
    photo = st.session_state.get(_PHOTO)
    if photo is None:
        _choose()
        return
    _show_bench(photo)
    left, right = st.columns(COLUMNS, gap="large")
    with left:
        marks = mark(photo, PAGE, KINDS)
        coats, finish = _ask()
    with right:
        if not lacks(marks, KINDS):
            _show_answer(photo, marks, coats, finish)


def _choose() -> None:
    why, ways = st.columns([1, 1], gap="large")
    with why:
        say.lead(
            "Photograph the sprayed card over its black and white chart, with a grey reference beside it. While the "
            "chart shows through, the card's colour is partly the chart's, and no match made with it is valid."
        )
    with ways:
        photo = upload("Photo of the card and a grey", "hiding_file")
        if st.button("Try the demo card", key="hiding_demo", icon=":material/play_circle:", width="stretch"):
            photo = _demo()
    if photo is not None:
        st.session_state[_PHOTO] = photo
        st.rerun()


def _demo() -> ChosenPhoto:
    from match.demo.card_photos import HEIGHT, WIDTH, hiding_demo  # draws a picture: only for those who ask

    demo = hiding_demo()
    photo = session.chosen(demo.name, demo.content, is_demo=True)
    fields = zip(demo.places, (OVER_BLACK, OVER_WHITE), strict=True)
    marks = [from_region(grey, WIDTH, HEIGHT) for grey in demo.greys]
    put_marks(photo, PAGE, marks + [replace(from_region(at, WIDTH, HEIGHT), kind=kind.name) for at, kind in fields])
    return photo


def _show_bench(photo: ChosenPhoto) -> None:
    with st.container(horizontal=True, vertical_alignment="center", horizontal_alignment="distribute"):
        name = "Demo photo: an invented card" if photo.is_demo else photo.name
        st.html(f'<p class="sm-lead"><b>{text(name)}</b></p>', width="content")
        if st.button("Start again", key="hiding_again", icon=":material/photo_camera:"):
            st.session_state.pop(_PHOTO)
            st.rerun()


def _ask() -> tuple[float, Finish]:
    coats = number(
        "Coats of colour on this card",
        2.0,
        0.5,
        _rules().card.hiding.most_coats,
        key="hiding_coats",
        step=0.5,
        digits=1,
        unit="coats",
        tip="From these, the coats that hide the chart are worked out.",
    )
    return coats, one_of("Finish", Finish, Finish.SOLID, "hiding_finish", str.capitalize)


def _show_answer(photo: ChosenPhoto, marks: Sequence[Mark], coats: float | None, finish: Finish) -> None:
    greys, black, white = greys_in(marks, photo), place(marks, OVER_BLACK, photo), place(marks, OVER_WHITE, photo)
    try:
        used = measured.calibration_for(photo)
        answer = judge_card(_fields(photo, greys, black, white, used.calibration), coats, finish, _rules())
    except MatchError as error:
        say.notice("These marks cannot be measured.", error.said(called_on(greys)))
        return
    word, deed = _RETAKE if answer.must_retake else _WORDS[answer.result.shows]
    st.html(told(word, deed, "retake" if answer.must_retake else answer.result.shows.value))
    found = (*answer.photo_findings, *answer.result.findings)
    if answer.must_retake:
        found = answer.photo_findings
    if found:
        names = called_in_pair(FIELDS, called_on(greys))
        st.html(notices((each.text(names), each.remedy(names)) for each in found))
    if not answer.must_retake:
        _show_figures(answer)
        _show_coats(answer)
    if used.notes:
        st.html("".join(f'<p class="sm-note">{text(note)}</p>' for note in used.notes))


_RETAKE = ("Retake", "This photo cannot decide.")
_WORDS = {
    Shows.NO_TRACE_SEEN: ("Hides", "This card may be compared with the car."),
    Shows.UNSURE: ("Not sure", "The chart may still show through."),
    Shows.SHOWS: ("Not hiding", "No valid match can be made with this card."),
}


def _show_figures(answer: CardHiding) -> None:
    result = answer.result
    (low, high), (near, far) = result.contrast_interval, result.field_interval
    rules = _rules()
    rows = (
        (
            "Contrast ratio",
            f"{result.contrast_ratio:.3f} ({low:.3f} to {high:.3f})",
            f"Light over black for light over white. From {rules.film.contrast_ratio:g} on it counts as hidden.",
        ),
        (
            "Difference across the chart",
            f"{result.field_delta_e00:.1f} ({near:.1f} to {far:.1f})",
            f"CIEDE2000. From {limit_words(rules.card.hiding.field_difference)} on an edge can be seen.",
        ),
    )
    st.html(table(("Figure", "Value (95\u00a0%\u00a0sure)", "Meaning"), rows))


def _show_coats(answer: CardHiding) -> None:
    coats = answer.result.coats
    if coats is None:
        return
    rows = [
        ("On this card", f"{coats.sprayed:g}"),
        ("Needed to hide", f"{coats.estimate:.1f} (95\u00a0%\u00a0sure: {coats.span})"),
    ]
    if coats.whole:
        sure = 100.0 * _rules().card.hiding.coats_sureness  # of the whole number: less than the interval beside it
        rows.append((f"Spray in all, {sure:.0f}\u00a0% sure to hide", f"{coats.whole}"))
    st.header("Coats", anchor=False)
    st.html(table(("Coats", "Number"), rows) + spraying())
    if coats.whole and coats.whole <= MOST_BLEND_COATS:
        words = f"Plan the blend with {coats.whole} coats to cover"
        st.button(words, key="hiding_carry", type="primary", width="stretch", on_click=_carry, args=(coats.whole,))
    if coats.whole and st.session_state.get(_CARRIED) == coats.whole:
        say.note(f"Done: the Blend page now plans with {coats.whole} coats to cover.", is_news=True)


def _carry(coats: int) -> None:
    st.session_state[BLEND_COATS] = float(coats)
    st.session_state[_CARRIED] = coats


@st.cache_resource(max_entries=16, show_spinner=False, hash_funcs=measured.KNOWN_BY)
def _fields(
    photo: ChosenPhoto, greys: tuple[Region, ...], black: Region, white: Region, used: Calibration
) -> Measurement:
    return measure_fields(measured.read_photo(photo), greys, black, white, used)


@st.cache_resource(show_spinner=False)
def _rules() -> CoatsRules:
    return load_coats_rules()
