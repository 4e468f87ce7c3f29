"""Several photos of one pair: what averages out, what does not, and what is said of it."""

from dataclasses import replace

import numpy as np
import pytest

from match import calibration as files
from match.check.calibration_files import load_calibration
from match.check.verdict import Junction, Tolerances, Verdict, decide, thresholds
from match.coats.judge import let_down_steps
from match.colorimetry import delta_e00
from match.demo.scene.description import Light
from match.errors import EvidenceError
from match.measure.finding import Finding
from match.measure.photo_code import PhotoCode
from match.photo.regions import Kind, Region
from match.several.combine import PhotoReading, combine
from match.several.groups import angles_under, combine_groups
from match.several.photo_set import Angle, MeasuredPhoto, PhotoUse, Role
from match.several.rules import load_several_rules
from tests.benchmarks.several_scenes import base_scene, open_shop, pair_at, pair_of, read
from tests.benchmarks.several_simulated import USUAL_SD, simulated

RULES = load_several_rules().combining
FLOOR = 0.05
SPOILED = Finding(PhotoCode.GLARE, True, (Region(Kind.CARD, 60, 11, 40, 40),), {"percent": 70})


def together(differences, roles=None, **settings):
    roles = roles or [Role.FIRST] + [Role.REPEAT] * (len(differences) - 1)
    photos = [
        PhotoReading(f"photo {index + 1}", role, simulated(difference, seed=index, **settings))
        for index, (difference, role) in enumerate(zip(differences, roles, strict=True))
    ]
    return combine(photos, RULES, FLOOR, np.random.default_rng(3))


def test_one_photo_says_what_its_own_measurement_says():
    reading = simulated((1.0, 0.5, -0.3))
    one = combine([PhotoReading("face", Role.FIRST, reading)], RULES, FLOOR, np.random.default_rng(3))
    assert one.draws is reading.draws
    assert one.delta_e00 == pytest.approx(float(delta_e00(reading.card_lab, reading.vehicle_lab)))
    assert one.between_sd is None
    assert one.gradient_lab is None


def test_alike_photos_keep_their_difference_and_grow_surer():
    one, three = together([(1.0, 0.5, -0.3)]), together([(1.0, 0.5, -0.3)] * 3)
    assert three.delta_lab == pytest.approx([1.0, 0.5, -0.3])
    assert np.all(three.delta_lab_sd < one.delta_lab_sd)


def test_what_the_camera_does_to_a_difference_does_not_average_out():
    # A stretch of 10 % of a difference of 8, the same in every photo by that camera, against noise that averages.
    many = together([(8.0, 0.0, 0.0)] * 8, sd=(0.05, 0.05, 0.05), stretch=0.1)
    assert many.delta_lab_sd[0] == pytest.approx(0.8, rel=0.1)


@pytest.mark.parametrize("roles", [None, [Role.FIRST, Role.REPEAT] + [Role.SWAP] * 2])
def test_what_a_camera_makes_of_other_pigments_neither_repeats_nor_a_swap_take_away(roles):
    many = together([(0.5, 0.0, 0.0)] * 4, roles, sd=(0.05, 0.05, 0.05), pigments=0.6)
    plain = together([(0.5, 0.0, 0.0)] * 4, roles, sd=(0.05, 0.05, 0.05))
    added = np.diag(many.covariance - plain.covariance)
    assert added == pytest.approx([0.0, 0.6**2, 0.0], abs=0.03)
    assert many.draws.of_pigments.std(axis=0) == pytest.approx([0.0, 0.6, 0.0], abs=0.03)
    assert many.budget["light and placement"] == pytest.approx(plain.budget["light and placement"], rel=0.1)
    vehicle = np.array([50.0, 10.0, 5.0])
    seen = float(delta_e00(vehicle + 0.6 * np.eye(3)[1], vehicle))
    expected = np.hypot(plain.budget["camera and grey"], seen)
    assert many.budget["camera and grey"] == pytest.approx(expected, rel=0.1)


def test_repeats_leave_the_light_and_a_swap_takes_it_out():
    same = [(0.5, 0.0, 0.0)] * 4
    repeats = together(same, stretch=0.0)
    swapped = together(same, [Role.FIRST, Role.REPEAT, Role.SWAP, Role.SWAP], stretch=0.0)
    light = RULES.light_share * USUAL_SD[0] ** 2
    assert repeats.delta_lab_sd[0] > np.sqrt(light)
    assert swapped.delta_lab_sd[0] < 0.7 * np.sqrt(light)


def test_a_swap_cancels_a_linear_light_and_half_the_disagreement_is_the_light():
    light = np.array([0.9, 0.1, -0.1])
    true = np.array([0.4, 0.3, 0.2])
    both = together([true + light, true + light, true - light, true - light], [*Role, Role.SWAP])
    assert both.delta_lab == pytest.approx(true, abs=0.005)  # each photo's own noise is sampled
    assert both.gradient_lab == pytest.approx(light)
    assert "sides-differ" in [finding.code for finding in both.findings]


def test_photos_that_spread_widen_the_interval():
    tight = together([(1.0, 0.0, 0.0)] * 3)
    loose = together([(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (2.0, 0.0, 0.0)])
    assert loose.delta_lab == pytest.approx(tight.delta_lab, abs=0.01)
    assert loose.interval[1] > tight.interval[1]
    assert loose.between_sd[0] > 2 * tight.between_sd[0]


def test_intervals_hold_the_truth_as_often_as_they_say():
    """Simulated sets with the model's own light, placement spread and stretch: 95 % intervals, 100 sets."""
    rng, inside = np.random.default_rng(7), []
    limits = [Role.FIRST, Role.REPEAT, Role.SWAP, Role.SWAP]
    own, light = np.sqrt(1 - RULES.light_share) * np.array(USUAL_SD), np.sqrt(RULES.light_share) * np.array(USUAL_SD)
    for index in range(100):
        true = rng.standard_normal(3) * (1.0, 0.6, 0.6)
        side, stretch = light * rng.standard_normal(3), 1 + 0.08 * rng.standard_normal()
        placed = 0.15 * rng.standard_normal((4, 3)) * (1.0, 0.4, 0.4)
        seen = stretch * true + np.outer([1, 1, -1, -1], side) + own * rng.standard_normal((4, 3)) + placed
        photos = [
            PhotoReading(str(i), role, simulated(seen[i], seed=4 * index + i, count=500))
            for i, role in enumerate(limits)
        ]
        found = combine(photos, RULES, FLOOR, rng)
        vehicle = np.array([50.0, 10.0, 5.0])
        size = float(delta_e00(vehicle + true, vehicle))
        inside.append(found.interval[0] - 1e-6 <= size <= found.interval[1])
    assert np.mean(inside) > 0.906  # 95 % less two standard errors of 100 sets


def test_a_photo_that_disagrees_is_named_and_still_counts():
    odd = together([(0.5, 0.0, 0.0)] * 4 + [(4.5, 0.0, 0.0)])
    assert [outlier.name for outlier in odd.outliers] == ["photo 5"]
    assert odd.names == tuple(f"photo {index}" for index in range(1, 6))
    assert odd.delta_lab[0] == pytest.approx(1.3, abs=0.05)
    assert odd.outliers[0].delta_e00_without == pytest.approx(0.5, abs=0.1)
    said = next(finding for finding in odd.findings if finding.code == "photo-disagrees")
    assert "photo 5" in said.text()
    assert not said.spoils


def test_of_two_photos_that_disagree_neither_is_blamed():
    two = together([(0.0, 0.0, 0.0), (5.0, 0.0, 0.0)])
    assert two.outliers == ()
    assert [finding.code for finding in two.findings] == ["photos-disagree"]
    assert not together([(0.0, 0.0, 0.0), (0.3, 0.0, 0.0)]).findings


def test_photos_that_agree_are_not_called_outliers():
    rng, named = np.random.default_rng(2), 0
    for index in range(60):
        own = np.sqrt(1 - RULES.light_share) * np.array(USUAL_SD) * rng.standard_normal((4, 3))
        photos = [
            PhotoReading(str(i), Role.FIRST if i == 0 else Role.REPEAT, simulated(own[i], seed=index, count=300))
            for i in range(4)
        ]
        named += bool(combine(photos, RULES, FLOOR, rng).outliers)
    assert named <= 3  # 1 % of sets expected


def test_a_spoiled_photo_is_left_out_and_named():
    photos = [
        PhotoReading("good", Role.FIRST, simulated((0.5, 0, 0))),
        PhotoReading("bad", Role.REPEAT, simulated((6.0, 0, 0), findings=(SPOILED,))),
    ]
    result = combine(photos, RULES, FLOOR, np.random.default_rng(0))
    assert result.names == ("good",)
    assert result.left_out == ("bad",)
    assert not any(finding.spoils for finding in result.findings)
    assert "bad does not count: a reflection covers" in result.findings[0].text()


def test_only_spoiled_photos_stay_spoiled():
    photos = [PhotoReading("bad", Role.FIRST, simulated((0.5, 0, 0), findings=(SPOILED,)))]
    assert any(finding.spoils for finding in combine(photos, RULES, FLOOR, np.random.default_rng(0)).findings)


def test_shared_random_numbers_between_photos_change_nothing():
    apart = together([(1.0, 0.5, -0.3)] * 3)
    photos = [PhotoReading(str(i), Role.REPEAT, simulated((1.0, 0.5, -0.3), seed=0)) for i in range(3)]
    alike = combine(photos, RULES, FLOOR, np.random.default_rng(3))
    assert alike.delta_lab_sd == pytest.approx(apart.delta_lab_sd, rel=0.1)


def test_the_same_photos_give_the_same_draws():
    first, again = (together([(1.0, 0.5, -0.3)] * 3) for _ in range(2))
    assert np.array_equal(first.draws.card_lab, again.draws.card_lab)


def test_a_combined_result_can_be_decided():
    tolerances = files.load(Tolerances, "tolerances")
    result = together([(0.1, 0.0, 0.0)] * 3)
    limits = thresholds(tolerances, Junction.PANEL_GAP)
    assert decide(result.confidence, limits, tolerances).verdict is Verdict.GO


def test_no_photo_is_an_error():
    with pytest.raises(EvidenceError, match="take at least one"):
        combine([], RULES, FLOOR, np.random.default_rng(0))


def test_json_holds_the_result_and_no_draws():
    as_json = together([(1.0, 0.5, -0.3)] * 3).as_dict()
    assert as_json["photos"] == ["photo 1", "photo 2", "photo 3"]
    assert as_json["sentence"].startswith("From 3 photos together: difference ")
    assert "draws" not in as_json


def measured(name, use, value):
    """Return a photo of a set with simulated draws; of its calibration only the camera's own error is asked."""
    return MeasuredPhoto(name, use, (), simulated((value, 0, 0)), load_calibration())


def test_groups_are_combined_by_step_lamp_and_angle():
    photos = [
        measured("a", PhotoUse(Angle.FACE, Role.FIRST, "day"), 0.4),
        measured("b", PhotoUse(Angle.FACE, Role.REPEAT, "day"), 0.6),
        measured("c", PhotoUse(Angle.FLOP, Role.FIRST, "day"), 2.0),
        measured("d", PhotoUse(Angle.FACE, Role.FIRST, "lamp"), 3.0),
    ]
    groups = combine_groups(photos, RULES, np.random.default_rng(1))
    by_angle = angles_under(groups, "day")
    assert by_angle[Angle.FACE].names == ("a", "b")
    assert by_angle[Angle.FLOP].delta_lab[0] == pytest.approx(2.0)
    assert angles_under(groups, "lamp")[Angle.FACE].delta_lab[0] == pytest.approx(3.0)


def test_let_down_steps_come_in_rising_order():
    photos = [measured(str(coats), PhotoUse(mid_coats=coats), coats) for coats in (3.0, 1.0, 2.0)]
    groups = combine_groups(photos, RULES, np.random.default_rng(1))
    assert [step.coats for step in let_down_steps(groups, "one light")] == [1.0, 2.0, 3.0]


def test_on_a_rendered_panel_in_slanting_light_the_swap_is_right_and_one_photo_is_not():
    """Equal paints, light that falls by a quarter across the frame, the car marked on one side of the card only."""
    shop, rng = open_shop(), np.random.default_rng(5)
    scene = base_scene(shop, rng, "solid")
    pair = pair_at(shop, scene, pair_of(shop, scene), 45.0)
    pair = replace(pair, card=pair.vehicle, card_lab=pair.vehicle_lab)
    layout = replace(scene.layout, curvature_deg=(0.0, 0.0), card_tilt_deg=(0.0, 0.0), card_follows=1.0)
    scene = replace(scene, layout=layout, light=Light(linear=0.25, direction_deg=0.0))
    photos = [
        read(shop, replace(scene, layout=replace(layout, card_centre=(x, 0.4))), pair, role, role.value, rng, side)
        for x, side, role in ((0.62, "left", Role.FIRST), (0.50, "right", Role.SWAP))
    ]
    one, both = (combine(photos[:count], RULES, FLOOR, np.random.default_rng(0)) for count in (1, 2))
    assert abs(both.delta_lab[0]) < 0.15
    assert abs(both.delta_lab[0]) < abs(one.delta_lab[0])
