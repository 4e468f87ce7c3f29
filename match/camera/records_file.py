"""What a shop knows of its own cameras: null tests and grey steps by camera, in one small JSON file (edge: file).

The file, ``cameras.json``, lies in the data folder beside the history's photos.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from match.camera.null_test import NullShot
from match.camera.trust import GreyShot
from match.colorimetry import is_colour, is_covariance
from match.errors import EvidenceError, MissingFileError
from match.files import changing, read_json
from match.history.place import data_folder, history_place, is_address
from match.record import numbers, unrounded

FILE_NAME = "cameras.json"
FORMAT = 1
WHAT = "the file of camera records"
Kept = TypeVar("Kept")

GREY_LIMITS = {"slope": (0.05, 20.0), "slope_sd": (0.0, 20.0), "misfit": (0.0, 1e4)}
"""Engineering choice: a camera's log-log slope is near 1; what is 20 times steeper or flatter is no photo of greys."""


@dataclass(frozen=True)
class Camera:
    """The shots kept of one camera; a shot's ``name`` is its photo's file name, its key the photo's SHA-256."""

    nulls: Mapping[str, NullShot] = field(default_factory=dict)
    greys: Mapping[str, GreyShot] = field(default_factory=dict)


@dataclass(frozen=True)
class Cameras:
    """Every camera by the name that its own photos say.

    A photo that names none, as after a messenger or an editor, may be any camera's, and belongs to no record.
    """

    by_name: Mapping[str, Camera] = field(default_factory=dict)

    def with_null(self, name: str, sha256: str, shot: NullShot) -> Cameras:
        """Return the records with one null test more; the same photo again takes the old one's place."""
        camera = self.by_name.get(name, Camera())
        return self._with(name, replace(camera, nulls={**camera.nulls, sha256: shot}))

    def with_greys(self, name: str, sha256: str, shot: GreyShot) -> Cameras:
        """Return the records with one photo of grey steps more."""
        camera = self.by_name.get(name, Camera())
        return self._with(name, replace(camera, greys={**camera.greys, sha256: shot}))

    def without(self, name: str, sha256: str) -> Cameras:
        """Return the records without any shot from the photo with this SHA-256; an empty camera goes too."""
        camera = self.by_name.get(name, Camera())
        left = Camera(_but(camera.nulls, sha256), _but(camera.greys, sha256))
        if left.nulls or left.greys:
            return self._with(name, left)
        return Cameras(_but(self.by_name, name))

    def _with(self, name: str, camera: Camera) -> Cameras:
        return replace(self, by_name={**self.by_name, name: camera})


def _but(entries: Mapping[str, Kept], key: str) -> dict[str, Kept]:
    return {each: kept for each, kept in entries.items() if each != key}


def records_file(given: str | None = None) -> Path:
    """Return the file for a data folder or database address, see :func:`match.history.place.history_place`."""
    place = history_place(given)
    if not is_address(place):
        return data_folder(place) / FILE_NAME
    from match.history.database import locate

    return locate(place, None).folder / FILE_NAME


def named(said: str | None) -> str:
    """Return the camera that a photo says, raising :class:`EvidenceError` for a photo that says none."""
    if not said:
        raise EvidenceError(
            "the photo does not say which camera took it, so it can be in no camera's record: give the file as the "
            "camera wrote it, not as a messenger or an editor passed it on"
        )
    return said


def read_cameras(file: Path) -> Cameras:
    """Return the records; none where there is no file yet.

    Raises :class:`match.errors.FileError` or :class:`EvidenceError` when the file cannot be read or is not what this
    program wrote.
    """
    try:
        kept = read_json(file, WHAT)
    except MissingFileError:
        return Cameras()
    try:
        if kept["format"] != FORMAT:
            raise ValueError(f"format {kept['format']}")
        return Cameras({str(name): _camera(entry) for name, entry in kept["cameras"].items()})
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise EvidenceError(
            f"{WHAT} {file} is damaged ({error!r}): move the file away and take the null tests again"
        ) from None


def change_cameras(file: Path, change: Callable[[Cameras], Cameras]) -> Cameras:
    """Return the records as changed and written, whole or not at all.

    ``change`` is given them as they are by now, while every other writer waits: nothing that another window or command
    has just kept is lost. Raises as :func:`read_cameras` does, and :class:`FileError` when the file cannot be written.
    """
    with changing(file, WHAT, make_folder=True) as write:
        cameras = change(read_cameras(file))
        document = {
            "format": FORMAT,
            "cameras": {name: _entry(camera) for name, camera in cameras.by_name.items()},
        }
        write(json.dumps(document, indent=1))
    return cameras


def _entry(camera: Camera) -> dict[str, Any]:
    return {
        "nulls": [_kept(sha256, shot, "difference", "covariance") for sha256, shot in camera.nulls.items()],
        "greys": [_kept(sha256, shot, *GREY_LIMITS) for sha256, shot in camera.greys.items()],
    }


def _kept(sha256: str, shot: NullShot | GreyShot, *names: str) -> dict[str, Any]:
    return {"sha256": sha256, "photo": shot.name, **unrounded(shot, *names)}


def _camera(entry: Any) -> Camera:
    nulls = {
        str(one["sha256"]): NullShot(str(one["photo"]), _difference(one["difference"]), _covariance(one["covariance"]))
        for one in entry["nulls"]
    }
    greys = {
        str(one["sha256"]): GreyShot(
            str(one["photo"]), *(_within(one[key], *limits) for key, limits in GREY_LIMITS.items())
        )
        for one in entry["greys"]
    }
    return Camera(nulls, greys)


def _difference(given: Any) -> np.ndarray:
    if not is_colour(given):
        raise ValueError(f"{given!r} is no difference of two colours")
    return numbers(given, (3,))


def _covariance(given: Any) -> np.ndarray:
    rows = numbers(given, (3, 3))
    if not is_covariance(rows):
        raise ValueError(f"{given!r} is not a covariance")
    return rows


def _within(given: Any, low: float, high: float) -> float:
    value = float(numbers(given, ()))
    if not low <= value <= high:
        raise ValueError(f"{value!r}, and only {low:g} to {high:g} can be")
    return value
