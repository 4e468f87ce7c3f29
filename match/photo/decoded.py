"""What every decoder hands over: the pixels as stored in the file and what is needed to measure them."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from match.errors import PhotoError
from match.photo import encoding
from match.photo.encoding import Encoding
from match.photo.exif import ExifFacts
from match.photo.limits import damaged

Pixels = NDArray[np.unsignedinteger[Any]]

SEE_THROUGH_NOTE = "Parts of the picture are see-through; the colours stored beneath were used."


@dataclass(frozen=True, eq=False)
class Decoded:
    """A decoded photo.

    ``pixels`` is (rows, columns, 3) as stored, in red, green, blue order; ``orientation`` the Exif value (1 to 8) that
    turns it upright. ``full_scale`` is the highest code and ``code_step`` the quantisation step of the encoded signal
    when full scale is 1. ``focal_35mm`` is the focal length in mm of 35 mm equivalent, where the file states it and the
    picture still has the size it was taken in: a cropped one no longer fits it.
    """

    format: str
    pixels: Pixels = field(repr=False)
    encoding: Encoding
    bit_depth: int
    full_scale: int
    code_step: float
    orientation: int = 1
    camera: str | None = None
    focal_35mm: float | None = None
    scene_linear: bool = False
    notes: tuple[str, ...] = ()


def coded(
    format_name: str,
    pixels: Pixels,
    bit_depth: int,
    exif: ExifFacts,
    meaning: Encoding,
    *,
    orientation: int | None = None,
    notes: tuple[str, ...] = (),
) -> Decoded:
    """Return an ordinary photo, coded in whole numbers of ``bit_depth`` bits; orientation is Exif's unless given."""
    full_scale = 2**bit_depth - 1
    return Decoded(
        format=format_name,
        pixels=pixels,
        encoding=meaning,
        bit_depth=bit_depth,
        full_scale=full_scale,
        code_step=1.0 / full_scale,
        orientation=exif.orientation if orientation is None else orientation,
        camera=exif.camera,
        focal_35mm=exif.focal_35mm if exif.size_px == (max(pixels.shape[:2]), min(pixels.shape[:2])) else None,
        notes=(*notes, *exif.notes, *meaning.notes),
    )


def meaning_of_codes(icc_profile: bytes | None, exif: ExifFacts, bit_depth: int) -> Encoding:
    """Return what the codes mean: the embedded profile first, then what the camera wrote, else sRGB.

    Raises :class:`PhotoError` when the profile cannot be used.
    """
    levels = int(2**bit_depth)
    if icc_profile is not None:
        return encoding.from_icc(icc_profile, levels)
    if exif.colour_space == "opRGB":
        note = (
            "The camera says opRGB (a wide colour space) but put no colour profile in the file; it was read as opRGB."
        )
        return encoding.oprgb(levels, "opRGB (said by the camera, no colour profile)", (note,))
    if exif.colour_space == "sRGB":
        return encoding.srgb(levels, "sRGB (said by the camera, no colour profile)")
    if exif.colour_space == "uncalibrated":
        note = "The camera says the colours are not sRGB but not what they are; they were read as sRGB. Set it to sRGB."
        return encoding.srgb(levels, notes=(note,))
    return encoding.srgb(levels)


def grey_only() -> PhotoError:
    """Return the error for a picture without colour."""
    return PhotoError("the photo is black-and-white: switch the camera to colour and take it again")


def printing_colours() -> PhotoError:
    """Return the error for a picture in printing inks."""
    return PhotoError("the photo is in printing colours (CMYK), not camera colours: use the camera's original photo")


def moving() -> PhotoError:
    """Return the error for an animation or a film."""
    return PhotoError("the file is a moving picture: take a still photo")


def colour_only(pixels: Pixels, opaque: int | None = None) -> tuple[Pixels, tuple[str, ...]]:
    """Drop an opacity channel of (rows, columns, 3 or 4) pixels, with a note when it was in use.

    ``opaque`` is the code of full opacity, by default the largest of the pixels' type.
    """
    if pixels.ndim != 3 or pixels.shape[2] not in (3, 4):
        raise damaged()
    if pixels.shape[2] == 3:
        return pixels, ()
    full = np.iinfo(pixels.dtype).max if opaque is None else opaque
    return np.ascontiguousarray(pixels[..., :3]), () if (pixels[..., 3] == full).all() else (SEE_THROUGH_NOTE,)


def upright(stored: Pixels, orientation: int) -> Pixels:
    """Return a view of stored pixels turned upright, by Exif's orientation 1 to 8 (Exif 2.32, tag 274)."""
    turned: Pixels = {
        1: stored,
        2: stored[:, ::-1],
        3: stored[::-1, ::-1],
        4: stored[::-1],
        5: stored.swapaxes(0, 1),
        6: stored.swapaxes(0, 1)[:, ::-1],
        7: stored[::-1, ::-1].swapaxes(0, 1),
        8: stored.swapaxes(0, 1)[::-1],
    }[orientation]
    return turned
