"""What each photo of a set is for: its angle, its lamp, whether the card was laid again, how many coats it carries.

A photo-set file is TOML or JSON, already parsed here into a mapping::

    [[photos]]
    path = "face-1.jpg"
    angle = "face"              # near-glare, face or flop; face when left out
    role = "first"              # first, repeat or swap; first when left out
    light = "daylight"          # any word; photos with the same word are averaged
    coats = 2                   # coats of colour on the card; needed only with over_black and over_white
    mid_coats = 3               # mid-coats on this step of a let-down card; in between is allowed: 2.5
    grey = ["40,300,80,60@18%"] # regions as on the command line: X,Y,W,H in pixels of the upright photo
    card = "200,120,150,150"
    vehicle = ["20,120,150,150", "380,120,150,150"]
    over_black = "210,130,50,50"  # the card's fields, where its chart shows through (both or neither)
    over_white = "290,130,50,50"
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, TypeVar

from match.errors import EvidenceError
from match.photo.regions import Kind, Region, parse_region

Choice = TypeVar("Choice", bound=StrEnum)


class Angle(StrEnum):
    """From where the pair was photographed, under one lamp."""

    NEAR_GLARE = "near-glare"
    FACE = "face"
    FLOP = "flop"


class Role(StrEnum):
    """What was done with the card: laid down, laid again in its place, or moved to the other side of the car paint."""

    FIRST = "first"
    REPEAT = "repeat"
    SWAP = "swap"


USUAL_LIGHT = "one light"
"""The name of the lamp where none is given."""

_KNOWN_KEYS = (
    *("path", "angle", "role", "light", "coats", "mid_coats"),
    *("grey", "card", "vehicle", "over_black", "over_white"),
)


@dataclass(frozen=True)
class PhotoEntry:
    """One photo of a set.

    Attributes
    ----------
    path : the photo's file, as written by the user
    angle, role, light : what the photo is for
    coats : coats of colour on the card; None when not said
    mid_coats : mid-coats on this step of a let-down card; None for an ordinary card
    regions : grey, card and vehicle regions, ready for :func:`match.photo.regions.check_regions`
    over_black, over_white : the card's two fields, as regions of kind card; both or neither
    """

    path: str
    angle: Angle = Angle.FACE
    role: Role = Role.FIRST
    light: str = USUAL_LIGHT
    coats: float | None = None
    mid_coats: float | None = None
    regions: tuple[Region, ...] = ()
    over_black: Region | None = None
    over_white: Region | None = None

    @property
    def chart_regions(self) -> tuple[Region, ...]:
        """The regions of a measurement of the card's own chart; none when it is not marked.

        The part over black stands in the card's place and the part over white in the vehicle's, as
        :func:`match.coats.hiding.judge_hiding` wants them.
        """
        if self.over_black is None or self.over_white is None:
            return ()
        greys = tuple(region for region in self.regions if region.kind is Kind.GREY)
        return (*greys, self.over_black, replace(self.over_white, kind=Kind.VEHICLE))

    def as_dict(self) -> dict[str, Any]:
        """Return the entry for JSON, regions as text."""
        return {
            "path": self.path,
            "angle": self.angle.value,
            "role": self.role.value,
            "light": self.light,
            "coats": self.coats,
            "mid_coats": self.mid_coats,
            "regions": [{"kind": region.kind.value, "at": _text(region)} for region in self.regions],
            "over_black": _text(self.over_black) if self.over_black else None,
            "over_white": _text(self.over_white) if self.over_white else None,
        }


@dataclass(frozen=True)
class PhotoSet:
    """The photos of one check, in the order given; the first one's lamp is the one the verdict rests on."""

    photos: tuple[PhotoEntry, ...]

    @property
    def lights(self) -> tuple[str, ...]:
        """The lamps, in the order they appear."""
        return tuple(dict.fromkeys(photo.light for photo in self.photos))

    @property
    def is_let_down(self) -> bool:
        """Whether the photos show a let-down card."""
        return any(photo.mid_coats is not None for photo in self.photos)

    def groups(self) -> dict[tuple[float | None, str, Angle], tuple[int, ...]]:
        """Return the indices of the photos that may be averaged: same mid-coats, same lamp, same angle."""
        found: dict[tuple[float | None, str, Angle], tuple[int, ...]] = {}
        for index, photo in enumerate(self.photos):
            key = (photo.mid_coats, photo.light, photo.angle)
            found[key] = (*found.get(key, ()), index)
        return found

    def as_dict(self) -> dict[str, Any]:
        """Return the set for JSON."""
        return {"photos": [photo.as_dict() for photo in self.photos]}


def photo_set(photos: Sequence[PhotoEntry]) -> PhotoSet:
    """Return the set, raising :class:`EvidenceError` when the photos' roles do not fit together."""
    if not photos:
        raise EvidenceError("the photo set holds no photo: list at least one under [[photos]]")
    result = PhotoSet(tuple(photos))
    paths = [photo.path for photo in photos]
    for path in paths:
        if paths.count(path) > 1:
            raise EvidenceError(
                f"{path} is listed {paths.count(path)} times: a photo counts once, so take another one or remove a line"
            )
    for (_, light, angle), members in result.groups().items():
        roles = [photos[index].role for index in members]
        if Role.FIRST not in roles:
            raise EvidenceError(
                f"{photos[members[0]].path} is called a {roles[0].value}, but no photo at the {angle.value} angle "
                f"under {light!r} is called first: call it first, or correct its angle, light or mid_coats"
            )
    _check_steps(result)
    return result


def _check_steps(photos: PhotoSet) -> None:
    if not photos.is_let_down:
        return
    for photo in photos.photos:
        if photo.mid_coats is None:
            raise EvidenceError(
                f"{photo.path} does not say how many mid-coats its card carries, and others do: give mid_coats for each"
            )
    if len({photo.mid_coats for photo in photos.photos}) < 2:
        raise EvidenceError("a let-down card needs at least two steps: photograph cards with other numbers of coats")


def parse_photo_set(document: Mapping[str, Any], default_reflectance: float) -> PhotoSet:
    """Return the photo set of a parsed TOML or JSON document (see the module's text for the format).

    Parameters
    ----------
    document : the parsed file, with a list under ``photos``
    default_reflectance : luminous reflectance (0 to 1) of a grey region that does not give its own

    Raises
    ------
    EvidenceError, RegionError
        When a key is unknown, missing or wrong, or the roles do not fit together.
    """
    listed = document.get("photos")
    if not isinstance(listed, list) or not all(isinstance(entry, Mapping) for entry in listed):
        raise EvidenceError("the photo-set file has no list of photos: start each photo with a line [[photos]]")
    return photo_set([_entry(entry, index, default_reflectance) for index, entry in enumerate(listed, start=1)])


def _entry(entry: Mapping[str, Any], number: int, default_reflectance: float) -> PhotoEntry:
    path = entry.get("path")
    if not isinstance(path, str) or not path.strip():
        raise EvidenceError(f"photo {number} of the photo-set file has no path: write path = and the photo's file name")
    for key in entry:
        if key not in _KNOWN_KEYS:
            raise EvidenceError(f"{path}: nothing is called {key!r} in a photo set: use {', '.join(_KNOWN_KEYS)}")
    grey = [parse_region(Kind.GREY, text, default_reflectance) for text in _texts(entry, "grey", path)]
    card = [parse_region(Kind.CARD, text, default_reflectance) for text in _texts(entry, "card", path)]
    vehicle = [parse_region(Kind.VEHICLE, text, default_reflectance) for text in _texts(entry, "vehicle", path)]
    black, white = (
        [parse_region(Kind.CARD, text, default_reflectance) for text in _texts(entry, key, path)]
        for key in ("over_black", "over_white")
    )
    if len(black) > 1 or len(white) > 1 or len(black) != len(white):
        raise EvidenceError(f"{path}: mark the card's chart once over its black and once over its white, or not at all")
    return PhotoEntry(
        path=path,
        angle=_choice(Angle, entry, "angle", Angle.FACE, path),
        role=_choice(Role, entry, "role", Role.FIRST, path),
        light=_light(entry, path),
        coats=_coats(entry, "coats", path),
        mid_coats=_coats(entry, "mid_coats", path),
        regions=(*grey, *card, *vehicle),
        over_black=black[0] if black else None,
        over_white=white[0] if white else None,
    )


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


def _text(region: Region) -> str:
    at = f"{region.x},{region.y},{region.width},{region.height}"
    return at if region.reflectance is None else f"{at}@{region.reflectance:g}"
