"""The strip at the top of a page while the guided check goes on: one sentence, where one is, and the way out."""

from pathlib import Path
from typing import Literal

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from match.photo.regions import Kind
from match.ui import session
from match.ui.bench import fields
from match.ui.guided import places, visit
from match.ui.guided.steps import BLEND, CHECK, Ask, Facts, Step, asked, following, pages, step_after
from match.ui.guided.words import SAID, place_words
from match.ui.kit import style
from match.ui.kit.banner import ANSWER
from match.ui.kit.style import text
from match.ui.marker import marking
from match.ui.marker.first_marks import Source, Start
from match.ui.session import ChosenPhoto

_KINDS = {Step.GREY: Kind.GREY, Step.CARD: Kind.CARD, Step.CAR: Kind.VEHICLE}
_PHOTO = "photo"
_LINKS = {
    **dict.fromkeys((Ask.READ, Ask.REFUSED, Ask.MEND, Ask.TO_ROOM, Ask.SAVE), (ANSWER, "Show the answer")),
    **dict.fromkeys((Ask.SLIP, Ask.SLIP_FURTHER, Ask.BOX_MISSING), (_PHOTO, "Show the photo")),
}
"""What is looked at next, where a phone shows one of photo and answer."""

_NEXT = {Ask.READ, Ask.ROOM, Ask.ROOM_PLANNED}
_BACK = {Ask.TO_SAVE: "To the Check page", Ask.ELSEWHERE: "Back to it"}
_FINISH = {Ask.SAVE: "Finish, keep nothing", Ask.SAVED: "Finish"}


def is_over(page: str) -> bool:
    """Return whether the guided check ended by itself, and leave it then.

    It does where its photo was cleared away, and where it is through and the person goes on to another page.
    """
    photo = session.photo()
    if photo is not None and photo.is_demo and (page in pages(visit.step()) or not _is_saved()):
        return False
    visit.leave(done=_is_saved())
    return True


def place(page: str) -> DeltaGenerator | None:
    """Return the strip's place at the top of the page of this address, to be filled once the page is drawn.

    None where the page is not to be shown, since it is no part of the guided check: the strip then says so.
    """
    at = st.container(key="guided_strip")
    photo = session.photo()
    if page in pages(visit.step()) or photo is None:
        st.html(f'<div id="{_PHOTO}"></div>')
        return at
    _show(at, page, photo)
    return None


def fill(at: DeltaGenerator, page: str) -> None:
    """Say on the strip what to do now, by what lies on the bench as the page left it."""
    photo = session.photo()
    if not visit.is_on() or photo is None:
        return
    st.query_params[visit.ADDRESS] = "1"
    _show(at, page, photo)


def _show(at: DeltaGenerator, page: str, photo: ChosenPhoto) -> None:
    facts = _facts(page, photo)
    step = visit.put_step(step_after(visit.step(), facts))
    ask = asked(step, facts)
    with at:
        style.load(Path(__file__).with_name("strip.css"))
        to, words = _LINKS.get(ask, ("", ""))
        link = f' <a href="#{to}">{words}</a>' if to else ""
        st.html(f'<p class="sm-note">{place_words(step)}</p><p class="say" role="status">{text(SAID[ask])}{link}</p>')
        with st.container(horizontal=True):
            _offer_presses(ask, step, photo)


def _offer_presses(ask: Ask, step: Step, photo: ChosenPhoto) -> None:
    if ask in _NEXT:
        kind: Literal["primary", "secondary"] = "secondary" if ask is Ask.ROOM else "primary"
        st.button("Next", key=f"guided_next_{step}", type=kind, on_click=_go_on, args=(step,))
    elif ask in _BACK:
        st.button(_BACK[ask], key="guided_back", type="primary", on_click=visit.ask_for, args=(CHECK,))
    elif ask in _FINISH:
        kind = "primary" if ask is Ask.SAVED else "secondary"
        st.button(_FINISH[ask], key="guided_finish", type=kind, on_click=_leave, args=(True,))
        return
    else:
        st.button("Do it for me", key=f"guided_do_{ask}", on_click=_do, args=(ask, step, photo))
    st.button("Leave", key="guided_leave", icon=":material/close:", on_click=_leave)


def _leave(done: bool = False) -> None:
    visit.leave(done=done)
    visit.ask_for(CHECK)


def _go_on(step: Step) -> None:
    visit.put_step(following(step))
    if step is Step.ROOM:
        visit.ask_for(CHECK)


def _do(ask: Ask, step: Step, photo: ChosenPhoto) -> None:
    """Do what is asked for."""
    if ask is Ask.TO_ROOM:
        visit.ask_for(BLEND)
        return
    marks, known = session.marks(photo.digest), visit.places()
    if step is Step.SLIP and ask in (Ask.SLIP, Ask.SLIP_FURTHER):
        put = places.with_slip(known)
    elif step in _KINDS:
        put = places.with_right(marks, _KINDS[step], known)
    else:
        put = places.all_right(known)
    session.put_start(photo.digest, Start(Source.HAND))
    session.replace_marks(photo.digest, put)


def _facts(page: str, photo: ChosenPhoto) -> Facts:
    marks, known = session.marks(photo.digest), visit.places()
    check = session.latest_check()
    return Facts(
        page,
        places.right_kinds(marks, known),
        places.sides(marks, known),
        places.first_fault(marks, known),
        marking.is_pending(photo),
        check.result.verdict if check else None,
        fields.is_room_planned(),
        _is_saved(),
    )


def _is_saved() -> bool:
    return bool(st.session_state.get("save_saved"))
