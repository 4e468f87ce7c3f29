"""What is not one still colour photo is refused in one sentence that says what to do."""

from __future__ import annotations

import io
import os
import struct
import subprocess
import sys
import warnings
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from match.errors import PhotoError
from match.photo.limits import check_picture
from match.photo.load import load
from tests.support.photo_files import (
    SMALL,
    SRGB,
    dng,
    encoded,
    heic,
    lookup_profile,
    matrix_profile,
    png_chunk,
    png_with,
    refused,
    tiff,
    whole,
)


def animation(kind: str) -> bytes:
    frames = [Image.fromarray(np.full((20, 20, 3), value, np.uint8)) for value in (20, 200)]
    file = io.BytesIO()
    frames[0].save(file, kind, save_all=True, append_images=frames[1:], duration=100)
    return file.getvalue()


def header_only_png(width: int, height: int) -> bytes:
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", header) + png_chunk(b"IDAT", b"") + png_chunk(b"IEND", b"")


def jpeg_claiming(width: int, height: int) -> bytes:
    """Rewrite the frame header's size (ITU-T T.81, B.2.2: marker, length, precision, height, width)."""
    content = bytearray(encoded(SMALL, "JPEG"))
    start = content.index(b"\xff\xc0")
    content[start + 5 : start + 9] = struct.pack(">HH", height, width)
    return bytes(content)


def tiff_claiming(width: int, height: int) -> bytes:
    """Rewrite the values of tags 256 and 257, each a 12-byte directory entry (TIFF 6.0, section 2)."""
    content = bytearray(tiff(SMALL))
    for tag, value in ((256, width), (257, height)):
        start = content.index(struct.pack("<HHI", tag, 4, 1))
        content[start + 8 : start + 12] = struct.pack("<I", value)
    return bytes(content)


def pillow_file(mode: str, kind: str) -> bytes:
    file = io.BytesIO()
    Image.fromarray(SMALL).convert(mode).save(file, kind)
    return file.getvalue()


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", "empty"),
        (b"Dear painter, this is a letter.\n" * 50, "not a photo"),
        (b"%PDF-1.7\n" * 50, "not a photo"),
        (b"\x00" * 5000, "not a photo"),
        (b"\x00\x00\x00\x18ftypmp42" + bytes(100), "moving picture"),
        (b"\x00\x00\x00\x18ftypavif" + bytes(100), "AVIF"),
        (b"BM" + bytes(100), "not a photo"),
        (pillow_file("L", "JPEG"), "black-and-white"),
        (pillow_file("L", "PNG"), "black-and-white"),
        (pillow_file("1", "PNG"), "black-and-white"),
        (pillow_file("LA", "PNG"), "black-and-white"),
        (pillow_file("L", "TIFF"), "black-and-white"),
        (heic(SMALL[..., 0]), "black-and-white"),
        (pillow_file("CMYK", "JPEG"), "CMYK"),
        (pillow_file("CMYK", "TIFF"), "CMYK"),
        (pillow_file("LAB", "TIFF"), "red-green-blue TIFF"),
        (tiff(SMALL.astype(np.float32)), "red-green-blue TIFF"),
        (animation("GIF"), "moving picture"),
        (encoded(SMALL, "GIF"), "too few colours"),
        (animation("WEBP"), "moving picture"),
        (animation("PNG"), "moving picture"),
        (encoded(SMALL, "JPEG", icc_profile=b"no profile at all"), "colour profile is damaged"),
        (encoded(SMALL, "PNG", icc_profile=matrix_profile(SRGB, "cut")[:300]), "colour profile is damaged"),
        (png_with(encoded(SMALL, "PNG"), b"gAMA", struct.pack(">I", 100000)), "export it as sRGB"),
        (png_with(encoded(SMALL, "PNG"), b"cICP", bytes([9, 1, 0, 1])), "video form"),
        (header_only_png(20_001, 10_000), "200 million"),
        (jpeg_claiming(20_001, 10_000), "200 million"),
        (tiff_claiming(20_001, 10_000), "200 million"),
    ],
)
def test_what_is_not_a_colour_photo_is_refused_in_one_sentence(
    content: bytes, expected: str, capfd: pytest.CaptureFixture[str]
) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert expected in refused(content)
    assert capfd.readouterr() == ("", "")


def test_two_hundred_megapixels_pass_the_size_check_and_an_empty_claim_of_them_does_not() -> None:
    # The largest phone pictures have 16320 x 12240 = 199.8 million.
    check_picture(16320, 12240, packed_bytes=30_000_000)
    assert "no camera's photo" in refused(header_only_png(16320, 12240))


@pytest.mark.parametrize("side", range(1, 13))
def test_a_picture_of_a_few_pixels_is_refused_as_too_small_in_every_format(side: int) -> None:
    speck = np.full((side, 40, 3), 90, np.uint8)
    for content in (encoded(speck, "JPEG"), encoded(speck, "PNG"), tiff(speck), encoded(speck, "WEBP")):
        assert "too small to measure" in refused(content)
    assert "too small to measure" in refused(heic(np.full((side, side, 3), 90, np.uint8)))


def test_profile_for_another_kind_of_picture_is_refused() -> None:
    grey = bytearray(matrix_profile(SRGB, "grey"))
    grey[16:20] = b"GRAY"
    assert "red-green-blue" in refused(encoded(SMALL, "JPEG", icc_profile=bytes(grey)))


def _place_of(tag: bytes, profile: bytes) -> tuple[int, int]:
    """Return where a tag begins and ends (ICC.1:2022, clause 7.3)."""
    at = profile.index(tag, 128)
    start, size = struct.unpack_from(">II", profile, at + 4)
    return start, start + size


@pytest.mark.parametrize("red", [0x7FFFFFFF, -0x80000000, 5 << 16, -(1 << 16)])
def test_a_profile_of_primaries_that_no_light_has_is_refused(red: int) -> None:
    """Numbers of XYZType have 16 bits before the point, the first of them 8 bytes in (ICC.1:2022, clause 10.31)."""
    sound = matrix_profile(SRGB, "spoilt")
    place = _place_of(b"rXYZ", sound)[0] + 8
    spoilt = sound[:place] + struct.pack(">i", red) + sound[place + 4 :]
    load(encoded(SMALL, "PNG", icc_profile=sound))
    assert "colour profile is damaged" in refused(encoded(SMALL, "PNG", icc_profile=spoilt))


def test_a_profile_whose_white_is_black_is_refused() -> None:
    """White is the last point of the grid, before three curves of two numbers each."""
    sound = lookup_profile(SRGB, "spoilt")
    end = _place_of(b"A2B0", sound)[1] - 12
    spoilt = sound[: end - 6] + bytes(6) + sound[end:]
    load(encoded(SMALL, "PNG", icc_profile=sound))
    assert "colour profile is damaged" in refused(encoded(SMALL, "PNG", icc_profile=spoilt))


def test_missing_file_folder_and_forbidden_file_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(PhotoError, match="there is no such file"):
        load(tmp_path / "gone.jpg")
    with pytest.raises(PhotoError, match="this is a folder"):
        load(tmp_path)

    def forbidden(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", forbidden)
    with pytest.raises(PhotoError, match="may not be read"):
        load(tmp_path / "locked.jpg")


WHOLE_FILES = {
    "a.jpg": encoded(SMALL, "JPEG"),
    "progressive.jpg": encoded(SMALL, "JPEG", progressive=True),
    "b.png": encoded(SMALL, "PNG"),
    "c.tif": tiff(SMALL),
    "d.webp": encoded(SMALL, "WEBP"),
    "e.heic": heic(SMALL),
}


@pytest.mark.parametrize("name", WHOLE_FILES)
def test_a_file_cut_short_anywhere_is_refused(name: str) -> None:
    content = WHOLE_FILES[name]
    load(content, name)
    for missing in {1, 2, 3, 12, 13, 100, len(content) // 4, len(content) // 2, len(content) - 20}:
        refused(content[:-missing], name)
        if missing > 12 and name.endswith((".jpg", ".png")):
            refused(content[:-missing] + bytes(missing), name)  # space set aside for a copy that never finished


def test_a_png_with_one_wrong_bit_is_refused_quietly(capfd: pytest.CaptureFixture[str]) -> None:
    content = bytearray(WHOLE_FILES["b.png"])
    content[len(content) // 2] ^= 1
    assert "damaged" in refused(bytes(content), "b.png")
    assert capfd.readouterr() == ("", "")


def test_a_raw_file_cut_short_is_refused() -> None:
    content = dng(np.full((80, 120, 3), 0.2))
    for missing in (100, len(content) // 2, len(content) - 300):
        refused(content[:-missing], "shot.dng")


@given(st.sampled_from(sorted(WHOLE_FILES)), st.integers(0, 2**32 - 1))
@settings(max_examples=150)
def test_a_damaged_file_is_read_or_refused_but_never_a_crash(name: str, random_state: int) -> None:
    content = bytearray(WHOLE_FILES[name])
    random = np.random.default_rng(random_state)
    for position in random.integers(0, min(len(content), 600), 3):
        content[position] = random.integers(0, 256)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            photo = load(bytes(content), name)
        except PhotoError:
            return
    assert whole(photo).shape == (photo.height, photo.width, 3)


def test_importing_the_module_loads_no_decoder() -> None:
    script = (
        "import sys, match.photo.load; "
        "print([name for name in ('rawpy', 'pillow_heif', 'imagecodecs', 'cv2', 'colour', 'scipy', 'PIL') "
        "if name in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
