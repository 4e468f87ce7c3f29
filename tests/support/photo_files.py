"""Photo files made for tests from the published layouts: ICC profiles, a DNG, and single chunks of a PNG."""

from __future__ import annotations

import io
import struct
import warnings
import zlib

import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image

from match.errors import PhotoError
from match.photo.load import Photo, load

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

D50 = np.array([0.9642, 1.0, 0.8249])  # ICC.1:2022 clause 6.3.4.3, the profile connection space's illuminant
SRGB = colour.RGB_COLOURSPACES["sRGB"]
OPRGB = colour.RGB_COLOURSPACES["Adobe RGB (1998)"]  # the same primaries, white and curve as IEC 61966-2-5
DISPLAY_P3 = colour.RGB_COLOURSPACES["Display P3"]


def encoded(image: np.ndarray, kind: str, **options: object) -> bytes:
    """Write an 8-bit picture with Pillow."""
    file = io.BytesIO()
    Image.fromarray(image).save(file, kind, **options)
    return file.getvalue()


def in_primaries_of(linear: np.ndarray, source: colour.RGB_Colourspace, target: colour.RGB_Colourspace) -> np.ndarray:
    """Change primaries by the matrices colour-science derives from the published chromaticities, unrounded."""
    to_xyz, from_xyz = (
        colour.normalised_primary_matrix(space.primaries, space.whitepoint) for space in (source, target)
    )
    return np.asarray(linear @ (np.linalg.inv(from_xyz) @ to_xyz).T)


def d50_colorants(space: colour.RGB_Colourspace) -> np.ndarray:
    """Columns are the XYZ of red, green, blue adapted from D65 to D50 by Bradford (ICC.1:2022 annex E)."""
    white = colour.xy_to_XYZ(space.whitepoint)
    adaptation = colour.adaptation.matrix_chromatic_adaptation_VonKries(white, D50, transform="Bradford")
    return np.asarray(adaptation @ colour.normalised_primary_matrix(space.primaries, space.whitepoint))


def _s15f16(*numbers: float) -> bytes:
    return b"".join(struct.pack(">i", round(number * 65536)) for number in numbers)


def _text(words: str) -> bytes:
    """multiLocalizedUnicodeType, ICC.1:2022 clause 10.15."""
    body = words.encode("utf-16-be")
    return b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(body), 28) + body


def _profile(tags: dict[bytes, bytes], device_class: bytes = b"mntr", space: bytes = b"RGB ") -> bytes:
    """Header and tag table, ICC.1:2022 clauses 7.2 and 7.3."""
    table, body, offset = b"", b"", 132 + 12 * len(tags)
    for signature, content in tags.items():
        padded = content + bytes(-len(content) % 4)
        table += struct.pack(">4sII", signature, offset + len(body), len(content))
        body += padded
    header = bytearray(128)
    header[8:12] = bytes([4, 0x40, 0, 0])
    header[12:16], header[16:20], header[20:24], header[36:40] = device_class, space, b"XYZ ", b"acsp"
    header[68:80] = _s15f16(*D50)
    profile = bytes(header) + struct.pack(">I", len(tags)) + table + body
    return struct.pack(">I", len(profile)) + profile[4:]


def matrix_profile(space: colour.RGB_Colourspace, description: str, **extra: bytes) -> bytes:
    """A three-component matrix profile (ICC.1:2022 clause 8.4.3) with sRGB's curve as a type 3 parametric curve."""
    curve = b"para" + bytes(4) + struct.pack(">HH", 3, 0) + _s15f16(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    red, green, blue = (b"XYZ " + bytes(4) + _s15f16(*column) for column in d50_colorants(space).T)
    tags = {
        b"desc": _text(description),
        b"cprt": _text("none"),
        b"wtpt": b"XYZ " + bytes(4) + _s15f16(*D50),
        b"rXYZ": red,
        b"gXYZ": green,
        b"bXYZ": blue,
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    return _profile(tags | {name.encode(): content for name, content in extra.items()})


def lookup_profile(space: colour.RGB_Colourspace, description: str) -> bytes:
    """The same colours as lookup tables: lut16Type (ICC.1:2022 clause 10.10) from RGB to PCSXYZ, 2 x 2 x 2 grid."""
    corners = np.array([[r, g, b] for r in (0, 1) for g in (0, 1) for b in (0, 1)], dtype=float)
    xyz = np.clip(corners @ d50_colorants(space).T, 0, None)
    grid = np.rint(xyz * 32768).astype(">u2").tobytes()
    curve = np.rint(colour.models.eotf_sRGB(np.linspace(0, 1, 4096)) * 65535).astype(">u2").tobytes()
    straight = np.array([0, 65535], dtype=">u2").tobytes()
    table = b"mft2" + bytes(4) + bytes([3, 3, 2, 0]) + _s15f16(1, 0, 0, 0, 1, 0, 0, 0, 1)
    table += struct.pack(">HH", 4096, 2) + curve * 3 + grid + straight * 3
    tags = {
        b"desc": _text(description),
        b"cprt": _text("none"),
        b"wtpt": b"XYZ " + bytes(4) + _s15f16(*D50),
        b"A2B0": table,
    }
    return _profile(tags, device_class=b"scnr")


def png_chunk(name: bytes, content: bytes) -> bytes:
    """PNG Specification, third edition, clause 5.3."""
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


def png_with(png: bytes, name: bytes, content: bytes) -> bytes:
    """Put a chunk after the header chunk, which ends at byte 33."""
    return png[:33] + png_chunk(name, content) + png[33:]


def camera_matrix() -> np.ndarray:
    """XYZ (D65) to an invented camera's RGB, scaled so that white's largest camera value is 1."""
    matrix = np.array([[0.8, -0.2, -0.05], [-0.4, 1.2, 0.2], [-0.05, 0.15, 0.6]])
    return matrix / (matrix @ colour.xy_to_XYZ(SRGB.whitepoint)).max()


def dng(linear_srgb: np.ndarray, orientation: int = 1, black: int = 512, white: int = 16383) -> bytes:
    """A minimal DNG 1.4: what a camera with ``camera_matrix`` records of a scene, one colour a pixel (RGGB)."""
    srgb_to_xyz = colour.normalised_primary_matrix(SRGB.primaries, SRGB.whitepoint)
    camera = linear_srgb @ (camera_matrix() @ srgb_to_xyz).T
    mosaic = camera[..., 1].copy()
    mosaic[0::2, 0::2] = camera[0::2, 0::2, 0]
    mosaic[1::2, 1::2] = camera[1::2, 1::2, 2]
    sensor = np.clip(np.rint(black + mosaic * (white - black)), 0, white).astype(np.uint16)

    def rational(numbers: np.ndarray) -> tuple[int, ...]:
        return tuple(part for number in np.ravel(numbers) for part in (round(number * 1_000_000), 1_000_000))

    neutral = camera_matrix() @ colour.xy_to_XYZ(SRGB.whitepoint)
    tags = [
        (254, 4, 1, 0, True),  # NewSubfileType: the main picture
        (271, 2, 0, "Invented", True),
        (272, 2, 0, "Invented Box One", True),
        (274, 3, 1, orientation, True),
        (33421, 3, 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, 1, 4, (0, 1, 1, 2), True),  # CFAPattern
        (50706, 1, 4, (1, 4, 0, 0), True),  # DNGVersion
        (50708, 2, 0, "Invented Box One", True),  # UniqueCameraModel
        (50714, 3, 1, black, True),  # BlackLevel
        (50717, 3, 1, white, True),  # WhiteLevel
        (50721, 10, 9, rational(camera_matrix()), True),  # ColorMatrix1
        (50728, 5, 3, rational(neutral), True),  # AsShotNeutral
        (50778, 3, 1, 21, True),  # CalibrationIlluminant1: D65
    ]
    file = io.BytesIO()
    tifffile.imwrite(file, sensor, photometric=32803, extratags=tags, metadata=None, rowsperstrip=len(sensor))
    return file.getvalue()


def patches(rows: int = 4, columns: int = 6, side: int = 16, random_state: int = 3) -> np.ndarray:
    """Flat patches of linear sRGB light, kept away from black and white; invented."""
    values = np.random.default_rng(random_state).uniform(0.03, 0.9, (rows, columns, 3))
    return values.repeat(side, axis=0).repeat(side, axis=1)


def to_codes(linear_srgb: np.ndarray, space: object = SRGB, levels: int = 256) -> np.ndarray:
    """Encode with colour-science: sRGB's curve in the primaries of ``space``."""
    linear = in_primaries_of(linear_srgb, SRGB, space)
    codes = np.rint(np.clip(colour.models.eotf_inverse_sRGB(linear), 0, 1) * (levels - 1))
    return codes.astype(np.uint8 if levels == 256 else np.uint16)


def heic(codes: np.ndarray, **options: object) -> bytes:
    """Lossless HEIC without chroma subsampling."""
    file = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(codes)).save(file, quality=-1, chroma="444", **options)
    return file.getvalue()


def tiff(pixels: np.ndarray, **options: object) -> bytes:
    file = io.BytesIO()
    tifffile.imwrite(file, pixels, **({"photometric": "rgb", "metadata": None} | options))
    return file.getvalue()


def whole(photo: Photo) -> np.ndarray:
    return photo.crop(0, 0, photo.width, photo.height).linear


def colour_step(photo: Photo) -> float:
    """Largest change of linear light that one code of an sRGB-like curve makes: the slope at white times the step."""
    return 2.4 / 1.055 * photo.code_step


def refused(content: bytes, name: str = "card.jpg") -> str:
    with pytest.raises(PhotoError) as caught:
        load(content, name)
    text = str(caught.value)
    assert text.startswith(f"{name}: ")
    assert "\n" not in text
    assert ":" in text.removeprefix(f"{name}: ")
    return text


SMALL = to_codes(patches())
