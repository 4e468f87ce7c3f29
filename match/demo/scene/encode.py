"""A rendering as an image file in memory, tagged with its profile."""

import io
from functools import cache
from typing import Literal

import imagecodecs
import numpy as np
from PIL import Image, ImageCms

from match.demo.scene.description import Profile, Rendering
from match.errors import MatchError

SUBSAMPLING = {"4:4:4": 0, "4:2:2": 1, "4:2:0": 2}
P3_PRIMARIES = [0.680, 0.320, 1.0, 0.265, 0.690, 1.0, 0.150, 0.060, 1.0]
"""Red, green and blue as x, y, Y: SMPTE EG 432-1."""


def encode(
    rendering: Rendering,
    format: Literal["JPEG", "PNG"] = "JPEG",  # noqa: A002 - as in Pillow
    quality: int = 92,
    subsampling: Literal["4:4:4", "4:2:2", "4:2:0"] = "4:2:0",
) -> bytes:
    """Return the picture as a file's bytes.

    Parameters
    ----------
    rendering : 8 bits for JPEG; 8 bits, or 16 bits in sRGB, for PNG
    quality, subsampling : of a JPEG; 1..95, and how coarsely its colour is kept
    """
    if rendering.image.dtype == np.uint16:
        if format != "PNG" or rendering.profile != "srgb":
            raise MatchError("a 16-bit picture can be written as PNG in sRGB only: render it with 8 bits")
        return bytes(imagecodecs.png_encode(rendering.image))
    buffer = io.BytesIO()
    picture, profile = Image.fromarray(rendering.image), icc_profile(rendering.profile)
    if format == "JPEG":
        picture.save(buffer, "JPEG", quality=quality, subsampling=SUBSAMPLING[subsampling], icc_profile=profile)
    else:
        picture.save(buffer, "PNG", icc_profile=profile, compress_level=0)  # noise takes long to pack, and stays large
    return buffer.getvalue()


@cache
def icc_profile(profile: Profile) -> bytes:
    """Return an ICC profile: sRGB's as Pillow makes it, or Display P3's from its primaries and sRGB's curve."""
    if profile == "srgb":
        return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    code = np.linspace(0.0, 1.0, 4096)
    linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    curve = np.round(linear * 65535).astype(np.uint16)
    return bytes(
        imagecodecs.cms_profile("rgb", whitepoint=[0.3127, 0.3290, 1.0], primaries=P3_PRIMARIES, transferfunction=curve)
    )
