"""From the code values in a photo file to linear light in sRGB primaries, unclipped.

A file says what its numbers mean in one of three ways: an embedded ICC profile (ICC.1), a pair of ITU-T H.273 codes
(HEIF's ``nclx``, PNG's ``cICP``), or not at all, which means sRGB (IEC 61966-2-1). Everything but a profile made of
lookup tables comes down to one curve per channel and one 3 x 3 matrix, so a crop costs three table lookups and a
matrix product.
"""

import io
import re
import struct
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from match.errors import PhotoError
from match.photo.limits import is_light

Primaries = tuple[tuple[float, float], tuple[float, float], tuple[float, float]]

SRGB_PRIMARIES: Primaries = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
"""CIE xy of red, green and blue, IEC 61966-2-1:1999; also ITU-T H.273 colour primaries code 1."""
DISPLAY_P3_PRIMARIES: Primaries = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
"""CIE xy of red, green and blue, SMPTE EG 432-1:2010; ITU-T H.273 colour primaries code 12."""
OPRGB_PRIMARIES: Primaries = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))
"""CIE xy of red, green and blue, IEC 61966-2-5:2007 (opRGB)."""
OPRGB_EXPONENT = 563.0 / 256.0
"""Decoding exponent of opRGB, IEC 61966-2-5:2007, as an 8.8 fixed-point number."""
D65 = (0.3127, 0.3290)
"""CIE xy of the white of all three, as printed in those standards."""

_HDR_TRANSFERS = {16: "PQ", 18: "HLG"}
_VIDEO_TRANSFERS = (1, 6, 14, 15)
_SRGB_TRANSFERS = (2, 13)
_LOOKUP_TAGS = (b"A2B0", b"A2B1", b"A2B2", b"D2B0", b"D2B1", b"D2B2", b"D2B3")
_MATRIX_TAGS = (b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC")
_RELATIVE_COLORIMETRIC = 1
_NO_OPTIMISATION = 0x0100


class Encoding(Protocol):
    """What a file's code values mean."""

    @property
    def name(self) -> str:
        """The encoding in plain words."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What the user should know about this choice of encoding."""

    @property
    def is_srgb(self) -> bool:
        """Whether the codes are sRGB already and can be shown as they are."""

    def linear(self, codes: NDArray[np.integer[Any]]) -> NDArray[np.float64]:
        """Return linear light in sRGB primaries for integer codes (..., 3), neither clipped nor rounded."""


@dataclass(frozen=True, eq=False)
class CurvesAndMatrix:
    """One curve per channel, then a matrix: ``linear = black + matrix @ curves[code]``.

    ``curves`` is (levels, 3), linear light of each code in each channel, and ``matrix`` takes linear file RGB to linear
    sRGB, both relative to the file's white.
    """

    name: str
    curves: NDArray[np.float64] = field(repr=False)
    matrix: NDArray[np.float64] = field(repr=False)
    black: NDArray[np.float64] = field(repr=False, default_factory=lambda: np.zeros(3))
    is_srgb: bool = False
    notes: tuple[str, ...] = ()

    def linear(self, codes: NDArray[np.integer[Any]]) -> NDArray[np.float64]:
        """Return linear light in sRGB primaries for integer codes (..., 3)."""
        decoded = np.stack([self.curves[:, channel].take(codes[..., channel]) for channel in range(3)], axis=-1)
        light: NDArray[np.float64] = decoded @ self.matrix.T + self.black
        return light


@dataclass(frozen=True, eq=False)
class LookupProfile:
    """An ICC profile made of lookup tables, read by the colour management library for every crop."""

    name: str
    levels: int
    profile: bytes = field(repr=False)
    is_srgb: bool = False
    notes: tuple[str, ...] = ()

    def linear(self, codes: NDArray[np.integer[Any]]) -> NDArray[np.float64]:
        """Return linear light in sRGB primaries for integer codes (..., 3)."""
        flat = codes.reshape(1, -1, 3) / (self.levels - 1)
        return _profile_to_linear_srgb(self.profile, flat).reshape(codes.shape)


def srgb_to_linear(encoded: NDArray[np.float64]) -> NDArray[np.float64]:
    """Decode sRGB values (0 to 1, any shape) to linear light (0 to 1), IEC 61966-2-1:1999 equations 5 and 6."""
    above = ((np.maximum(encoded, 0.04045) + 0.055) / 1.055) ** 2.4
    return np.where(encoded <= 0.04045, encoded / 12.92, above)


def linear_to_srgb(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    """Encode linear light (0 to 1, any shape) as sRGB values (0 to 1), IEC 61966-2-1:1999 equations 8 and 9."""
    above = 1.055 * np.maximum(linear, 0.0031308) ** (1.0 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, above)


def srgb(levels: int, name: str = "sRGB (assumed: no colour profile)", notes: tuple[str, ...] = ()) -> CurvesAndMatrix:
    """Return the sRGB encoding for codes 0 to ``levels - 1``."""
    curve = srgb_to_linear(np.linspace(0.0, 1.0, levels))
    return CurvesAndMatrix(name, _for_each_channel(curve), np.eye(3), is_srgb=True, notes=notes)


def oprgb(levels: int, name: str, notes: tuple[str, ...] = ()) -> CurvesAndMatrix:
    """Return the opRGB encoding (IEC 61966-2-5) for codes 0 to ``levels - 1``."""
    return from_primaries(name, OPRGB_PRIMARIES, np.linspace(0.0, 1.0, levels) ** OPRGB_EXPONENT, notes)


def from_primaries(
    name: str, primaries: Primaries, curve: NDArray[np.float64], notes: tuple[str, ...] = ()
) -> CurvesAndMatrix:
    """Return the encoding with one ``curve`` (levels,) for all channels and these ``primaries`` (CIE xy), white D65."""
    matrix = np.asarray(np.linalg.solve(_rgb_to_xyz(SRGB_PRIMARIES), _rgb_to_xyz(primaries)), dtype=np.float64)
    return CurvesAndMatrix(name, _for_each_channel(curve), matrix, notes=notes)


def _for_each_channel(curve: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.repeat(curve[:, np.newaxis], 3, axis=1)


def _rgb_to_xyz(primaries: Primaries) -> NDArray[np.float64]:
    """Return the normalised primary matrix for white D65 (SMPTE RP 177-1993)."""

    def xyz(x: float, y: float) -> list[float]:
        return [x / y, 1.0, (1.0 - x - y) / y]

    columns = np.array([xyz(x, y) for x, y in primaries]).T
    return np.asarray(columns * np.linalg.solve(columns, np.array(xyz(*D65))))


def from_h273(primaries: int, transfer: int, levels: int) -> CurvesAndMatrix:
    """Return the encoding that ITU-T H.273 codes name, raising :class:`PhotoError` for HDR and unusual ones.

    The BT.709 family of transfer codes is read with the sRGB curve: that is how such stills are made and shown, and the
    user is told.
    """
    if transfer in _HDR_TRANSFERS:
        raise _hdr(_HDR_TRANSFERS[transfer])
    if primaries not in (1, 2, 12) or transfer not in (*_SRGB_TRANSFERS, *_VIDEO_TRANSFERS):
        raise PhotoError(
            f"the photo's colours are in a video form (colour code {primaries}, tone code {transfer}) that cannot be "
            "measured: set the camera to JPEG or to standard colour and take the photo again"
        )
    notes: tuple[str, ...] = ()
    if transfer in _VIDEO_TRANSFERS:
        notes = ("The file names a video tone curve; it was read with the sRGB curve, as screens do.",)
    if primaries != 12:
        return srgb(levels, "sRGB (named in the file)", notes)
    curve = srgb_to_linear(np.linspace(0.0, 1.0, levels))
    return from_primaries("Display P3 (named in the file)", DISPLAY_P3_PRIMARIES, curve, notes)


def from_icc(profile: bytes, levels: int) -> Encoding:
    """Return the encoding an embedded ICC profile describes, for codes 0 to ``levels - 1``.

    Raises :class:`PhotoError` when the profile is damaged, is for another kind of picture, or is HDR.
    """
    tags = _tags(profile)
    if profile[16:20] != b"RGB ":
        raise PhotoError("the photo's colour profile is not for a red-green-blue picture: export the photo as sRGB")
    if b"cicp" in tags and tags[b"cicp"][9:10] and tags[b"cicp"][9] in _HDR_TRANSFERS:
        raise _hdr(_HDR_TRANSFERS[tags[b"cicp"][9]])
    name = _profile_name(profile)
    if any(tag in tags for tag in _LOOKUP_TAGS) or not all(tag in tags for tag in _MATRIX_TAGS):
        lookup = LookupProfile(name, levels, profile)
        light = lookup.linear(_corners(levels))
        if not is_light(light, light[-1]):
            raise _damaged_profile()
        return lookup
    return _curves_and_matrix(name, profile, levels)


def _corners(levels: int) -> NDArray[np.integer[Any]]:
    """Return the codes (27, 3) of no, half and all of each channel, white last."""
    steps = np.linspace(0, levels - 1, 3).astype(np.int64)
    return np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)


def _curves_and_matrix(name: str, profile: bytes, levels: int) -> CurvesAndMatrix:
    """Read the curves and the matrix off the colour management library by showing it each channel's ramp alone."""
    ramps = np.zeros((3, levels, 3))
    for channel in range(3):
        ramps[channel, :, channel] = np.linspace(0.0, 1.0, levels)
    light = _profile_to_linear_srgb(profile, ramps)
    black = light[0, 0]
    rise = light - black
    full = rise[:, -1]
    length = np.einsum("cs,cs->c", full, full)
    if not is_light(light, black + full.sum(axis=0)) or np.any(length <= 0.0):
        raise _damaged_profile()
    return CurvesAndMatrix(name, np.einsum("cls,cs->lc", rise, full) / length, full.T, black)


def _profile_to_linear_srgb(profile: bytes, encoded: NDArray[np.float64]) -> NDArray[np.float64]:
    """Transform encoded values (rows, columns, 3), 0 to 1, in floating point and without clipping."""
    import imagecodecs

    try:
        light = imagecodecs.cms_transform(
            encoded,
            profile,
            _linear_srgb_profile(),
            colorspace="rgb",
            outcolorspace="rgb",
            outdtype="f8",
            intent=_RELATIVE_COLORIMETRIC,
            flags=_NO_OPTIMISATION,
        )
    except (imagecodecs.CmsError, ValueError):
        raise _damaged_profile() from None
    return np.asarray(light, dtype=np.float64)


@cache
def _linear_srgb_profile() -> bytes:
    import imagecodecs

    primaries = [number for x, y in SRGB_PRIMARIES for number in (x, y, 1.0)]
    return bytes(imagecodecs.cms_profile("rgb", whitepoint=[*D65, 1.0], primaries=primaries, gamma=1.0))


def _tags(profile: bytes) -> dict[bytes, bytes]:
    """Return the tag table of an ICC profile (ICC.1:2022, clause 7.3)."""
    if len(profile) < 132 or profile[36:40] != b"acsp":
        raise _damaged_profile()
    (count,) = struct.unpack_from(">I", profile, 128)
    if 132 + 12 * count > len(profile):
        raise _damaged_profile()
    entries = [struct.unpack_from(">4sII", profile, 132 + 12 * index) for index in range(count)]
    return {signature: profile[offset : offset + size] for signature, offset, size in entries}


def _profile_name(profile: bytes) -> str:
    """Return the profile's own description, cleaned for showing, followed by the word *profile*."""
    from PIL import ImageCms

    try:
        described = ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(profile)))
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        raise _damaged_profile() from None
    words = re.sub(r"\s+", " ", "".join(letter for letter in described if letter.isprintable() or letter == " "))
    return f"{words.strip()[:60] or 'unnamed'} profile"


def _damaged_profile() -> PhotoError:
    return PhotoError(
        "the photo's colour profile is damaged, so its colours cannot be known: "
        "use the camera's original file, or export the photo again as sRGB"
    )


def _hdr(kind: str) -> PhotoError:
    return PhotoError(
        f"the photo is high dynamic range ({kind}): switch HDR off in the camera and take the photo again"
    )
