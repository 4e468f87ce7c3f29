"""What lies on a bench, as one document: photos and their marks, fields, the pot with its log, the verdict in short."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

import streamlit as st

from match.errors import MatchError
from match.photo.regions import EVERY_QUESTION, Kind, Region
from match.record import plain
from match.several.photo_set import Angle, PhotoUse, Role
from match.ui import measured, session
from match.ui.bench import fields, page_photos
from match.ui.marker.first_marks import Source, Start
from match.ui.marker.marks import CHECK_KINDS, Mark, read_marks
from match.ui.session import ChosenPhoto

FORMAT = "bench 1"
_PAGE = "bench_page"
_Read = tuple[ChosenPhoto, Start | None, PhotoUse | None, tuple[Mark, ...], tuple[Region, ...]]


class BenchError(MatchError):
    """What was left on a bench cannot be read."""


def document(page: str) -> dict[str, Any]:
    """Return what lies on this visit's bench, ready for JSON; ``page`` is the address of the page that is shown."""
    if page in fields.WORK_PAGES:
        st.session_state[_PAGE] = page
    bench = session.bench()
    return {
        "format": FORMAT,
        "page": st.session_state.get(_PAGE, fields.WORK_PAGES[0]),
        "photos": [_photo(photo) for photo in session.photos()],
        "on_bench": bench.digest if bench else None,
        "fields": fields.values(),
        "pages": page_photos.kept(),
        "tint": _tint(),
        "check": _check(),
    }


def photos() -> dict[str, bytes]:
    """Return the photos that the document names, by SHA-256."""
    return {photo.digest: photo.content for photo in (*session.photos(), *page_photos.photos())}


def _photo(photo: ChosenPhoto) -> dict[str, Any]:
    start, use = session.start(photo.digest), session.use(photo.digest)
    return {
        **page_photos.named(photo),
        "marks": [mark.as_dict() for mark in session.marks(photo.digest)],
        "start": None if start is None else [start.source.value, list(start.sentences), start.pending],
        "use": [use.angle.value, use.role.value, use.light] if session.use_is_said(photo.digest) else None,
        "said": [asdict(region) for region in session.said(photo.digest)],
    }


def _tint() -> dict[str, Any] | None:
    """Return what the tint page keeps; its libraries are needed only where it kept something."""
    if not (st.session_state.get("tint_story") or st.session_state.get("tint_letdowns")):
        return None
    from match.ui.tint import state

    return state.kept()


def _check() -> dict[str, Any] | None:
    check = session.latest_check()
    if check is None:
        return None
    return {"verdict": check.result.verdict.value, "delta_e00": plain(check.result.measurement.delta_e00)}


def put_back(kept: Mapping[str, Any], photo_bytes: Callable[[str], bytes]) -> tuple[str, ...]:
    """Put everything back on this visit's bench; return a sentence for each photo that is lost.

    Raises :class:`BenchError` when the document is none of this program's; nothing that lies on the bench is then
    changed.
    """
    try:
        if kept["format"] != FORMAT:
            raise ValueError
        read = [_read_photo(entry) for entry in kept["photos"]]
        values = fields.read(kept["fields"])
        tint, pages = _read_tint(kept["tint"]), page_photos.read_kept(kept["pages"])
        on_bench, page = kept["on_bench"], str(kept["page"])
    except (KeyError, TypeError, ValueError, AttributeError, ImportError, MatchError):
        raise BenchError("what was left here cannot be read by this version: begin with the photo again") from None
    lost: list[str] = []

    def found(photo: ChosenPhoto) -> ChosenPhoto | None:
        try:
            return replace(photo, content=photo_bytes(photo.digest))
        except MatchError as error:
            lost.append(f"The photo {photo.name} could not be put back: {error}")
            return None

    _put_photos(read, found)
    pages(found)
    if on_bench:
        session.put_bench(on_bench)
    for key, value in values.items():
        st.session_state[key] = value
    if tint is not None:
        tint()
    st.session_state[_PAGE] = page
    return tuple(lost)


def _put_photos(read: Sequence[_Read], found: Callable[[ChosenPhoto], ChosenPhoto | None]) -> None:
    session.put_photo(None)
    for named, start, use, marks, said in read:
        photo = found(named)
        if photo is None:
            continue
        if session.photo() is None:
            session.put_photo(photo)
            if use is not None:
                session.put_use(photo.digest, use)
        else:
            session.add_photo(photo, use)
        session.replace_marks(photo.digest, marks)
        session.say_marks_are_right(photo.digest, said)
        if start is not None:
            session.put_start(photo.digest, start)


def _read_photo(entry: Mapping[str, Any]) -> _Read:
    use = start = None
    if entry["use"] is not None:  # what nobody said is still to be said: a wrong angle lets a match go
        angle, role, light = entry["use"]
        use = PhotoUse(Angle(angle), Role(role), str(light))
    if entry["start"] is not None:
        source, sentences, pending = entry["start"]
        start = Start(Source(source), tuple(str(each) for each in sentences), bool(pending))
    marks = read_marks(entry["marks"], CHECK_KINDS, measured.calibration().greys.default_reflectance)
    said = tuple(_read_said(each) for each in entry.get("said", ()))  # benches left before the press have none
    return page_photos.read_named(entry), start, use, tuple(marks), said


def _read_said(entry: Mapping[str, Any]) -> Region:
    """Return a mark with a person's word on it; where it is none of the photo's marks it counts for nothing."""
    sure = entry["sure"]
    if isinstance(sure, bool):  # benches left before what was asked was kept
        sure = [EVERY_QUESTION] if sure else []
    return Region(**{**entry, "kind": Kind(entry["kind"]), "sure": tuple(str(each) for each in sure)})


def _read_tint(kept: Mapping[str, Any] | None) -> Callable[[], None] | None:
    if kept is None:
        return None
    from match.ui.tint import state

    return state.read_kept(kept)
