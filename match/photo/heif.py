"""Decode HEIC and HEIF photos at their own bit depth; the decoder itself turns the picture upright."""

import io
from typing import Any

import numpy as np

from match.errors import PhotoError
from match.photo import encoding
from match.photo.decoded import Decoded, coded, colour_only, grey_only, meaning_of_codes, moving
from match.photo.exif import parse
from match.photo.limits import check_picture, damaged

_MOVING_BRANDS = (b"hevc", b"hevx", b"hevm", b"hevs", b"msf1")


def decode(source: bytes) -> Decoded:
    """Decode the primary picture of a HEIF file.

    The file's rotation and mirror boxes are applied by the decoder, and ISO/IEC 23008-12 gives them precedence over the
    Exif orientation, which therefore is not applied again.
    """
    import pillow_heif

    if source[8:12] in _MOVING_BRANDS:
        raise moving()
    try:
        opened = pillow_heif.open_heif(io.BytesIO(source), convert_hdr_to_8bit=False, hdr_to_16bit=False)
        picture = opened[opened.primary_index]
    except (ValueError, EOFError, SyntaxError, RuntimeError, OSError, IndexError):
        raise damaged() from None
    info: dict[str, Any] = dict(picture.info)
    bit_depth = int(info["bit_depth"])
    channels = 4.0 if "A" in picture.mode.partition(";")[0] else 3.0
    check_picture(*picture.size, len(source), channels * (1 if bit_depth == 8 else 2))
    if picture.mode.partition(";")[0] in ("L", "LA", "La", "I"):
        raise grey_only()
    if bit_depth not in (8, 10, 12, 16):
        raise PhotoError(f"the photo has {bit_depth} bits per colour: set the camera to JPEG and take the photo again")
    exif = parse(info.get("exif"))
    named = info.get("nclx_profile")
    if named and "icc_profile" not in info:
        meaning: encoding.Encoding = encoding.from_h273(
            named["color_primaries"], named["transfer_characteristics"], 2**bit_depth
        )
    else:
        meaning = meaning_of_codes(info.get("icc_profile"), exif, bit_depth)
    try:
        pixels = np.asarray(picture)
    except (ValueError, EOFError, SyntaxError, RuntimeError, OSError):
        raise damaged() from None
    if pixels.shape[:2] != (picture.size[1], picture.size[0]):
        raise damaged()
    pixels, notes = colour_only(pixels, 2**bit_depth - 1)
    return coded("HEIC", pixels, bit_depth, exif, meaning, orientation=1, notes=notes)
