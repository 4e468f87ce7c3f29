"""What is found at a region's edges of use: few pixels, few usable ones, a colour that the file cannot hold."""

import numpy as np
import pytest

from match.check.calibration_files import load_calibration
from match.colorimetry import working_from_srgb
from match.measure.light import TO_COMPONENTS, LightFit
from match.measure.photo_code import PhotoCode
from match.measure.quality import photo_findings, region_findings
from match.measure.sampling import Patch, sample_region
from match.measure.tone import prior_curve
from match.photo.regions import Kind, Region
from tests.support.synthetic import srgb_encode

CALIBRATION = load_calibration()
RULES, LIMITS = CALIBRATION.camera.sampling, CALIBRATION.camera.quality
PAINT = np.array([0.2, 0.15, 0.1])


def _read(linear, kind=Kind.CARD):
    height, width = linear.shape[:2]
    region = Region(kind, 0, 0, width, height, 0.18 if kind is Kind.GREY else None)
    return sample_region(Patch(region, linear, srgb_encode(linear)), RULES)


def _codes(linear, kind=Kind.CARD):
    return {found.code for found in region_findings(_read(linear, kind), LIMITS)}


def _flat(side, colour=PAINT):
    return np.tile(np.asarray(colour, dtype=float), (side, side, 1))


@pytest.mark.parametrize("kind", [Kind.CARD, Kind.GREY])
def test_the_smallest_region_that_is_let_through_is_read_and_found_even(kind):
    side = round(LIMITS.least_pixels**0.5)
    colour = (0.18, 0.18, 0.18) if kind is Kind.GREY else PAINT
    assert _codes(_flat(side, colour), kind) == set()
    assert PhotoCode.SMALL in _codes(_flat(side - 1, colour), kind)
    np.testing.assert_allclose(_read(_flat(side, colour), kind).level.mean(axis=0), working_from_srgb(np.array(colour)))


def test_of_four_blocks_the_one_under_a_lamp_is_left_out():
    linear = _flat(20)
    linear[10:, 10:] *= 2.0
    np.testing.assert_allclose(_read(linear).level.mean(axis=0), working_from_srgb(PAINT), rtol=1e-9)


def test_where_glitter_burns_out_more_than_half_of_every_block_the_rest_is_what_is_read():
    linear = _flat(60)
    linear[:, np.arange(60) % 10 < 7] = 1.0
    sample = _read(linear)
    assert sample.clipped_share == pytest.approx(0.7)
    np.testing.assert_allclose(sample.level.mean(axis=0), working_from_srgb(PAINT), rtol=1e-9)


@pytest.mark.parametrize(("empty", "beyond"), [(0.0, False), (0.5, False), (2.0, True)])
@pytest.mark.parametrize("kind", [Kind.CARD, Kind.VEHICLE, Kind.GREY])
def test_a_paint_is_beyond_the_file_where_a_channel_is_empty_in_more_than_the_limit(kind, empty, beyond):
    linear = _flat(100)
    linear[: round(100 * empty * LIMITS.empty_share), :, 2] = 0.0
    assert (PhotoCode.BEYOND_FILE in _codes(linear, kind)) is (beyond and kind is not Kind.GREY)


def test_a_burnt_out_region_and_a_black_one_are_each_said_to_be_that():
    burnt = _flat(60)
    burnt[:30] = 1.0
    assert PhotoCode.CLIPPED in _codes(burnt)
    assert _codes(_flat(60, 1e-4 * PAINT)) == {PhotoCode.NEAR_BLACK}


def test_a_cast_of_the_grey_is_warned_of_and_a_strong_one_spoils_and_paint_may_be_coloured():
    def casts(size, kind):
        found = region_findings(_read(_flat(60, 0.18 * np.exp([0.0, 0.5 * size, size])), kind), LIMITS)
        return [each.spoils for each in found if each.code is PhotoCode.GREY_CAST]

    warned, strong = LIMITS.grey_cast_warning, LIMITS.grey_cast
    assert warned < strong
    # in the working primaries, wider than those of the file, a cast is a little smaller
    assert casts(0.9 * warned, Kind.GREY) == []
    assert casts(0.5 * (warned + strong), Kind.GREY) == [False]
    assert casts(1.6 * strong, Kind.GREY) == [True]
    assert casts(1.6 * strong, Kind.CARD) == []


@pytest.mark.parametrize(("times", "said"), [(1.9, {"percent": 90}), (2.6, {"times": 2.6})])
def test_light_that_changes_across_the_marks_is_said_by_how_much(times, said):
    level = np.log([[0.2, 0.1, 0.1], [0.2, 0.1, 0.1], [0.18, 0.18, 0.18]])
    still = np.tile(1e-6 * np.eye(3), (3, 1, 1))
    light = LightFit((0.18,), TO_COMPONENTS @ level.T, still, float(np.log(times)), 0.0, np.zeros((3, 5)), np.zeros(2))
    found = photo_findings((), light, prior_curve(CALIBRATION.camera.tone, True), LIMITS, scene_linear=True)
    assert [each.values for each in found if each.code is PhotoCode.GRADIENT] == [said]
