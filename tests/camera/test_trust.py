"""What null tests and grey shots say of one camera."""

import numpy as np
import pytest
from scipy.stats import maxwell

from match.camera.null_test import NullShot, camera_floor, null_shot
from match.camera.rules import load_camera_rules
from match.camera.trust import Grade, GreyShot, camera_tone, judge_camera
from match.check.calibration_files import load_calibration
from match.errors import EvidenceError
from tests.benchmarks.several_simulated import simulated

RULES = load_camera_rules()
CAMERA = load_calibration().camera
USUAL = CAMERA.errors.pair_floor
EXPECTED = np.diag([0.2, 0.1, 0.1]) ** 2


def shots(floor, count, seed=0, shape=(1, 1, 1)):
    rng = np.random.default_rng(seed)
    sd = np.sqrt(np.diag(EXPECTED) + (floor * np.array(shape)) ** 2)
    return [NullShot(f"shot {i}", sd * rng.standard_normal(3), EXPECTED) for i in range(count)]


def judged(nulls=(), greys=()):
    return judge_camera(nulls, greys, USUAL, CAMERA.tone, RULES.null_test, RULES.camera_trust)


@pytest.mark.parametrize("floor", [0.3, 0.8])
def test_many_shots_find_the_floor(floor):
    found = camera_floor(shots(floor, 40), USUAL, RULES.null_test)
    assert found.floor_sd == pytest.approx(floor, rel=0.2)
    assert found.interval[0] < floor < found.interval[1]


def test_the_interval_holds_the_floor_as_often_as_it_says():
    inside = []
    for seed in range(100):
        found = camera_floor(shots(0.3, 6, seed), USUAL, RULES.null_test)
        inside.append(found.interval[0] <= 0.3 <= found.interval[1])
    assert np.mean(inside) > 0.906  # 95 % less two standard errors of 100


def test_a_camera_as_good_as_its_photos_expect_keeps_the_usual_floor():
    assert camera_floor(shots(0.0, 3), USUAL, RULES.null_test).floor_sd < 2 * USUAL


def test_one_bad_shot_raises_the_floor_less_than_five():
    one, five = (camera_floor(shots(0.8, count, seed=4), USUAL, RULES.null_test) for count in (1, 5))
    assert one.interval[1] - one.interval[0] > five.interval[1] - five.interval[0]


def test_a_null_shot_takes_out_the_floor_the_measurement_assumed():
    reading = simulated((0.2, 0.1, 0.0), sd=(0.3, 0.3, 0.3), count=20000)
    shot = null_shot("two spots", reading, pair_floor=0.1)
    assert shot.difference == pytest.approx([0.2, 0.1, 0.0])
    assert np.diag(shot.covariance) == pytest.approx(np.full(3, 0.3**2 - 0.1**2), rel=0.05)


def test_the_poor_limit_is_the_floor_that_can_still_show_equality():
    # For isotropic errors of sd s in three components the 95 % point of their length is s times Maxwell's.
    assert RULES.camera_trust.poor_floor == pytest.approx(0.8 / maxwell.ppf(0.95), abs=0.005)


def test_good_fair_and_poor_cameras_are_told_apart():
    assert judged(shots(0.0, 8)).grade is Grade.GOOD
    assert judged(shots(0.22, 40)).grade is Grade.FAIR
    assert judged(shots(0.6, 8)).grade is Grade.POOR


def test_error_in_colour_points_to_white_balance():
    found = judged(shots(0.8, 12, shape=(0, 1, 1)))
    assert [finding.code for finding in found.findings] == ["white-balance-hunts"]
    assert "Lock white balance" in found.sentences[-1]


def test_error_in_lightness_points_to_local_brightening():
    found = judged(shots(0.8, 12, shape=(1, 0.2, 0.2)))
    assert [finding.code for finding in found.findings] == ["camera-local"]
    assert "HDR" in found.sentences[-1]


def test_steady_slopes_narrow_the_tone_prior():
    tone = camera_tone([GreyShot(str(i), 1.08, 0.02, 1.0) for i in range(8)], CAMERA.tone, RULES.camera_trust)
    assert tone.slope_mean == pytest.approx(1.08, abs=0.01)
    assert tone.slope_sd < 0.3 * CAMERA.tone.slope_sd


def test_one_uncertain_slope_leaves_the_usual_prior_nearly_as_it_was():
    tone = camera_tone([GreyShot("one", 1.3, 0.4, 1.0)], CAMERA.tone, RULES.camera_trust)
    assert abs(tone.slope_mean - CAMERA.tone.slope_mean) < 0.1
    assert tone.slope_sd > 0.8 * CAMERA.tone.slope_sd


def test_restless_slopes_are_found_out():
    greys = [GreyShot(str(i), slope, 0.02, 1.0) for i, slope in enumerate((0.85, 1.0, 1.15, 1.3, 0.9, 1.2))]
    found = judged(greys=greys)
    assert found.tone.between_sd > RULES.camera_trust.restless_slope
    assert "contrast-changes" in [finding.code for finding in found.findings]


def test_flat_pictures_ask_for_a_clean_lens():
    found = judged(greys=[GreyShot(str(i), 1.4, 0.03, 1.0) for i in range(5)])
    assert "pictures-flat" in [finding.code for finding in found.findings]
    assert "Wipe the lens" in " ".join(found.sentences)


def test_greys_that_fit_no_curve_are_told():
    found = judged(greys=[GreyShot(str(i), 1.0, 0.03, 4.0) for i in range(3)])
    assert "greys-disagree" in [finding.code for finding in found.findings]


def test_without_shots_there_is_no_floor():
    with pytest.raises(EvidenceError, match="take at least one"):
        camera_floor([], USUAL, RULES.null_test)
    empty = judged()
    assert empty.floor is None
    assert empty.tone is None
    assert empty.as_dict()["grade"] == "good"


def test_json_holds_floor_and_tone():
    as_json = judged(shots(0.5, 5), [GreyShot("one", 1.1, 0.05, 1.0)]).as_dict()
    assert as_json["floor"]["shots"] == 5
    assert as_json["tone"]["shots"] == 1
