"""Photo loading against the published encodings, independent libraries, and files that are not photos."""

from __future__ import annotations

import io
import struct
import subprocess
import sys
import warnings
import zlib
from collections.abc import Callable
from pathlib import Path

import coloraide
import numpy as np
import pillow_heif
import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ExifTags, Image, ImageCms, ImageOps

from match.errors import PhotoError, RegionError
from match.measure import encoding
from match.measure.photo import Photo, load
from tests.photo_files import (
    DISPLAY_P3,
    OPRGB,
    SRGB,
    colour,
    dng,
    encoded,
    in_primaries_of,
    lookup_profile,
    matrix_profile,
    png_chunk,
    png_with,
)

CODES = np.arange(256)


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


# --- what the numbers mean -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code_8bit", "linear"),
    [  # 256-level table of the sRGB curve as widely printed, six digits; 0.04045 / 12.92 = 0.0031308 in IEC 61966-2-1
        (0, 0.0),
        (1, 0.000304),
        (10, 0.003035),
        (11, 0.003347),
        (128, 0.215861),
        (188, 0.502886),
        (255, 1.0),
    ],
)
def test_srgb_codes_decode_to_the_published_values(code_8bit: int, linear: float) -> None:
    photo = load(encoded(np.full((4, 4, 3), code_8bit, np.uint8), "PNG"))
    assert photo.crop(0, 0, 4, 4).linear == pytest.approx(linear, abs=5e-7)


def test_srgb_curve_agrees_with_two_reference_libraries() -> None:
    ours = encoding.srgb_to_linear(CODES / 255.0)
    np.testing.assert_allclose(ours, colour.models.eotf_sRGB(CODES / 255.0), atol=1e-12)
    theirs = [coloraide.Color("srgb", [code / 255.0] * 3).convert("srgb-linear")[0] for code in CODES]
    np.testing.assert_allclose(ours, theirs, atol=1e-7)
    np.testing.assert_allclose(encoding.linear_to_srgb(ours) * 255.0, CODES, atol=1e-9)


def test_matrices_are_those_of_colour_science() -> None:
    for primaries, name in (
        (encoding.DISPLAY_P3_PRIMARIES, "Display P3"),
        (encoding.OPRGB_PRIMARIES, "Adobe RGB (1998)"),
    ):
        space = colour.RGB_COLOURSPACES[name]
        np.testing.assert_allclose(primaries, space.primaries, atol=0)
        ours = encoding.from_primaries("", primaries, CODES / 255.0).matrix
        np.testing.assert_allclose(ours.T, in_primaries_of(np.eye(3), space, SRGB), atol=1e-12)


@pytest.mark.parametrize(("build", "space"), [(matrix_profile, DISPLAY_P3), (lookup_profile, OPRGB)])
def test_wide_profile_gives_unclipped_srgb_light(build: Callable[..., bytes], space: colour.RGB_Colourspace) -> None:
    # The primaries lie outside sRGB. Reference: colour-science's matrices; an ICC profile's numbers have 16 bits.
    # Lookup tables of XYZ cannot hold P3's red, whose Z is below zero, hence the other space.
    codes = np.array([[[255, 0, 0], [0, 255, 0], [0, 0, 255], [200, 30, 90], [128, 128, 128], [9, 9, 9]]], np.uint8)
    photo = load(encoded(codes, "PNG", icc_profile=build(space, "Wide")))
    expected = in_primaries_of(colour.models.eotf_sRGB(codes / 255.0), space, SRGB)
    np.testing.assert_allclose(whole(photo), expected, atol=1e-4)
    assert whole(photo).min() < -0.04
    assert whole(photo).max() > 1.04
    assert photo.profile == "Wide profile"


def test_equal_p3_codes_are_neutral_through_a_profile() -> None:
    greys = np.repeat(CODES[np.newaxis, :, np.newaxis], 3, axis=2).astype(np.uint8)
    light = whole(load(encoded(greys, "PNG", icc_profile=matrix_profile(DISPLAY_P3, "Display P3"))))
    np.testing.assert_allclose(light, colour.models.eotf_sRGB(greys / 255.0), atol=5e-5)


def test_srgb_profile_of_another_library_reads_as_srgb() -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    with_profile = whole(load(encoded(SMALL, "PNG", icc_profile=profile)))
    np.testing.assert_allclose(with_profile, whole(load(encoded(SMALL, "PNG"))), atol=5e-5)


def test_profile_of_16_bit_codes_keeps_16_bit_accuracy() -> None:
    scene = patches()
    codes = to_codes(scene, DISPLAY_P3, 65536)
    profile = matrix_profile(DISPLAY_P3, "Display P3")
    photo = load(tiff(codes, extratags=[(34675, 7, len(profile), profile, True)]))
    assert photo.bit_depth == 16
    assert photo.profile == "Display P3 profile"
    np.testing.assert_allclose(whole(photo), scene, atol=6e-5)


def test_one_scene_is_the_same_light_in_every_container() -> None:
    scene = patches()
    profile = matrix_profile(DISPLAY_P3, "Display P3")
    srgb8, p3, srgb16 = to_codes(scene), to_codes(scene, DISPLAY_P3), to_codes(scene, SRGB, 65536)
    files = {
        "a.png": encoded(srgb8, "PNG"),
        "b.png": encoded(p3, "PNG", icc_profile=profile),
        "c.tiff": tiff(srgb16),
        "d.tif": encoded(srgb8, "TIFF", compression="tiff_lzw"),
        "e.webp": encoded(p3, "WEBP", lossless=True, icc_profile=profile),
        "f.heic": heic(srgb8),
        "g.jpg": encoded(srgb8, "JPEG", quality=100, subsampling=0),
        "h.jpg": encoded(p3, "JPEG", quality=100, subsampling=0, icc_profile=profile),
    }
    for name, content in files.items():
        photo = load(content, name)
        codes_off = 2.0 if photo.format in ("JPEG", "HEIC") else 0.7  # whole-number YCbCr; half a code, and P3's matrix
        np.testing.assert_allclose(whole(photo), scene, atol=codes_off * colour_step(photo), err_msg=name)
        assert photo.notes == ()
        assert photo.code_step == 1.0 / (2**photo.bit_depth - 1)


def test_code_is_the_files_own_value() -> None:
    photo = load(encoded(SMALL, "PNG", icc_profile=matrix_profile(DISPLAY_P3, "Display P3")))
    np.testing.assert_array_equal(photo.crop(0, 0, 96, 64).code, SMALL / 255.0)


def test_photo_without_a_profile_says_it_was_taken_as_srgb() -> None:
    assert load(encoded(SMALL, "PNG")).profile == "sRGB (assumed: no colour profile)"


@pytest.mark.parametrize(("stated", "interoperability"), [(2, None), (0xFFFF, "R03")])
def test_oprgb_by_exif_alone_is_read_as_oprgb_and_said(stated: int, interoperability: str | None) -> None:
    # DCF 2.0: uncalibrated with interoperability R03 is the optional colour space; reference: colour-science.
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.ColorSpace] = stated
    if interoperability:
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.IFD.Interop] = {1: interoperability}
    photo = load(encoded(SMALL, "PNG", exif=exif.tobytes()))
    expected = in_primaries_of((SMALL / 255.0) ** (563 / 256), OPRGB, SRGB)
    np.testing.assert_allclose(whole(photo), expected, atol=1e-12)
    assert "opRGB" in photo.profile
    assert any("opRGB" in note for note in photo.notes)


def test_exif_srgb_is_read_as_srgb_and_uncalibrated_is_noted() -> None:
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.ColorSpace] = 1
    said = load(encoded(SMALL, "JPEG", exif=exif))
    assert said.profile == "sRGB (said by the camera, no colour profile)"
    assert said.notes == ()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.ColorSpace] = 0xFFFF
    assert any("not sRGB" in note for note in load(encoded(SMALL, "JPEG", exif=exif)).notes)


def test_png_cicp_names_display_p3() -> None:
    # PNG third edition clause 11.3.2.6; ITU-T H.273 codes 12 (P3 primaries), 13 (sRGB curve), 0 (RGB), 1 (full range).
    scene = patches()
    photo = load(png_with(encoded(to_codes(scene, DISPLAY_P3), "PNG"), b"cICP", bytes([12, 13, 0, 1])))
    np.testing.assert_allclose(whole(photo), scene, atol=0.7 * colour_step(photo))
    assert photo.profile.startswith("Display P3")


def test_heic_nclx_names_display_p3() -> None:
    scene = patches()
    photo = load(heic(to_codes(scene, DISPLAY_P3), color_primaries=12, transfer_characteristics=13), "a.heic")
    np.testing.assert_allclose(whole(photo), scene, atol=2.0 * colour_step(photo))
    assert photo.profile.startswith("Display P3")


def test_heic_of_ten_bits_keeps_them() -> None:
    scene = patches()
    codes = to_codes(scene, SRGB, 1024)
    file = io.BytesIO()
    height, width = codes.shape[:2]
    pillow_heif.encode("RGB;16", (width, height), (codes << 6).tobytes(), file, quality=-1, chroma="444", bit_depth=10)
    photo = load(file.getvalue(), "a.heic")
    assert (photo.bit_depth, photo.code_step) == (10, 1 / 1023)
    np.testing.assert_allclose(whole(photo), scene, atol=2.0 * colour_step(photo))
    assert photo.preview(50).dtype == np.uint8


@pytest.mark.parametrize(("transfer", "kind"), [(16, "PQ"), (18, "HLG")])
def test_hdr_is_refused_with_the_advice_to_switch_it_off(transfer: int, kind: str) -> None:
    # Transfer codes of ITU-T H.273; in HEIF's nclx, in PNG's cICP and in an ICC profile's cicp tag (ICC.1:2022 9.2.17).
    tag = matrix_profile(DISPLAY_P3, "wide", cicp=b"cicp" + bytes(4) + bytes([9, transfer, 0, 1]))
    for content in (
        heic(SMALL, color_primaries=9, transfer_characteristics=transfer),
        png_with(encoded(SMALL, "PNG"), b"cICP", bytes([9, transfer, 0, 1])),
        encoded(SMALL, "JPEG", icc_profile=tag),
    ):
        text = refused(content)
        assert kind in text
        assert "switch HDR off" in text


# --- camera raw ------------------------------------------------------------------------------------------------------


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


# --- which way up ----------------------------------------------------------------------------------------------------


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


# --- containers ------------------------------------------------------------------------------------------------------


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
    assert (photo.bit_depth, photo.code_step) == (16, 1 / 65535)
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


def test_damaged_exif_is_left_out_and_said() -> None:
    photo = load(encoded(SMALL, "PNG", exif=b"Exif\0\0nonsense that is no directory"))
    assert any("damaged" in note for note in photo.notes)


def test_further_tiff_pages_are_noted() -> None:
    assert "first was used" in load(tiff(np.stack([SMALL, SMALL]))).notes[0]


# --- crops and preview -----------------------------------------------------------------------------------------------


@given(st.data())
@settings(max_examples=60, deadline=None)
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


# --- what is not a photo ---------------------------------------------------------------------------------------------


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


def test_two_hundred_megapixel_headers_pass_the_size_check() -> None:
    # The largest phone pictures, 16320 x 12240 = 199.8 million; the header alone holds no pixels, so it is "damaged".
    assert "damaged" in refused(header_only_png(16320, 12240))


def test_profile_for_another_kind_of_picture_is_refused() -> None:
    grey = bytearray(matrix_profile(SRGB, "grey"))
    grey[16:20] = b"GRAY"
    assert "red-green-blue" in refused(encoded(SMALL, "JPEG", icc_profile=bytes(grey)))


def test_missing_file_folder_and_forbidden_file_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(PhotoError, match="there is no such file"):
        load(tmp_path / "gone.jpg")
    with pytest.raises(PhotoError, match="this is a folder"):
        load(tmp_path)

    def forbidden(path: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", forbidden)
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


def test_a_raw_file_cut_short_is_refused() -> None:
    content = dng(np.full((80, 120, 3), 0.2))
    for missing in (100, len(content) // 2, len(content) - 300):
        refused(content[:-missing], "shot.dng")


@given(st.sampled_from(sorted(WHOLE_FILES)), st.integers(0, 2**32 - 1))
@settings(max_examples=150, deadline=None)
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
        "import sys, match.measure.photo; "
        "print([name for name in ('rawpy', 'pillow_heif', 'imagecodecs', 'cv2', 'colour', 'scipy', 'PIL') "
        "if name in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
