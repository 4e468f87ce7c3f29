"""Files that claim, or unpack to, far more than they weigh; made from the published layouts."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable

import numpy as np

from tests.support.photo_files import SMALL, encoded, png_chunk, png_with, tiff


def _zeros(unpacked_bytes: int) -> bytes:
    """Return so many zeros packed as zlib (RFC 1950) packs them, a thousandth of their size.

    One megabyte is packed and repeated: after a full flush nothing of a block depends on those before it.
    """
    count = unpacked_bytes >> 20
    packer = zlib.compressobj(9, wbits=-zlib.MAX_WBITS)
    block = packer.compress(bytes(1 << 20)) + packer.flush(zlib.Z_FULL_FLUSH)
    sums = (count << 20) % 65521 << 16 | 1  # Adler-32 of zeros: the first sum stays at 1, and the second counts them
    return b"\x78\xda" + block * count + packer.flush() + struct.pack(">I", sums)


def png_profile() -> bytes:
    """A colour profile (PNG Specification, third edition, 11.3.2.3) of 1.6 MB that unpacks to 1.6 GB."""
    return png_with(encoded(SMALL, "PNG"), b"iCCP", b"x\0\0" + _zeros(1600 << 20))


def png_remarks() -> bytes:
    """Six hundred compressed remarks (zTXt), 7 MB each: together 4 GB."""
    remark = png_chunk(b"zTXt", b"Comment\0\0" + _zeros(7 << 20))
    content = encoded(SMALL, "PNG")
    return content[:33] + remark * 600 + content[33:]


def png_even() -> bytes:
    """A whole picture of 199 megapixels, all black: 0.6 MB."""
    head = struct.pack(">IIBBBBB", 16320, 12240, 8, 2, 0, 0, 0)
    pixels = _zeros((1 + 3 * 16320) * 12240)
    start = b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", head)
    return start + png_chunk(b"IDAT", pixels) + png_chunk(b"IEND", b"")


def _with_tag(content: bytes, tag: int, kind: int, value: int) -> bytes:
    """Rewrite one directory entry's single value (TIFF 6.0, section 2)."""
    found = bytearray(content)
    place = found.index(struct.pack("<HH", tag, kind))
    found[place + 8 : place + 12] = struct.pack("<I", value)
    return bytes(found)


def tiff_claim() -> bytes:
    """A TIFF of 14,000 x 14,000 pixels that holds 18 kB."""
    return _with_tag(_with_tag(tiff(SMALL), 256, 4, 14_000), 257, 4, 14_000)


def tiff_tile() -> bytes:
    """A small picture in one tile of 16,000 x 16,000."""
    content = tiff(np.kron(SMALL, np.ones((1, 1, 1), np.uint8)), tile=(64, 96))
    for tag in (322, 323):
        kind = 3 if struct.pack("<HH", tag, 3) in content else 4
        content = _with_tag(content, tag, kind, 16_000)
    return content


def tiff_directory() -> bytes:
    """Nine hundred entries that each name the same 10 MB as their value: together 9 GB."""
    count, body = 900, 10_000_000
    start = 8 + 2 + 12 * count + 4
    entries = b"".join(struct.pack("<HHII", 40_000 + index, 7, body, start) for index in range(count))
    return b"II*\0" + struct.pack("<IH", 8, count) + entries + bytes(4) + bytes(body)


def webp_claim() -> bytes:
    """An extended WebP (RFC 9649, 2.7) with a canvas of 14,000 x 14,000 and no picture to speak of."""
    side = (13_999).to_bytes(3, "little")
    body = b"VP8X" + struct.pack("<I", 10) + bytes([0x10, 0, 0, 0]) + side + side + encoded(SMALL, "WEBP")[12:]
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WEBP" + body


def jpeg_claim() -> bytes:
    """A JPEG whose frame header (ITU-T T.81, B.2.2) claims 14,000 x 14,000."""
    content = bytearray(encoded(SMALL, "JPEG"))
    start = content.index(b"\xff\xc0")
    content[start + 5 : start + 9] = struct.pack(">HH", 14_000, 14_000)
    return bytes(content)


def jpeg_scans() -> bytes:
    """A progressive JPEG of 12 megapixels whose last scan is repeated three thousand times."""
    file = io.BytesIO(encoded(np.zeros((3000, 4000, 3), np.uint8), "JPEG", progressive=True))
    content = file.getvalue()
    last = content.rindex(b"\xff\xda")
    return content[:-2] + content[last:-2] * 3000 + content[-2:]


def heic_claim() -> bytes:
    """A HEIC whose size property (ispe, ISO/IEC 23008-12, 6.5.3) claims 14,000 x 14,000."""
    import pillow_heif
    from PIL import Image

    file = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(SMALL)).save(file, quality=50)
    content = bytearray(file.getvalue())
    start = 0
    while (start := content.find(b"ispe", start)) >= 0:
        content[start + 8 : start + 16] = struct.pack(">II", 14_000, 14_000)
        start += 16
    return bytes(content)


def raw_claim() -> bytes:
    """A DNG of 14,000 x 14,000 that holds a thumbnail's worth of pixels."""
    from tests.support.photo_files import dng

    content = dng(np.full((64, 96, 3), 0.2))
    for tag in (256, 257):
        kind = 3 if struct.pack("<HH", tag, 3) in content else 4
        content = _with_tag(content, tag, kind, 14_000)
    return content


BOMBS: dict[str, Callable[[], bytes]] = {
    "profile.png": png_profile,
    "remarks.png": png_remarks,
    "even.png": png_even,
    "claim.tif": tiff_claim,
    "tile.tif": tiff_tile,
    "directory.tif": tiff_directory,
    "claim.webp": webp_claim,
    "claim.jpg": jpeg_claim,
    "scans.jpg": jpeg_scans,
    "claim.heic": heic_claim,
    "claim.dng": raw_claim,
}
