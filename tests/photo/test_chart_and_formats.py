"""The published 24-patch chart through a camera, and one scene in several file formats."""

import io

import numpy as np
import pytest
import tifffile
from PIL import Image

from match.check.calibration_files import load_calibration
from match.check.settings import CheckSettings
from match.colorimetry import colour_science, delta_e00
from match.demo.scene.camera import chart_reflectances, rendering_matrix, response_weights
from match.demo.scene.description import Camera
from match.demo.scene.encode import icc_profile
from match.photo.load import load
from match.photo.regions import Kind, Region
from match.tint.viewing import lab_from_reflectance
from tests.support.checked import check_photo
from tests.support.synthetic import ArrayPhoto, FlatScene, srgb_decode, srgb_encode

CALIBRATION = load_calibration()
FEW = CheckSettings(draws=800)

# The chart's spectra as colour-science carries them (Ohta 1997); their order is the chart's own, neutrals last.
CHART = chart_reflectances()
LAB = np.array([lab_from_reflectance(spectrum) for spectrum in CHART])
NEUTRALS = range(18, 24)
LUMINOUS = np.array([((lab[0] + 16) / 116) ** 3 for lab in LAB])


def _chart_photo(lamp="D65", sensor=0):
    """Return patches of 60 pixels as a camera with published sensitivities writes them."""
    camera = Camera(sensor=sensor, matrix_lamp_share=1.0)
    weights = response_weights(camera, lamp)
    linear = (CHART @ weights / weights.sum(axis=0)) @ rendering_matrix(camera, lamp).T
    rng = np.random.default_rng(9)
    patches = linear.reshape(4, 6, 3).repeat(60, axis=0).repeat(60, axis=1)
    patches = patches * 0.9 * (1 + 0.01 * rng.standard_normal(patches.shape))
    return ArrayPhoto(np.round(srgb_encode(np.clip(patches, 0, 1)) * 255) / 255)


def _mark(kind, index, reflectance=None):
    row, column = divmod(index, 6)
    return Region(kind, column * 60 + 8, row * 60 + 8, 44, 44, reflectance)


def _measured(card, vehicle, lamp="D65"):
    steps = [n for n in (19, 21, 22) if n not in (card, vehicle)]
    marks = [_mark(Kind.GREY, n, float(LUMINOUS[n])) for n in steps]
    marks += [_mark(Kind.CARD, card), _mark(Kind.VEHICLE, vehicle)]
    return check_photo(_chart_photo(lamp), marks, FEW, CALIBRATION).measurement


@pytest.mark.parametrize("index", [18, 20, 23])
def test_neutral_patches_of_the_published_chart_are_recovered(index):
    measured = _measured(index, 20 if index != 20 else 18)
    # 8-bit steps, the veil taken off (0.7 % of white, clear coat mirrors it and a matt chart does not) and the camera
    assert float(delta_e00(measured.card_lab, LAB[index])) < (1.5 if index != 23 else 6.0)


@pytest.mark.parametrize(("card", "vehicle"), [(20, 21), (18, 19), (1, 8), (7, 12), (6, 15), (0, 8), (2, 5), (13, 10)])
def test_pair_differences_of_the_published_chart_lie_in_their_interval_or_near_it(card, vehicle):
    measured = _measured(card, vehicle)
    true = float(delta_e00(LAB[card], LAB[vehicle]))
    low, high = measured.interval
    assert low * 0.95 <= true <= high * 1.05


def _image():
    scene = FlatScene(card=(0.25, 0.12, 0.1), vehicle=(0.22, 0.12, 0.1), noise=0.03, levels=65535)
    return scene.marks(), scene.photo().image


def _srgb_png(image):
    target = io.BytesIO()
    Image.fromarray(np.round(image * 255).astype(np.uint8)).save(target, "PNG")
    return target.getvalue()


def _display_p3_png(image):
    # the same colours re-encoded: sRGB -> Display P3 by the primaries that colour-science carries
    colour = colour_science()
    p3 = colour.RGB_to_RGB(srgb_decode(image), "sRGB", "Display P3", chromatic_adaptation_transform=None)
    target = io.BytesIO()
    codes = np.round(srgb_encode(np.clip(p3, 0, 1)) * 255).astype(np.uint8)
    Image.fromarray(codes).save(target, "PNG", icc_profile=icc_profile("display-p3"))
    return target.getvalue()


def _tiff16(image):
    target = io.BytesIO()
    tifffile.imwrite(target, np.round(image * 65535).astype(np.uint16), photometric="rgb")
    return target.getvalue()


def _jpeg(image):
    target = io.BytesIO()
    Image.fromarray(np.round(image * 255).astype(np.uint8)).save(target, "JPEG", quality=95, subsampling=0)
    return target.getvalue()


def test_one_scene_gives_one_answer_in_every_format():
    marks, image = _image()
    answers = {
        name: check_photo(load(data, name), marks, FEW, CALIBRATION).measurement.delta_e00
        for name, data in {
            "a.png": _srgb_png(image),
            "p3.png": _display_p3_png(image),
            "a.tif": _tiff16(image),
        }.items()
    }
    assert max(answers.values()) - min(answers.values()) < 0.05, answers


def test_a_jpeg_differs_by_no_more_than_its_own_rounding():
    # A flat field has no texture to dither a JPEG's DC coefficients: at quality 95 they step by a quarter of a code
    marks, image = _image()
    exact = check_photo(load(_tiff16(image), "a.tif"), marks, FEW, CALIBRATION).measurement
    jpeg = check_photo(load(_jpeg(image), "a.jpg"), marks, FEW, CALIBRATION).measurement
    assert abs(exact.delta_e00 - jpeg.delta_e00) < 0.25
    assert jpeg.interval[0] <= exact.delta_e00 <= jpeg.interval[1]


def test_a_p3_photo_read_as_srgb_would_be_a_wrong_measurement():
    marks, image = _image()
    right = check_photo(load(_display_p3_png(image), "p3.png"), marks, FEW, CALIBRATION).measurement
    bare = Image.open(io.BytesIO(_display_p3_png(image)))
    target = io.BytesIO()
    bare.save(target, "PNG", icc_profile=None)
    wrong = check_photo(load(target.getvalue(), "bare.png"), marks, FEW, CALIBRATION).measurement
    assert float(delta_e00(right.vehicle_lab, wrong.vehicle_lab)) > 1.0
