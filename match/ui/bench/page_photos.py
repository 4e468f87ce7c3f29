"""The photos that belong to one page alone, with their marks: those of the coats and of the camera."""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

import streamlit as st

from match.errors import MatchError
from match.ui.marker.marks import Mark
from match.ui.session import ChosenPhoto

SINGLE = ("hiding_photo", "camera_photo")
STEPS = "let_down_steps"
_BENCH = "let_down_bench"
_MARKS = re.compile(r"(hiding|let-down|camera-null|camera-greys)-marks-[0-9a-f]{12}-kept")


def photos() -> Iterator[ChosenPhoto]:
    """Yield every photo of these pages that is there."""
    yield from (st.session_state[name] for name in SINGLE if st.session_state.get(name))
    yield from (step.photo for step in st.session_state.get(STEPS) or ())


def kept() -> dict[str, Any]:
    """Return these photos without their bytes, and their marks, ready for JSON."""
    state = st.session_state
    return {
        "single": {name: named(state[name]) for name in SINGLE if state.get(name)},
        "steps": [[named(step.photo), step.coats, step.angle.value, step.accepted] for step in state.get(STEPS) or ()],
        "shown": state.get(_BENCH),
        "marks": {
            key: [mark.as_dict() for mark in state[key]] for key in sorted(map(str, state)) if _MARKS.fullmatch(key)
        },
    }


def named(photo: ChosenPhoto) -> dict[str, Any]:
    """Return what a photo is called; its bytes are kept by their hash."""
    return {"sha256": photo.digest, "name": photo.name, "is_demo": photo.is_demo}


def read_named(entry: Mapping[str, Any]) -> ChosenPhoto:
    """Return a photo of which only the bytes are missing."""
    return ChosenPhoto(str(entry["name"]), b"", str(entry["sha256"]), bool(entry["is_demo"]))


def read_kept(saved: Mapping[str, Any]) -> Callable[[Callable[[ChosenPhoto], ChosenPhoto | None]], None]:
    """Return what puts these photos back, given what finds a photo's bytes; raises as a wrong document does."""
    single = {name: read_named(saved["single"][name]) for name in SINGLE if name in saved["single"]}
    steps = [_read_step(*entry) for entry in saved["steps"]]
    marks = {str(key): tuple(_read_mark(each) for each in found) for key, found in saved["marks"].items()}

    def put_back(found: Callable[[ChosenPhoto], ChosenPhoto | None]) -> None:
        for name, photo in single.items():
            st.session_state[name] = found(photo)
        whole = ((step, found(step.photo)) for step in steps)
        st.session_state[STEPS] = tuple(replace(step, photo=photo) for step, photo in whole if photo is not None)
        st.session_state[_BENCH] = saved["shown"]
        for key, value in marks.items():
            if _MARKS.fullmatch(key):
                st.session_state[key] = value

    return put_back


def _read_step(photo: Mapping[str, Any], coats: float, angle: str, accepted: bool) -> Any:
    from match.several.photo_set import Angle
    from match.ui.coats.let_down import Step

    return Step(read_named(photo), float(coats), Angle(angle), bool(accepted))


def _read_mark(entry: Mapping[str, Any]) -> Mark:
    mark = Mark(**entry)
    sides = (mark.x, mark.y, mark.width, mark.height)
    if not all(isinstance(side, int | float) and 0.0 <= side <= 1.0 for side in sides):
        raise MatchError("a mark lies outside its photo")
    return mark
