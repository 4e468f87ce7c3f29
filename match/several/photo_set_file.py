"""The photo-set file: which photos of one pair belong together, what each is for, and its marks.

A photo-set file is TOML or JSON::

    [[photos]]
    path = "face-1.jpg"         # counts from the file's own folder
    angle = "face"              # near-glare, face or flop; of several photos of an effect finish each must say it
    role = "first"              # first, repeat or swap; first when left out
    light = "daylight"          # any word; photos with the same word are averaged
    mid_coats = 3               # mid-coats on this step of a let-down card; in between is allowed: 2.5
    grey = ["40,300,80,60@18%"] # regions as on the command line: X,Y,W,H in pixels of the upright photo
    card = "200,120,150,150"    # of several cards a list, with a name each: ["200,120,150,150=less white", ...]
    vehicle = ["20,120,150,150", "380,120,150,150"]
    # somebody looked at this photo and answered a question (the code of its warning) about these marks of it:
    sure = [{ asked = "mark-grey-value", of = ["grey 40,300,80,60@18%"] }]
"""

from collections.abc import Mapping
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import Any, TypeVar

from match.errors import EvidenceError
from match.files import read_json, read_toml
from match.photo.regions import Kind, Region, named_cards, parse_region
from match.several.photo_set import USUAL_LIGHT, Angle, MarkedPhoto, PhotoUse, Role, check_uses, is_let_down

Choice = TypeVar("Choice", bound=StrEnum)

_KNOWN_KEYS = ("path", "angle", "role", "light", "mid_coats", "grey", "card", "vehicle", "sure")


def read_photo_set(file: Path, default_reflectance: float, each_angle: bool = False) -> tuple[MarkedPhoto, ...]:
    """Read a photo-set file, raising :class:`match.errors.MatchError` that says what to correct.

    ``default_reflectance`` is the luminous reflectance (0 to 1) of a grey region that does not give its own;
    ``each_angle`` whether every one of several photos must say its angle, as those of an effect finish must.
    """
    what = "the photo-set file"
    document = read_json(file, what) if file.suffix.lower() == ".json" else read_toml(file, what)
    if not isinstance(document, dict):
        raise EvidenceError(f"the photo-set file {file} has no list of photos: start each photo with [[photos]]")
    return parse_photo_set(document, default_reflectance, each_angle)


def parse_photo_set(
    document: Mapping[str, Any], default_reflectance: float, each_angle: bool = False
) -> tuple[MarkedPhoto, ...]:
    """Return the photos of a parsed TOML or JSON document (see the module's text for the format).

    Raises :class:`EvidenceError` or :class:`match.errors.RegionError` when a key is unknown, missing or wrong, or the
    roles do not fit together.

    Parameters
    ----------
    document : the parsed file, with a list under ``photos``
    default_reflectance : luminous reflectance (0 to 1) of a grey region that does not give its own
    each_angle : whether every one of several photos must say its angle
    """
    listed = document.get("photos")
    if not isinstance(listed, list) or not all(isinstance(entry, Mapping) for entry in listed):
        raise EvidenceError("the photo-set file has no list of photos: start each photo with a line [[photos]]")
    photos = tuple(_entry(entry, index, default_reflectance) for index, entry in enumerate(listed, start=1))
    check_uses(photos)
    unsaid = [photo.name for photo, entry in zip(photos, listed, strict=True) if "angle" not in entry]
    if each_angle and len(photos) > 1 and unsaid and not is_let_down(photos):
        raise EvidenceError(
            f"{unsaid[0]} does not say from where it was taken, and an effect finish is judged at each angle: write "
            f"angle = and one of {', '.join(angle.value for angle in Angle)}"
        )
    return photos


def _entry(entry: Mapping[str, Any], number: int, default_reflectance: float) -> MarkedPhoto:
    path = entry.get("path")
    if not isinstance(path, str) or not path.strip():
        raise EvidenceError(f"photo {number} of the photo-set file has no path: write path = and the photo's file name")
    for key in entry:
        if key not in _KNOWN_KEYS:
            raise EvidenceError(f"{path}: nothing is called {key!r} in a photo set: use {', '.join(_KNOWN_KEYS)}")
    use = PhotoUse(
        angle=_choice(Angle, entry, "angle", Angle.FACE, path),
        role=_choice(Role, entry, "role", Role.FIRST, path),
        light=_light(entry, path),
        mid_coats=_coats(entry, "mid_coats", path),
    )
    regions = tuple(
        parse_region(kind, text, default_reflectance)
        for kind in (Kind.GREY, Kind.CARD, Kind.VEHICLE)
        for text in _texts(entry, kind.value, path)
    )
    return MarkedPhoto(path, use, named_cards(_with_word(regions, entry, default_reflectance, path)))


def _with_word(
    regions: tuple[Region, ...], entry: Mapping[str, Any], default_reflectance: float, path: str
) -> tuple[Region, ...]:
    """Return the marks with a person's word on them; one on a mark that is there no longer counts for nothing."""
    words = entry.get("sure", [])
    for word in words if isinstance(words, list) else [words]:
        asked, of = (word.get(key) for key in ("asked", "of")) if isinstance(word, Mapping) else (None, None)
        if not isinstance(asked, str) or not isinstance(of, list) or not all(isinstance(mark, str) for mark in of):
            raise EvidenceError(
                f"{path}: sure must be a list of tables, each with asked = the code of what was asked, and of = a list "
                'of the marks, such as ["grey 40,300,80,60@18%"]'
            )
        meant = {_mark(text, default_reflectance, path).claim for text in of}
        regions = tuple(replace(r, sure=(*r.sure, asked)) if r.claim in meant else r for r in regions)
    return regions


def _mark(text: str, default_reflectance: float, path: str) -> Region:
    kind, _, where = text.partition(" ")
    if kind not in [each.value for each in Kind]:
        raise EvidenceError(f"{path}: sure is of {text!r}: begin with one of {', '.join(each.value for each in Kind)}")
    return parse_region(Kind(kind), where, default_reflectance)


def _texts(entry: Mapping[str, Any], key: str, path: str) -> list[str]:
    value = entry.get(key, [])
    listed = [value] if isinstance(value, str) else value
    if not isinstance(listed, list) or not all(isinstance(item, str) for item in listed):
        raise EvidenceError(f'{path}: {key} must be a region as text, "X,Y,W,H", or a list of them')
    return listed


def _choice(kind: type[Choice], entry: Mapping[str, Any], key: str, usual: Choice, path: str) -> Choice:
    value = entry.get(key, usual.value)
    try:
        return kind(value)
    except ValueError:
        allowed = ", ".join(item.value for item in kind)
        raise EvidenceError(f"{path}: {key} is {value!r}: write one of {allowed}") from None


def _light(entry: Mapping[str, Any], path: str) -> str:
    value = entry.get("light", USUAL_LIGHT)
    if not isinstance(value, str) or not value.strip():
        raise EvidenceError(f"{path}: light is {value!r}: give the lamp a name, such as daylight or tungsten")
    return value.strip()


def _coats(entry: Mapping[str, Any], key: str, path: str) -> float | None:
    value = entry.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 20:
        raise EvidenceError(f"{path}: {key} is {value!r}: give the number of coats, such as 2 or 2.5")
    return float(value)
