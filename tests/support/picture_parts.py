"""Pictures changed in their inner parts, lengths and sums made right again, so that what reads the parts is met."""

from __future__ import annotations

import io
import random
import struct
import zlib
from collections.abc import Callable
from functools import cache

import numpy as np
from PIL import Image

from tests.support.mutations import changed_bytes
from tests.support.photo_files import (
    DISPLAY_P3,
    SMALL,
    encoded,
    lookup_profile,
    matrix_profile,
    png_chunk,
    png_with,
    tiff,
)

PROFILED, CAMERA_WRITTEN = ("JPEG", "PNG", "WEBP", "TIFF"), ("JPEG", "PNG", "WEBP")
_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_NAMES = (*(b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"iCCP", b"cICP", b"sRGB", b"gAMA", b"eXIf"), b"acTL", b"fdAT", b"zTXt")
_PACKED_AT = {b"IDAT": 0, b"iCCP": 3}
"""Where what is packed begins in a chunk; the profile's name here is one letter."""

Chunks = list[tuple[bytes, bytes]]


@cache
def exif_block() -> bytes:
    """What a camera writes into a photo; the camera is invented."""
    exif = Image.Exif()
    exif[271], exif[272], exif[274] = "Invented", "Box One", 6
    exif.get_ifd(34665).update({40961: 65535, 40962: 96, 40963: 64, 41989: 26})
    exif.get_ifd(40965).update({1: "R03"})
    return exif.tobytes()


@cache
def profiles() -> tuple[bytes, bytes]:
    """A colour profile of curves and a matrix, and one of lookup tables."""
    return matrix_profile(DISPLAY_P3, "invented"), lookup_profile(DISPLAY_P3, "invented")


@cache
def _pngs() -> tuple[bytes, ...]:
    """Pictures with a profile and a camera's facts, in a palette, see-through, woven, and of 16 bits."""
    import imagecodecs

    packed = b"x\0\0" + zlib.compress(profiles()[0])
    plain = png_with(png_with(encoded(SMALL, "PNG"), b"iCCP", packed), b"eXIf", exif_block().removeprefix(b"Exif\0\0"))
    palette = io.BytesIO()
    Image.fromarray(SMALL).quantize(24).save(palette, "PNG", transparency=3)
    veiled = encoded(np.dstack([SMALL, np.full(SMALL.shape[:2], 200, np.uint8)]), "PNG")
    deep = bytes(imagecodecs.png_encode(SMALL.astype(np.uint16) * 257))
    return plain, plain, palette.getvalue(), veiled, png_with(deep, b"cICP", bytes([12, 13, 0, 1]))


def _chunks(png: bytes) -> Chunks:
    found, position = [], len(_SIGNATURE)
    while position < len(png):
        length, name = struct.unpack_from(">I4s", png, position)
        found.append((name, png[position + 8 : position + 8 + length]))
        position += 12 + length
    return found


def _changed_inside(name: bytes, content: bytes, chance: random.Random) -> bytes:
    """Change a chunk's bytes, or what is packed in them."""
    packed_at = _PACKED_AT.get(name)
    if packed_at is None or chance.random() < 0.3:
        return changed_bytes(content, chance)
    try:
        unpacked = zlib.decompress(content[packed_at:])
    except zlib.error:
        return changed_bytes(content, chance)
    return content[:packed_at] + zlib.compress(changed_bytes(unpacked, chance))


def changed_png(chance: random.Random) -> bytes:
    """Return a PNG with one to three of its chunks changed, lost, doubled, moved or renamed, every sum right."""
    chunks = _chunks(chance.choice(_pngs()))
    for _ in range(chance.choice((1, 1, 2, 3))):
        at = chance.randrange(len(chunks))
        name, content = chunks[at]
        kind = chance.randrange(10)
        if kind == 0:
            chunks[at : at + 1] = []
        elif kind == 1:
            chunks[at:at] = [chunks[at]] * chance.choice((1, 30))
        elif kind == 2:
            chunks.insert(chance.randrange(len(chunks)), chunks.pop(at))
        elif kind == 3:
            chunks[at] = (chance.choice(_NAMES), content)
        else:
            chunks[at] = (name, _changed_inside(name, content, chance))
        if not chunks:
            break
    return _SIGNATURE + b"".join(png_chunk(name, content) for name, content in chunks)


def with_profile(profile: bytes, kind: str) -> bytes:
    """Return the small picture with a colour profile."""
    return tiff(SMALL, iccprofile=profile) if kind == "TIFF" else encoded(SMALL, kind, icc_profile=profile)


def changed_profile(chance: random.Random) -> bytes:
    """Return a picture whose colour profile is changed: any byte of it, a number of its table, or a curve's."""
    profile = bytearray(chance.choice(profiles()))
    for _ in range(chance.choice((1, 1, 2, 4))):
        at = 4 * chance.randrange(len(profile) // 4)
        if chance.random() < 0.5:  # the table and the matrix decide
            at = 4 * chance.randrange(32, 120)
        profile[at : at + 4] = struct.pack(">I", chance.choice((0, 1, 3, 65_536, 2**31 - 1, 2**31, 2**32 - 1)))
    content = changed_bytes(bytes(profile), chance) if chance.random() < 0.3 else bytes(profile)
    return with_profile(content, chance.choice(PROFILED))


def changed_camera_facts(chance: random.Random) -> bytes:
    """Return a picture whose Exif block is changed; the block's own header stays."""
    head = b"Exif\0\0"
    block = head + changed_bytes(exif_block().removeprefix(head), chance)
    return encoded(SMALL, chance.choice(CAMERA_WRITTEN), exif=block)


SOUND: dict[str, Callable[[], bytes]] = {
    "png's parts": lambda: _pngs()[0],
    "colour profile": lambda: with_profile(profiles()[0], "JPEG"),
    "camera's facts": lambda: encoded(SMALL, "JPEG", exif=exif_block()),
}
CHANGED: dict[str, Callable[[random.Random], bytes]] = {
    "png's parts": changed_png,
    "colour profile": changed_profile,
    "camera's facts": changed_camera_facts,
}
