"""Photo loading: every container, camera raw, which way up, crops and previews, against independent decoders."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ExifTags, Image, ImageOps

from match.errors import RegionError
from match.photo.load import load
from tests.support.photo_files import (
    DISPLAY_P3,
    SMALL,
    dng,
    encoded,
    heic,
    matrix_profile,
    patches,
    png_chunk,
    refused,
    tiff,
    to_codes,
    whole,
)


def test_dng_gives_the_light_of_the_scene_unclipped() -> None:
    # The scene is made with the DNG's own ColorMatrix1 (DNG 1.4) and colour-science's sRGB matrix; it holds colours
    # outside sRGB. A patch's middle is read, since pixels at its edge are interpolated from two patches.
    values = np.array([[[0.2, 0.2, 0.2], [0.5, 0.1, 0.05]], [[-0.05, 0.4, 0.03], [0.04, 0.06, 0.5]]])
    photo = load(dng(values.repeat(60, axis=0).repeat(80, axis=1)), "shot.dng")
    assert photo.format == "camera raw"
    assert photo.scene_linear
    assert photo.camera == "Invented Box One"
    assert photo.code_step == 1 / (16383 - 512)
    for row in range(2):
        for column in range(2):
            crop = photo.crop(80 * column + 20, 60 * row + 20, 40, 20)
            np.testing.assert_allclose(crop.linear.mean(axis=(0, 1)), values[row, column], atol=3 * photo.code_step)
            assert crop.code.min() >= 0.0
            assert crop.code.max() <= 1.0


def test_clipped_sensor_shows_as_full_code() -> None:
    scene = np.full((80, 120, 3), 0.3)
    scene[:, 60:] = 1.4
    photo = load(dng(scene))
    assert photo.crop(80, 20, 20, 20).code.min() > 0.999
    assert photo.crop(20, 20, 20, 20).code.max() < 0.5


def test_dng_brightness_does_not_depend_on_the_rest_of_the_picture() -> None:
    dark, bright = np.full((80, 120, 3), 0.1), np.full((80, 120, 3), 0.1)
    bright[:, 80:] = 0.85
    crops = [load(dng(scene)).crop(10, 20, 30, 30).linear for scene in (dark, bright)]
    np.testing.assert_allclose(crops[0], crops[1], atol=1e-4)


def test_raw_renamed_to_tiff_is_still_read_as_raw_and_said() -> None:
    photo = load(dng(np.full((80, 120, 3), 0.2)), "shot.tif")
    assert photo.scene_linear
    assert "ends in .tif" in photo.notes[0]


def test_tiff_export_that_kept_the_cameras_name_is_not_a_raw() -> None:
    named = [(271, 2, 0, "Invented", True), (272, 2, 0, "Invented Box One", True)]
    photo = load(tiff(SMALL, extratags=named))
    assert (photo.format, photo.scene_linear, photo.camera) == ("TIFF", False, "Invented Box One")
    assert "black-and-white" in refused(
        tiff(SMALL[..., 0].astype(np.uint16), photometric="minisblack", extratags=named)
    )


def oriented_files(codes: np.ndarray, orientation: int) -> dict[str, bytes]:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    return {
        "a.jpg": encoded(codes, "JPEG", quality=100, subsampling=0, exif=exif),
        "b.png": encoded(codes, "PNG", exif=exif),
        "c.webp": encoded(codes, "WEBP", lossless=True, exif=exif),
        "d.tif": tiff(codes, extratags=[(274, 3, 1, orientation, True)]),
        "e.heic": heic(codes, exif=exif.tobytes()),
    }


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_applied_once_in_every_format(orientation: int) -> None:
    # Reference: Pillow's own exif_transpose on the decoded picture, a second implementation of Exif tag 274.
    codes = np.kron(np.arange(10, 250, 20).reshape(3, 4), np.ones((16, 16)))[..., np.newaxis]
    codes = np.concatenate([codes, codes[::-1], codes[:, ::-1]], axis=2).astype(np.uint8)
    tagged = Image.fromarray(codes)
    tagged.getexif()[ExifTags.Base.Orientation] = orientation
    expected = np.asarray(ImageOps.exif_transpose(tagged))
    for name, content in oriented_files(codes, orientation).items():
        photo = load(content, name)
        assert (photo.height, photo.width) == expected.shape[:2], name
        shown = photo.crop(0, 0, photo.width, photo.height).code * 255.0
        np.testing.assert_allclose(shown, expected, atol=2.0 if name in ("a.jpg", "e.heic") else 0.01, err_msg=name)
        np.testing.assert_allclose(photo.preview(1000), expected, atol=2.0, err_msg=name)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_raw_orientation_is_applied_once(orientation: int) -> None:
    scene = np.kron(np.linspace(0.1, 0.8, 12).reshape(3, 4), np.ones((32, 32)))[..., np.newaxis].repeat(3, axis=2)
    marked = Image.fromarray(np.rint(scene * 255).astype(np.uint8))
    marked.getexif()[ExifTags.Base.Orientation] = orientation
    expected = np.asarray(ImageOps.exif_transpose(marked)) / 255.0
    photo = load(dng(scene, orientation))
    assert (photo.height, photo.width) == expected.shape[:2]
    middles = np.s_[16::32, 16::32]
    np.testing.assert_allclose(whole(photo)[middles], expected[middles], atol=3e-3)


def test_multi_picture_jpeg_gives_its_primary_picture() -> None:
    second = Image.fromarray(np.zeros((32, 32, 3), np.uint8))
    content = encoded(SMALL, "MPO", save_all=True, append_images=[second])
    photo = load(content, "phone.jpg")
    assert (photo.width, photo.height, photo.format, photo.notes) == (96, 64, "JPEG", ())
    np.testing.assert_array_equal(photo.decoded.pixels, np.asarray(Image.open(io.BytesIO(content))))


def test_jpeg_pixels_are_those_of_another_decoder() -> None:
    for options in ({}, {"progressive": True}, {"subsampling": 2, "quality": 60}, {"restart_marker_blocks": 2}):
        content = encoded(SMALL, "JPEG", **options)
        np.testing.assert_array_equal(load(content).decoded.pixels, np.asarray(Image.open(io.BytesIO(content))))


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"byteorder": ">"},
        {"compression": "deflate"},
        {"compression": "lzw", "predictor": True},
        {"tile": (32, 32)},
        {"planarconfig": "separate"},
    ],
)
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_tiff_layouts_keep_every_bit_and_the_channel_order(options: dict[str, object], kind: type) -> None:
    pixels = (np.random.default_rng(5).integers(0, 65536, (40, 50, 3)) >> (0 if kind is np.uint16 else 8)).astype(kind)
    laid_out = np.moveaxis(pixels, -1, 0) if options.get("planarconfig") else pixels
    photo = load(tiff(laid_out, **options))
    np.testing.assert_array_equal(photo.decoded.pixels, pixels)
    assert photo.decoded.pixels.dtype == kind


def test_16_bit_png_keeps_every_bit() -> None:
    pixels = np.random.default_rng(5).integers(0, 65536, (20, 30, 3)).astype(np.uint16)
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in pixels)
    header = struct.pack(">IIBBBBB", 30, 20, 16, 2, 0, 0, 0)
    body = png_chunk(b"IHDR", header) + png_chunk(b"IDAT", zlib.compress(rows)) + png_chunk(b"IEND", b"")
    photo = load(b"\x89PNG\r\n\x1a\n" + body)
    assert (photo.decoded.bit_depth, photo.code_step) == (16, 1 / 65535)
    np.testing.assert_array_equal(photo.decoded.pixels, pixels)


def test_opaque_alpha_is_dropped_and_see_through_alpha_is_noted() -> None:
    alpha = np.full((64, 96, 1), 255, np.uint8)
    for kind, options in (("PNG", {}), ("WEBP", {"lossless": True, "exact": True}), ("TIFF", {})):
        photo = load(encoded(np.dstack([SMALL, alpha]), kind, **options))
        assert photo.notes == ()
        np.testing.assert_array_equal(photo.decoded.pixels, SMALL)
        photo = load(encoded(np.dstack([SMALL, alpha // 2]), kind, **options))
        assert "see-through" in photo.notes[0]
        np.testing.assert_array_equal(photo.decoded.pixels, SMALL)
    assert "transparency" in refused(tiff(np.dstack([SMALL, alpha // 2]), extrasamples=["assocalpha"]))


def test_palette_pictures_convert_exactly_and_say_so() -> None:
    palette = Image.fromarray(SMALL).quantize(32)
    for kind in ("PNG", "TIFF"):
        file = io.BytesIO()
        palette.save(file, kind)
        photo = load(file.getvalue())
        np.testing.assert_array_equal(photo.decoded.pixels, np.asarray(palette.convert("RGB")))
        assert any("256 colours" in note for note in photo.notes)


def test_content_decides_and_a_wrong_extension_is_noted(tmp_path: Path) -> None:
    path = tmp_path / "card.jpg"
    path.write_bytes(encoded(SMALL, "PNG"))
    photo = load(path)
    assert photo.format == "PNG"
    assert photo.notes == ("The name ends in .jpg but the content is PNG; it was read as PNG.",)
    assert photo.source == path.read_bytes()
    assert len(photo.sha256) == 64


def test_camera_is_make_and_model_once() -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = "Invented\0", "Box  Two"
    assert load(encoded(SMALL, "JPEG", exif=exif)).camera == "Invented Box Two"
    exif[ExifTags.Base.Model] = "INVENTED Box Two"
    assert load(encoded(SMALL, "WEBP", exif=exif)).camera == "INVENTED Box Two"
    assert load(encoded(SMALL, "PNG")).camera is None


@pytest.mark.parametrize(
    ("stated", "size", "read"),
    [
        (52, (SMALL.shape[1], SMALL.shape[0]), 52.0),
        (52, (SMALL.shape[0], SMALL.shape[1]), 52.0),  # as stored, or upright: cameras write either
        (52, (SMALL.shape[1] + 40, SMALL.shape[0]), None),  # cropped afterwards
        (0, (SMALL.shape[1], SMALL.shape[0]), None),  # Exif 2.32: zero means unknown
        (52, None, None),
    ],
)
def test_the_focal_length_counts_where_the_photo_was_not_cropped(stated, size, read) -> None:
    exif = Image.Exif()
    detail = exif.get_ifd(ExifTags.IFD.Exif)
    detail[ExifTags.Base.FocalLengthIn35mmFilm] = stated
    if size:
        detail[ExifTags.Base.ExifImageWidth], detail[ExifTags.Base.ExifImageHeight] = size
    assert load(encoded(SMALL, "JPEG", exif=exif)).focal_35mm == read


def test_damaged_exif_is_left_out_and_said() -> None:
    photo = load(encoded(SMALL, "PNG", exif=b"Exif\0\0nonsense that is no directory"))
    assert any("damaged" in note for note in photo.notes)


def test_further_tiff_pages_are_noted() -> None:
    assert "first was used" in load(tiff(np.stack([SMALL, SMALL]))).notes[0]


@given(st.data())
@settings(max_examples=60)
def test_a_crop_is_that_part_of_the_whole(data: st.DataObject) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = data.draw(st.integers(1, 8))
    photo = load(encoded(SMALL, "PNG", exif=exif))
    x, y = data.draw(st.integers(0, photo.width - 1)), data.draw(st.integers(0, photo.height - 1))
    width, height = data.draw(st.integers(1, photo.width - x)), data.draw(st.integers(1, photo.height - y))
    np.testing.assert_array_equal(photo.crop(x, y, width, height).linear, whole(photo)[y : y + height, x : x + width])


@pytest.mark.parametrize("rectangle", [(-1, 0, 5, 5), (0, 0, 97, 5), (0, 60, 5, 5), (0, 0, 0, 5)])
def test_a_crop_outside_the_photo_is_refused(rectangle: tuple[int, int, int, int]) -> None:
    with pytest.raises(RegionError, match="outside the photo, which is 96 x 64"):
        load(encoded(SMALL, "PNG")).crop(*rectangle)


def test_preview_is_small_and_shows_p3_as_srgb() -> None:
    scene = patches(side=40)
    photo = load(encoded(to_codes(scene, DISPLAY_P3), "PNG", icc_profile=matrix_profile(DISPLAY_P3, "Display P3")))
    assert photo.preview(120).shape == (80, 120, 3)
    assert photo.preview(10_000).shape == (160, 240, 3)
    np.testing.assert_allclose(photo.preview(240), to_codes(scene).astype(float), atol=1.01)
