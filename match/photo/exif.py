"""The few facts a photo's Exif block gives a measurement: which way up, which camera, which colour space."""

import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from match.photo.limits import check_directories

DAMAGED_NOTE = "The camera information in the file is damaged and was not used; check that the photo stands upright."

_WARNINGS_LOCK = threading.Lock()
_HEADER = b"Exif\0\0"


@contextmanager
def pillow_warnings_silenced() -> Iterator[None]:
    """Keep Pillow's warnings about odd files from the user; one thread at a time, since the filters are global."""
    with _WARNINGS_LOCK, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


@dataclass(frozen=True)
class ExifFacts:
    """What was found.

    ``orientation`` is the Exif tag 274 (1 to 8), ``camera`` make and model as written, and ``colour_space`` one of
    ``"unstated"``, ``"sRGB"``, ``"opRGB"`` or ``"uncalibrated"``. ``focal_35mm`` is the focal length in mm of 35 mm
    equivalent and ``size_px`` the larger and the smaller side of the picture as taken, where they are stated.
    """

    orientation: int = 1
    camera: str | None = None
    colour_space: str = "unstated"
    focal_35mm: float | None = None
    size_px: tuple[int, int] | None = None
    notes: tuple[str, ...] = ()


def parse(block: bytes | None) -> ExifFacts:
    """Read an Exif block (with or without its ``Exif`` header); a damaged one gives the defaults and a note."""
    if not block:
        return ExifFacts()
    try:
        return facts(tags(block))
    except Exception:
        return ExifFacts(notes=(DAMAGED_NOTE,))


def tags(block: bytes) -> Any:
    """Return the tags of a TIFF structure as Pillow's ``Exif`` mapping; warnings about odd tags are silenced.

    Raises :class:`match.errors.PhotoError` for directories that no camera writes.
    """
    from PIL import Image

    check_directories(block.removeprefix(_HEADER))
    exif = Image.Exif()
    with pillow_warnings_silenced():
        exif.load(block)
        for tag in list(exif):
            exif.get(tag)
    return exif


def facts(exif: Any) -> ExifFacts:
    """Pick the facts out of the tags that :func:`tags` returned."""
    from PIL import ExifTags

    orientation = exif.get(ExifTags.Base.Orientation, 1)
    with pillow_warnings_silenced():
        detail = exif.get_ifd(ExifTags.IFD.Exif)
        index = exif.get_ifd(ExifTags.IFD.Interop).get(ExifTags.Interop.InteropIndex)
    return ExifFacts(
        orientation=orientation if orientation in range(1, 9) else 1,
        camera=_camera(exif.get(ExifTags.Base.Make), exif.get(ExifTags.Base.Model)),
        colour_space=_colour_space(detail.get(ExifTags.Base.ColorSpace), index),
        focal_35mm=_positive(detail.get(ExifTags.Base.FocalLengthIn35mmFilm)),
        size_px=_size(detail.get(ExifTags.Base.ExifImageWidth), detail.get(ExifTags.Base.ExifImageHeight)),
    )


def _positive(stated: object) -> float | None:
    """Return a stated number, or nothing: zero means unknown (Exif 2.32, FocalLengthIn35mmFilm)."""
    return float(stated) if isinstance(stated, int | float) and 0 < stated < 1e6 else None


def _size(width: object, height: object) -> tuple[int, int] | None:
    across, down = _positive(width), _positive(height)
    return None if across is None or down is None else (int(max(across, down)), int(min(across, down)))


def _colour_space(stated: object, interoperability_index: object) -> str:
    """Read Exif's ColorSpace with the interoperability index: R03 marks the DCF optional space, opRGB.

    Exif 2.32 defines ColorSpace 1 (sRGB) and 65535 (uncalibrated); 2 for opRGB is common practice.
    """
    if stated == 2 or (str(interoperability_index or "").strip("\0 ") == "R03" and stated != 1):
        return "opRGB"
    return {1: "sRGB", 65535: "uncalibrated"}.get(stated if isinstance(stated, int) else 0, "unstated")


def _camera(make: object, model: object) -> str | None:
    words = [" ".join(str(part or "").replace("\0", " ").split()) for part in (make, model)]
    if words[1].lower().startswith(words[0].lower()):
        words = words[1:]
    named = "".join(letter for letter in " ".join(words) if letter.isprintable()).strip()[:100]
    return named or None
