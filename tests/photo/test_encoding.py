"""What a photo's numbers mean: the published encodings, by profile, by code and by default."""

from __future__ import annotations

import io
from collections.abc import Callable

import coloraide
import numpy as np
import pillow_heif
import pytest
from PIL import ExifTags, Image, ImageCms

from match.photo import encoding
from match.photo.load import load
from tests.support.photo_files import (
    DISPLAY_P3,
    OPRGB,
    SMALL,
    SRGB,
    colour,
    colour_step,
    encoded,
    heic,
    in_primaries_of,
    lookup_profile,
    matrix_profile,
    patches,
    png_with,
    refused,
    tiff,
    to_codes,
    whole,
)

CODES = np.arange(256)


@pytest.mark.parametrize(
    ("code_8bit", "linear"),
    [  # IEC 61966-2-1 to six digits, from memory; code 10 is the last on the straight part (0.04045, 0.0031308)
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
    photo = load(encoded(np.full((16, 16, 3), code_8bit, np.uint8), "PNG"))
    assert photo.crop(0, 0, 16, 16).linear == pytest.approx(linear, abs=5e-7)


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
    codes = codes.repeat(16, axis=0).repeat(3, axis=1)
    photo = load(encoded(codes, "PNG", icc_profile=build(space, "Wide")))
    expected = in_primaries_of(colour.models.eotf_sRGB(codes / 255.0), space, SRGB)
    np.testing.assert_allclose(whole(photo), expected, atol=1e-4)
    assert whole(photo).min() < -0.04
    assert whole(photo).max() > 1.04
    assert photo.profile == "Wide profile"


def test_equal_p3_codes_are_neutral_through_a_profile() -> None:
    greys = np.tile(CODES[np.newaxis, :, np.newaxis], (16, 1, 3)).astype(np.uint8)
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
    assert photo.decoded.bit_depth == 16
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
        assert photo.code_step == 1.0 / (2**photo.decoded.bit_depth - 1)


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
    assert (photo.decoded.bit_depth, photo.code_step) == (10, 1 / 1023)
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
