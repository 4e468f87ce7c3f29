"""Decode JPEG, PNG, WebP and TIFF to the codes in the file, refusing what is cut short, moving or colourless.

The headers are read first, so that a picture is refused before its pixels are decoded. No decoder here is allowed to
turn, clip, or colour-convert anything.
"""

import io
import re
import struct
import zlib
from typing import Any

import numpy as np

from match.errors import PhotoError
from match.photo import encoding, webp
from match.photo.decoded import (
    Decoded,
    Pixels,
    coded,
    colour_only,
    grey_only,
    meaning_of_codes,
    moving,
    printing_colours,
)
from match.photo.encoding import Encoding
from match.photo.exif import ExifFacts, facts, parse, pillow_warnings_silenced, tags
from match.photo.limits import check_picture, damaged, inflated_profile, photo_limits

PALETTE_NOTE = "This picture has 256 colours at most; small differences may be lost. Use the camera's original photo."
PAGES_NOTE = "The file holds more than one picture; the first was used."

_NEXT_MARKER = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]")
_START_OF_SCAN, _END_OF_IMAGE = 0xDA, 0xD9

_PNG_SIGNATURE_BYTES = 8
_PNG_GREY, _PNG_PALETTE, _PNG_GREY_ALPHA, _PNG_OPACITY = 0, 3, 4, 6
_PNG_NEEDED = (b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND")
_SRGB_GAMMA = 45455
"""PNG's gAMA value for sRGB (PNG Specification, third edition, clause 11.3.2.5), in units of 1/100000."""

_WIDTH, _LENGTH, _BITS, _PHOTOMETRIC, _EXTRA_SAMPLES, _SAMPLE_FORMAT = 256, 257, 258, 262, 338, 339
_TIFF_ICC, _TIFF_PLANAR = 34675, 284
_SAMPLES, _TILE_WIDTH, _TILE_LENGTH, _DEPTH = 277, 322, 323, 32997
_MOST_SAMPLES, _MOST_TILE_PX = 8, 1024
"""Engineering choices: colours, opacity and some layers; a tile may be larger than a small picture, never by much."""
_RGB, _PALETTE, _CMYK, _YCBCR = 2, 3, 5, 6
"""Tags and values of the TIFF 6.0 specification; tag 34675 from ICC.1, annex B.4."""


def decode_jpeg(source: bytes) -> Decoded:
    """Decode a JPEG; of a multi-picture file the first, primary picture (CIPA DC-007)."""
    import imagecodecs
    from PIL import JpegImagePlugin

    header = _header(JpegImagePlugin.JpegImageFile, source)
    # The coefficients of a progressive picture are held whole, two bytes each, until its last scan.
    check_picture(header.size[0], header.size[1], len(source), 6.0 if header.info.get("progressive") else 3.0)
    _refuse_colourless(header.mode)
    if not _jpeg_is_complete(source):
        raise damaged()
    exif = parse(header.info.get("exif"))
    meaning = meaning_of_codes(_profile_of(header), exif, 8)
    pixels = imagecodecs.jpeg8_decode(source)
    if pixels.shape != (header.size[1], header.size[0], 3) or pixels.dtype != np.uint8:
        raise damaged()
    return coded("JPEG", pixels, 8, exif, meaning)


def _jpeg_is_complete(source: bytes) -> bool:
    """Return whether the first picture's marker segments lead to its end-of-image marker (ITU-T T.81, annex B).

    Decoders fill the missing part of a cut-short picture with grey and say nothing.
    """
    position, scans = 2, 0
    while position + 2 <= len(source) and source[position] == 0xFF:
        marker = source[position + 1]
        if marker == _END_OF_IMAGE:
            return scans > 0
        if marker == 0xFF:
            position += 1
            continue
        if marker == 0x01 or 0xD0 <= marker <= 0xD8:
            position += 2
            continue
        if position + 4 > len(source):
            return False
        position += 2 + int.from_bytes(source[position + 2 : position + 4], "big")
        if marker == _START_OF_SCAN:
            scans += 1
            if scans > photo_limits().scans:
                return False
            following = _NEXT_MARKER.search(source, position)
            if following is None:
                return False
            position = following.start()
    return False


def decode_webp(source: bytes) -> Decoded:
    """Decode a still WebP picture."""
    import imagecodecs

    header = webp.header(source)
    if header.animated:
        raise moving()
    check_picture(header.width, header.height, len(source), 4.0 if header.alpha else 3.0)
    exif = parse(header.exif)
    meaning = meaning_of_codes(header.profile, exif, 8)
    pixels, notes = colour_only(imagecodecs.webp_decode(source, hasalpha=header.alpha))
    if pixels.shape[:2] != (header.height, header.width):
        raise damaged()
    return coded("WebP", pixels, 8, exif, meaning, notes=notes)


def decode_png(source: bytes) -> Decoded:
    """Decode a PNG of 8 or 16 bits."""
    import imagecodecs

    chunks = _png_chunks(source)
    width, height, depth, colour_type = struct.unpack(">IIBB", chunks[b"IHDR"][:10])
    check_picture(width, height, len(source), (4.0 if colour_type == _PNG_OPACITY else 3.0) * (2 if depth == 16 else 1))
    if b"acTL" in chunks:
        raise moving()
    if colour_type in (_PNG_GREY, _PNG_GREY_ALPHA):
        raise grey_only()
    bit_depth = 16 if depth == 16 else 8
    exif = parse(chunks.get(b"eXIf"))
    meaning = _png_meaning(chunks, exif, bit_depth)
    pixels, notes = colour_only(imagecodecs.png_decode(_png_pixels_only(source)))
    if colour_type == _PNG_PALETTE:
        notes = (PALETTE_NOTE, *notes)
    return coded("PNG", pixels, bit_depth, exif, meaning, notes=notes)


def _png_chunks(source: bytes) -> dict[bytes, bytes]:
    """Return the chunks by name without the pixels; :class:`PhotoError` unless all are whole up to IEND."""
    chunks: dict[bytes, bytes] = {}
    position = _PNG_SIGNATURE_BYTES
    while b"IEND" not in chunks:
        if position + 12 > len(source):
            raise damaged()
        length, name = struct.unpack_from(">I4s", source, position)
        end = position + 8 + length
        checked = zlib.crc32(memoryview(source)[position + 4 : end])
        if source[end : end + 4] != checked.to_bytes(4, "big"):
            raise damaged()
        if name not in (b"IDAT", b"fdAT"):
            chunks.setdefault(name, source[position + 8 : end])
        position = end + 4
    if len(chunks.get(b"IHDR", b"")) != 13:
        raise damaged()
    return chunks


def _png_pixels_only(source: bytes) -> bytes:
    """Return the picture without its remarks, each of which the decoder would unpack to megabytes and keep."""
    kept, position = [source[:_PNG_SIGNATURE_BYTES]], _PNG_SIGNATURE_BYTES
    whole = memoryview(source)
    while position < len(source):
        length, name = struct.unpack_from(">I4s", source, position)
        if name in _PNG_NEEDED:
            kept.append(whole[position : position + 12 + length])  # type: ignore[arg-type]
        position += 12 + length
        if name == b"IEND":
            break
    return b"".join(kept)


def _png_meaning(chunks: dict[bytes, bytes], exif: ExifFacts, bit_depth: int) -> Encoding:
    """Return what the codes mean, in the order PNG gives its hints: cICP, iCCP, sRGB, then gAMA."""
    if len(chunks.get(b"cICP", b"")) == 4:
        return encoding.from_h273(chunks[b"cICP"][0], chunks[b"cICP"][1], 2**bit_depth)
    if b"iCCP" in chunks:
        packed = chunks[b"iCCP"].partition(b"\0")[2][1:]
        return meaning_of_codes(inflated_profile(packed) or b"", exif, bit_depth)
    if b"sRGB" in chunks:
        return encoding.srgb(2**bit_depth, "sRGB (named in the file)")
    if len(chunks.get(b"gAMA", b"")) == 4:
        gamma = int.from_bytes(chunks[b"gAMA"], "big")
        if abs(gamma - _SRGB_GAMMA) > _SRGB_GAMMA // 100:
            raise PhotoError(
                f"the picture's brightness curve (gamma {gamma / 100000:g}) is not that of sRGB: export it as sRGB"
            )
    return meaning_of_codes(None, exif, bit_depth)


def decode_tiff(source: bytes) -> Decoded:
    """Decode the first picture of a TIFF of 8 or 16 bits."""
    import imagecodecs
    from PIL import ExifTags

    fields = tags(source)
    _check_tiff_size(fields, len(source))
    bit_depth, kind = _tiff_kind(fields)
    exif = facts(fields)
    meaning = meaning_of_codes(fields.get(_TIFF_ICC), exif, bit_depth)
    needs_conversion = kind in (_PALETTE, _YCBCR)
    pixels = imagecodecs.tiff_decode(source, asrgb=needs_conversion)
    if fields.get(_TIFF_PLANAR) == 2 and not needs_conversion and pixels.ndim == 3:
        pixels = np.moveaxis(pixels, 0, -1)
    pixels, notes = colour_only(pixels[..., :4])
    if notes and fields.get(_EXTRA_SAMPLES) == 1:
        raise PhotoError("parts of the picture are see-through: save it without transparency")
    if kind == _PALETTE:
        notes = (PALETTE_NOTE, *notes)
    with pillow_warnings_silenced():
        more_pages = bool(fields.get_ifd(ExifTags.IFD.IFD1))
    if more_pages:
        notes = (PAGES_NOTE, *notes)
    return coded("TIFF", _native(pixels), bit_depth, exif, meaning, notes=notes)


def _check_tiff_size(fields: Any, packed_bytes: int) -> None:
    """Refuse a picture, or a tile of it, larger than a photo's: both are set aside before a byte is decoded."""
    width, height, samples = (int(fields.get(tag, usual)) for tag, usual in ((_WIDTH, 0), (_LENGTH, 0), (_SAMPLES, 1)))
    bits = fields.get(_BITS, 1)
    each = max(bits if isinstance(bits, tuple) else (bits,))
    check_picture(width, height, packed_bytes, max(samples * -(-each // 8), 3.0))
    if samples > _MOST_SAMPLES or int(fields.get(_DEPTH, 1)) != 1:
        raise PhotoError("this kind of TIFF cannot be measured: save it as a red-green-blue TIFF of 8 or 16 bits")
    most = max(width, height, _MOST_TILE_PX) + _MOST_TILE_PX
    if any(int(fields.get(tag, 0)) > most for tag in (_TILE_WIDTH, _TILE_LENGTH)):
        raise damaged()


def _tiff_kind(fields: Any) -> tuple[int, int]:
    """Return bits per sample and photometric kind, raising :class:`PhotoError` for a TIFF that is not such a photo."""
    bits, form, kind = fields.get(_BITS, 1), fields.get(_SAMPLE_FORMAT, 1), fields.get(_PHOTOMETRIC)
    depths = set(bits) if isinstance(bits, tuple) else {bits}
    forms = set(form) if isinstance(form, tuple) else {form}
    if kind in (0, 1):
        raise grey_only()
    if kind == _CMYK:
        raise printing_colours()
    if kind == _PALETTE:
        return 8, kind
    if kind not in (_RGB, _YCBCR) or forms != {1} or depths not in ({8}, {16}):
        raise PhotoError("this kind of TIFF cannot be measured: save it as a red-green-blue TIFF of 8 or 16 bits")
    return int(depths.pop()), int(kind)


def _native(pixels: Pixels) -> Pixels:
    return np.asarray(pixels, dtype=pixels.dtype.newbyteorder("="))


def _header(reader: Any, source: bytes) -> Any:
    """Open a Pillow image to read its header only, without Pillow's own size warning."""
    with pillow_warnings_silenced():
        return reader(io.BytesIO(source))


def _profile_of(header: Any) -> bytes | None:
    """Return the embedded profile, ``None`` for no profile, and no bytes for one that Pillow could not put together."""
    return header.info["icc_profile"] or b"" if "icc_profile" in header.info else None


def _refuse_colourless(mode: str) -> None:
    if mode in ("1", "L", "LA", "I", "F", "I;16", "I;16B"):
        raise grey_only()
    if mode == "CMYK":
        raise printing_colours()
