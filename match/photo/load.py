"""A photo file becomes an upright picture whose rectangles can be read in linear light.

The content decides what a file is, never its name. The pixels are kept as they are in the file; only the rectangle
that is asked for is converted.
"""

import hashlib
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path, PurePath
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from match.errors import CalibrationError, PhotoError, RegionError
from match.photo import heif, raster, raw
from match.photo.decoded import Decoded, Pixels, moving, upright
from match.photo.encoding import linear_to_srgb
from match.photo.exif import tags
from match.photo.limits import check_bytes, damaged, read_file

_FORMAT_OF_SUFFIX = {
    ".jpg": "JPEG",
    ".jpeg": "JPEG",
    ".mpo": "JPEG",
    ".png": "PNG",
    ".tif": "TIFF",
    ".tiff": "TIFF",
    ".webp": "WebP",
    ".heic": "HEIC",
    ".heif": "HEIC",
    ".dng": "camera raw",
}
_TIFF_PHOTOMETRIC, _TIFF_MAKE, _TIFF_SUBFILES, _DNG_VERSION = 262, 271, 330, 50706
_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1")
_STILL_RAW_BRAND = b"crx "

PREVIEW_ROWS = 64
"""Engineering choice: rows of a preview converted at a time; a strip of the largest preview takes some 20 MB."""
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Luminance of linear sRGB, IEC 61966-2-1:1999."""


@dataclass(frozen=True, eq=False)
class Crop:
    """A rectangle of a photo.

    ``linear`` is (rows, columns, 3), linear light in sRGB primaries (IEC 61966-2-1, D65) with 1 for the file's white;
    colours outside sRGB are below 0 or above 1. ``code`` is (rows, columns, 3), the file's own values from 0 to 1, so
    that clipping can be seen.
    """

    linear: NDArray[np.float64]
    code: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Photo:
    """A decoded photo; ``name`` is the file's name and ``source`` the whole file as it was given."""

    name: str
    source: bytes = field(repr=False)
    sha256: str
    decoded: Decoded

    @property
    def width(self) -> int:
        """Pixels across the upright picture."""
        return int(self._pixels.shape[1])

    @property
    def height(self) -> int:
        """Pixels down the upright picture."""
        return int(self._pixels.shape[0])

    @property
    def size_bytes(self) -> int:
        """What the photo takes in memory: its pixels and the file as it was given."""
        return int(self.decoded.pixels.nbytes) + len(self.source)

    @property
    def format(self) -> str:
        """JPEG, PNG, TIFF, WebP, HEIC or camera raw, by content."""
        return self.decoded.format

    @property
    def code_step(self) -> float:
        """Quantisation step of the encoded signal, full scale being 1; of the sensor's values for camera raw."""
        return self.decoded.code_step

    @property
    def scene_linear(self) -> bool:
        """Whether the values are proportional to the light on the sensor (camera raw)."""
        return self.decoded.scene_linear

    @property
    def profile(self) -> str:
        """What the file's values mean, in plain words."""
        return self.decoded.encoding.name

    @property
    def notes(self) -> tuple[str, ...]:
        """What the user should know about how this file was read."""
        return self.decoded.notes

    @property
    def camera(self) -> str | None:
        """Make and model as the camera wrote them."""
        return self.decoded.camera

    @property
    def focal_35mm(self) -> float | None:
        """Focal length in mm of 35 mm equivalent, where the file states it and the photo was not cropped."""
        return self.decoded.focal_35mm

    @property
    def _pixels(self) -> Pixels:
        return upright(self.decoded.pixels, self.decoded.orientation)

    def crop(self, x: int, y: int, width: int, height: int, step: int = 1) -> Crop:
        """Return a rectangle in pixels of the upright photo, raising :class:`RegionError` when it reaches outside.

        With ``step`` only every ``step``-th pixel of it, down and across, is converted.
        """
        if x < 0 or y < 0 or width < 1 or height < 1 or x + width > self.width or y + height > self.height:
            raise RegionError(
                f"the rectangle {x},{y},{width},{height} reaches outside the photo, "
                f"which is {self.width} x {self.height} pixels: move it inside"
            )
        codes = np.ascontiguousarray(self._pixels[y : y + height : step, x : x + width : step])
        return Crop(self.decoded.encoding.linear(codes), codes / float(self.decoded.full_scale))

    def preview(self, longest_side_px: int) -> NDArray[np.uint8]:
        """Return the upright picture in sRGB for display, (rows, columns, 3), at most ``longest_side_px`` long."""
        stored = self.decoded.pixels
        stored = _reduced(_averaged(stored, max(stored.shape[:2]) // longest_side_px), longest_side_px)
        small = np.ascontiguousarray(upright(stored, self.decoded.orientation))
        meaning = self.decoded.encoding
        if meaning.is_srgb and small.dtype == np.uint8:
            return small.astype(np.uint8, copy=False)
        shown = np.empty(small.shape, dtype=np.uint8)
        for first in range(0, len(small), PREVIEW_ROWS):  # in floating point a whole picture is eight times its size
            rows = slice(first, first + PREVIEW_ROWS)
            shown[rows] = _shown(meaning.linear(small[rows]))
        return shown

    def reduced(self, longest_side_px: int) -> Self:
        """Return the photo averaged down by a whole step to at most ``longest_side_px``: to look at, not to measure."""
        pixels = self.decoded.pixels
        step = -(-max(pixels.shape[:2]) // longest_side_px)
        return replace(self, decoded=replace(self.decoded, pixels=_averaged(pixels, step)))

    def grey(self) -> NDArray[np.uint8]:
        """Return the upright picture's brightness as sRGB codes, (rows, columns).

        Made to look for black marks on white paper in: right for neutral colours, near enough for all others. Only the
        curve of the neutrals is converted to light, so it costs a tenth of a :meth:`preview` of the same size.
        """
        import cv2

        codes: Any = cv2.cvtColor(self.decoded.pixels, cv2.COLOR_RGB2GRAY)
        meaning = self.decoded.encoding
        if not (meaning.is_srgb and codes.dtype == np.uint8):
            ramp = np.arange(self.decoded.full_scale + 1, dtype=codes.dtype)
            neutral = _shown(meaning.linear(np.repeat(ramp[:, np.newaxis], 3, axis=1)) @ LUMINANCE)
            codes = cv2.LUT(codes, neutral) if codes.dtype == np.uint8 else neutral.take(codes)
        return np.ascontiguousarray(upright(codes, self.decoded.orientation)).astype(np.uint8, copy=False)


def _averaged(stored: Pixels, step: int) -> Pixels:
    """Return stored pixels averaged over squares of ``step``, which is quick; a part of a square is left out."""
    import cv2

    if step < 2 or min(stored.shape[:2]) < step:
        return stored
    height, width = (side // step for side in stored.shape[:2])
    whole = stored[: height * step, : width * step]
    return np.asarray(cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA), dtype=stored.dtype)


def _reduced(stored: Pixels, longest_side_px: int) -> Pixels:
    """Return stored pixels averaged down to ``longest_side_px``."""
    import cv2

    share = min(1.0, longest_side_px / max(stored.shape[:2]))
    if share == 1.0:
        return stored
    size = (max(1, round(stored.shape[1] * share)), max(1, round(stored.shape[0] * share)))
    return np.asarray(cv2.resize(stored, size, interpolation=cv2.INTER_AREA), dtype=stored.dtype)


def _shown(linear: NDArray[np.float64]) -> NDArray[np.uint8]:
    codes = np.clip(linear, 0.0, 1.0) * (len(_shown_codes()) - 1) + 0.5
    return _shown_codes().take(codes.astype(np.intp))


@cache
def _shown_codes() -> NDArray[np.uint8]:
    """Return 8-bit sRGB codes by linear light, in steps of a quarter code where the curve is steepest."""
    return np.rint(linear_to_srgb(np.linspace(0.0, 1.0, 2**14)) * 255.0).astype(np.uint8)


def load(source: Path | bytes, name: str | None = None) -> Photo:
    """Read a photo from a file, or from bytes with the ``name`` it was given.

    Raises :class:`PhotoError`, one sentence saying what is wrong and what to do, for anything that is not one still
    colour picture within the limits of :mod:`match.photo.limits`.
    """
    shown_name = name or (source.name or str(source) if isinstance(source, Path) else "the photo")
    content = read_file(source, shown_name) if isinstance(source, Path) else source
    check_bytes(len(content), shown_name)
    try:
        decoded = _decoded(content)
    except PhotoError as error:
        raise PhotoError(f"{shown_name}: {error}", begins_with=shown_name) from None
    expected = _FORMAT_OF_SUFFIX.get(PurePath(shown_name).suffix.lower(), decoded.format)
    if expected != decoded.format:
        suffix = PurePath(shown_name).suffix
        note = f"The name ends in {suffix} but the content is {decoded.format}; it was read as {decoded.format}."
        decoded = replace(decoded, notes=(note, *decoded.notes))
    return Photo(shown_name, content, hashlib.sha256(content).hexdigest(), decoded)


def _decoded(content: bytes) -> Decoded:
    """Decode by content; whatever a decoder trips over in a broken file becomes one sentence."""
    if not content:
        raise PhotoError("the file is empty: copy the photo from the camera again")
    try:
        return _by_content(content)
    except (PhotoError, CalibrationError):
        raise
    except MemoryError:
        raise PhotoError("the photo is too large for this computer's memory: set a smaller picture size") from None
    except Exception:
        raise damaged() from None


def _by_content(content: bytes) -> Decoded:
    if content.startswith(b"\xff\xd8\xff"):
        return raster.decode_jpeg(content)
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return raster.decode_png(content)
    if content.startswith(b"RIFF") and content[8:12] == b"WEBP":
        return raster.decode_webp(content)
    if content.startswith((b"GIF87a", b"GIF89a")):
        raise PhotoError("a GIF is a moving picture or has too few colours: use the camera's original photo")
    if content[4:8] == b"ftyp" and content[8:12] != _STILL_RAW_BRAND:
        return _decode_boxed(content)
    if content.startswith((b"II*\0", b"MM\0*")):
        return _decode_tiff_or_raw(content)
    return _decode_raw_or_refuse(content)


def _decode_boxed(content: bytes) -> Decoded:
    """Decode a file of ISO base media boxes (ISO/IEC 14496-12), which may be a photo or a film."""
    brand = content[8:12]
    if brand in _HEIF_BRANDS:
        return heif.decode(content)
    if brand in (b"avif", b"avis"):
        raise PhotoError("AVIF pictures are not read: take or export the photo as JPEG, HEIC or PNG")
    raise moving()


def _decode_tiff_or_raw(content: bytes) -> Decoded:
    """Tell a camera raw built like a TIFF from an ordinary TIFF: LibRaw is asked when a camera may have written it.

    A grey picture with a camera's name is not offered to LibRaw, which could take it for a sensor's mosaic.
    """
    fields = tags(content)
    camera_colour = _TIFF_MAKE in fields and fields.get(_TIFF_PHOTOMETRIC) not in (0, 1)
    if camera_colour or _TIFF_SUBFILES in fields or _DNG_VERSION in fields:
        opened = raw.opened(content)
        if opened is not None:
            return raw.decode(opened, content)
        if _DNG_VERSION in fields:
            raise damaged()
    return raster.decode_tiff(content)


def _decode_raw_or_refuse(content: bytes) -> Decoded:
    opened = raw.opened(content)
    if opened is None:
        raise PhotoError(
            "this is not a photo the program can read: use JPEG, HEIC, PNG, TIFF, WebP or the camera's raw file"
        )
    return raw.decode(opened, content)
