"""Read what a WebP file says of itself before a pixel is decoded (RFC 9649, sections 2.4 to 2.7)."""

import struct
from dataclasses import dataclass

from match.photo.limits import damaged

_ANIMATED, _ALPHA = 0x02, 0x10
_LOSSY_START, _LOSSLESS_START = b"\x9d\x01\x2a", 0x2F


@dataclass(frozen=True)
class WebpHeader:
    """Size in pixels, what kind of picture it is, and its Exif block and colour profile where it has them."""

    width: int
    height: int
    animated: bool
    alpha: bool
    exif: bytes | None
    profile: bytes | None


def header(source: bytes) -> WebpHeader:
    """Return the header of a WebP file, raising :class:`match.errors.PhotoError` for one that is damaged."""
    chunks = _chunks(source)
    exif, profile = chunks.get(b"EXIF"), chunks.get(b"ICCP")
    if b"VP8X" in chunks:
        body = chunks[b"VP8X"]
        if len(body) < 10:
            raise damaged()
        width, height = (int.from_bytes(body[place : place + 3], "little") + 1 for place in (4, 7))
        animated = bool(body[0] & _ANIMATED) or b"ANIM" in chunks
        return WebpHeader(width, height, animated, bool(body[0] & _ALPHA), exif, profile)
    if b"VP8L" in chunks:
        body = chunks[b"VP8L"]
        if len(body) < 5 or body[0] != _LOSSLESS_START:
            raise damaged()
        (bits,) = struct.unpack_from("<I", body, 1)
        return WebpHeader((bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1, False, bool(bits >> 28 & 1), exif, profile)
    body = chunks.get(b"VP8 ", b"")
    if len(body) < 10 or body[3:6] != _LOSSY_START:
        raise damaged()
    width, height = struct.unpack_from("<HH", body, 6)
    return WebpHeader(width & 0x3FFF, height & 0x3FFF, False, False, exif, profile)


def _chunks(source: bytes) -> dict[bytes, bytes]:
    """Return the first chunk of each name, of the pixels no more than their head; all must lie inside the file."""
    end = 8 + int.from_bytes(source[4:8], "little")
    if end > len(source):
        raise damaged()
    chunks: dict[bytes, bytes] = {}
    position = 12
    while position + 8 <= end:
        name, length = struct.unpack_from("<4sI", source, position)
        start = position + 8
        if start + length > end:
            raise damaged()
        most = length if name in (b"EXIF", b"ICCP") else min(length, 16)
        if name not in chunks:
            chunks[name] = source[start : start + most]
        position = start + length + length % 2
    return chunks
