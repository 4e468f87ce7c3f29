"""What the tint page remembers from page to page: the pot's story and the let-downs taken for a toner of one's own."""

import json
from collections.abc import Callable, Mapping
from typing import Any

import streamlit as st

from match.demo.pot import FORMULA, first_card
from match.errors import MatchError
from match.files import parse_json
from match.tint import shelf_file as shelves
from match.tint.card import CardColour, CheckedCard
from match.tint.card_from_check import read_check
from match.tint.earlier_pots import Taught, same_pot, taught
from match.tint.foreseen import Foreseen
from match.tint.foreseen import foreseen as predictions
from match.tint.own_toner import LetDown
from match.tint.shelf_file import Shelf
from match.tint.story import FORMAT, Story, begin, story_from
from match.tint.tinting import Wanted
from match.tint.what_next import Answer, TintCalibration, answer, load_tint_calibration
from match.ui import session

EARLIER_ON, _EARLIER = "tint_earlier_on", "tint_earlier"
_STORY, _LETDOWNS, _NOT_CARDS, _FAULT = "tint_story", "tint_letdowns", "tint_not_cards", "tint_fault"
FORMULA_ON, ROWS, SHARE, ALLOWED = "tint_formula_on", "tint_rows", "tint_share", "tint_allowed"
POT, BATCH, RESERVE = "tint_pot", "tint_batch", "tint_reserve"
MIX, ON_TOP = "tint_mix", "tint_on_top"
UPLOAD, NEW_TONER = "tint_upload", "tint_new_toner"


@st.cache_resource(show_spinner=False)
def calibration() -> TintCalibration:
    """Return the limits, read once; restart the app after editing them."""
    return load_tint_calibration()


def shelf() -> Shelf:
    """Return the toners, read again whenever the shop's own file has changed; taught by earlier pots if asked."""
    return taught_shelf().shelf


def taught_shelf() -> Taught:
    """Return the toners, and how many earlier pots taught their strengths: none until that is asked for."""
    path = shelves.own_path()
    found = _shelf(str(path), path.read_bytes() if path.is_file() else b"")
    earlier = _earlier()
    return _taught(_key(earlier), _own(), found, earlier) if earlier else Taught(found, 0)


def learn_from(stories: tuple[Story, ...] | None) -> None:
    """Let these earlier pots teach the toners' strengths for the rest of the visit; none forgets what was taught."""
    st.session_state[_EARLIER] = stories


def has_learned() -> bool:
    """Return whether earlier pots were read for this visit, if only to find none."""
    return st.session_state.get(_EARLIER) is not None


def _earlier() -> tuple[Story, ...]:
    """Return the earlier pots that teach, without the one on the page."""
    now = kept_story()
    return tuple(each for each in st.session_state.get(_EARLIER) or () if now is None or not same_pot(each, now))


def _key(stories: tuple[Story, ...]) -> str:
    return json.dumps([story.as_dict() for story in stories])


def _own() -> bytes:
    path = shelves.own_path()
    return path.read_bytes() if path.is_file() else b""


@st.cache_resource(max_entries=4, show_spinner="Learning from earlier pots…")
def _taught(key: str, own_toners: bytes, _shelf: Shelf, _stories: tuple[Story, ...]) -> Taught:
    return taught(_shelf, _stories, calibration().limits, calibration().earlier)


@st.cache_resource(max_entries=4, show_spinner=False)
def _shelf(path: str, content: bytes) -> Shelf:
    return shelves.load_shelf()


def allow_all() -> None:
    """Let every toner that the shelf now offers be added."""
    found = shelves.load_shelf()
    st.session_state[ALLOWED] = list(found.offered or found.toners)


def answered(story: Story, wanted: Wanted) -> Answer:
    """Return the answer about a pot, from memory where nothing it rests on changed."""
    return _answered(_key((story, *_earlier())), _own(), wanted, story)


@st.cache_resource(max_entries=32, show_spinner="Calculating…")
def _answered(key: str, own_toners: bytes, wanted: Wanted, _story: Story) -> Answer:
    return answer(_story, shelf(), calibration().limits, wanted)


def foreseen(story: Story) -> tuple[Foreseen, ...]:
    """Return what was predicted for every card of a pot, from memory where nothing it rests on changed."""
    return _foreseen(_key((story, *_earlier())), _own(), story)


@st.cache_resource(max_entries=32, show_spinner=False)
def _foreseen(key: str, own_toners: bytes, _story: Story) -> tuple[Foreseen, ...]:
    return predictions(_story, shelf(), calibration().limits)


def kept_story() -> Story | None:
    """Return the pot that was begun, if one was."""
    found = st.session_state.get(_STORY)
    return found if isinstance(found, Story) else None


def keep(story: Story | None) -> None:
    """Keep a pot for the rest of the visit, or forget it."""
    st.session_state[_STORY] = story


def latest() -> CheckedCard | None:
    """Return the last check of this visit for tinting; none where there is none or its card is a let-down.

    Raises :class:`match.errors.TintError` when the check is of an effect paint, or its photo cannot be relied on.
    """
    check = session.latest_check()
    if check is None or check.photo_digest in st.session_state.get(_NOT_CARDS, ()):
        return None
    return read_check(check.document(), check.photo_name)


def letdowns() -> tuple[tuple[str, LetDown], ...]:
    """Return the let-downs taken so far, each with its photo's name."""
    return tuple(st.session_state.get(_LETDOWNS, ()))


def take_letdown(check: session.LatestCheck, letdown: LetDown) -> None:
    """Keep a let-down; its photo no longer counts as a card of the pot."""
    st.session_state[_LETDOWNS] = (*letdowns(), (check.photo_name, letdown))
    st.session_state[_NOT_CARDS] = {*st.session_state.get(_NOT_CARDS, ()), check.photo_digest}


def forget_letdowns() -> None:
    """Clear the let-downs for the next toner."""
    st.session_state[_LETDOWNS] = ()


def kept() -> dict[str, Any]:
    """Return pot and let-downs ready for JSON, to be had back by :func:`read_kept`."""
    story = kept_story()
    taken = [[name, each.share_by_weight, each.colour.as_dict()] for name, each in letdowns()]
    return {"story": None if story is None else story.as_record(), "letdowns": taken}


def read_kept(saved: Mapping[str, Any]) -> Callable[[], None]:
    """Return what puts back what :func:`kept` returned; raises :class:`MatchError` or KeyError for anything else."""
    story = None if saved["story"] is None else story_from(saved["story"], "the bench")
    taken = tuple(
        (str(name), LetDown(float(share), CardColour(colour["lab"], colour["covariance"])))
        for name, share, colour in saved["letdowns"]
    )

    def put_back() -> None:
        keep(story)
        st.session_state[_LETDOWNS] = taken

    return put_back


def begin_demo() -> None:
    """Begin the invented pot; a callback, so that the form can be filled in."""
    fill_formula(FORMULA)
    st.session_state[SHARE] = 100.0
    keep(begin(first_card(shelf()), calibration().pot.test_pot_g))


def open_upload() -> None:
    """Open the uploaded file, a saved check or a tint log; a callback, so that the form can be filled in."""
    uploaded = st.session_state.get(UPLOAD)
    if uploaded is None:
        return
    st.session_state[_FAULT] = None
    try:
        parsed = parse_json(uploaded.getvalue(), f"the file {uploaded.name}")
        if isinstance(parsed, dict) and parsed.get("format") == FORMAT:
            open_story(story_from(parsed, uploaded.name))
        else:
            keep(begin(read_check(parsed, uploaded.name), float(st.session_state[POT])))
    except MatchError as error:
        st.session_state[_FAULT] = error


def fault() -> MatchError | None:
    """Return what was wrong with the last uploaded file."""
    found = st.session_state.get(_FAULT)
    return found if isinstance(found, MatchError) else None


def fill_formula(formula: dict[str, float] | None) -> None:
    """Put a formula into the form, or say that it is not known."""
    st.session_state[FORMULA_ON] = formula is not None
    start = st.session_state.get("tint_next_row", 0)
    rows = tuple(range(start, start + len(formula or {})))
    st.session_state["tint_next_row"] = start + len(rows)
    st.session_state[ROWS] = rows
    for row, (name, parts) in zip(rows, (formula or {}).items(), strict=True):
        st.session_state[f"tint_toner_{row}"] = name
        st.session_state[f"tint_parts_{row}"] = float(parts)


def open_story(story: Story) -> None:
    """Go on with a saved pot; before the form is drawn, which is filled with what the pot holds."""
    story.job(shelf())  # an unknown toner is said now, before the form changes
    fill_formula(dict(story.mix.formula) if story.mix.formula is not None else None)
    st.session_state[SHARE] = 100 * story.mix.toner_share
    st.session_state[POT] = story.pot_g
    st.session_state[ALLOWED] = list(story.mix.allowed or shelf().offered or shelf().toners)
    keep(story)
