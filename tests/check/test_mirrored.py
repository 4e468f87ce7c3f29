"""What dark paint mirrors: an answer brings the measurement to the paint's own colour, no answer leaves it unsure."""

from dataclasses import replace

import numpy as np
import pytest
from coloraide import Color

from match.check.calibration_files import load_calibration
from match.check.mirrored import Mirrored, mirrored_note, seen_at, surroundings, with_mirrored
from match.check.settings import CheckSettings
from tests.support.checked import check_photo
from tests.support.synthetic import FlatScene

CALIBRATION = load_calibration()
CARD, CAR = (0.016, 0.013, 0.013), (0.012, 0.012, 0.015)
FRESNEL = 0.04  # ((n - 1) / (n + 1))^2 at normal incidence, n = 1.5 (Fresnel's equations)


def _true_difference():
    # coloraide: CIEDE2000 of the two paints without anything mirrored in them
    return Color("srgb-linear", CARD).delta_e(Color("srgb-linear", CAR), method="2000")


def _measured(mirrored_reflectance, said):
    """Photograph the pair under surroundings of this reflectance, which lie on both paints; three greys, raw light."""
    veil = FRESNEL * mirrored_reflectance
    scene = FlatScene(
        card=tuple(np.add(CARD, veil)), vehicle=tuple(np.add(CAR, veil)), greys=(0.04, 0.18, 0.75), levels=65535
    )
    calibration = with_mirrored(CALIBRATION, said)
    return check_photo(scene.photo(), scene.marks(), CheckSettings(), calibration).measurement


@pytest.mark.parametrize("said", list(Mirrored))
def test_the_right_answer_gives_the_paint_its_own_difference(said):
    measurement = _measured(surroundings(said).reflectance, said)
    assert measurement.delta_e00 == pytest.approx(_true_difference(), rel=0.12)
    low, high = measurement.interval
    assert low <= _true_difference() <= high


def test_without_an_answer_a_dark_room_is_inside_the_interval_and_a_white_wall_is_warned_of():
    room = _measured(surroundings(Mirrored.ROOM).reflectance, None).interval
    assert room[0] <= _true_difference() <= room[1]
    bright = surroundings(Mirrored.BRIGHT).reflectance
    unsaid, said = _measured(bright, None), _measured(bright, Mirrored.BRIGHT)
    assert abs(said.delta_e00 - _true_difference()) < 0.5 * abs(unsaid.delta_e00 - _true_difference())
    assert "mirrors" in [finding.code for finding in unsaid.findings]


def test_light_paint_does_not_ask():
    scene = FlatScene(card=(0.5, 0.45, 0.4), vehicle=(0.48, 0.45, 0.4))
    found = check_photo(scene.photo(), scene.marks(), CheckSettings(), CALIBRATION)
    assert "mirrors" not in [finding.code for finding in found.warnings]


def test_an_answer_changes_the_fingerprint_and_is_told():
    prints = {with_mirrored(CALIBRATION, said).fingerprint for said in (None, *Mirrored)}
    assert len(prints) == 4
    assert with_mirrored(CALIBRATION, None) is CALIBRATION
    assert mirrored_note(None) == ()
    assert mirrored_note(Mirrored.BLACK) == ("Measured as paint that mirrors something black and matt, as you said.",)


def test_the_surroundings_lie_between_nothing_and_a_white():
    order = [surroundings(said).reflectance for said in (Mirrored.BLACK, Mirrored.ROOM, Mirrored.BRIGHT)]
    assert order == sorted(order)
    assert CALIBRATION.camera.errors.veil_most == pytest.approx(FRESNEL)
    middle = replace(CALIBRATION.camera.errors).veil_median / FRESNEL
    assert order[0] < middle < order[-1]


def test_a_photo_at_a_slant_has_more_of_the_veil():
    # Fresnel, n = 1.5: 4 % face-on, 17 % at 70 degrees
    usual = load_calibration()
    slant = seen_at(usual, 70.0, 1.5)
    ratio = slant.camera.errors.veil_median / usual.camera.errors.veil_median
    assert ratio == pytest.approx(0.1710 / 0.04, rel=1e-3)
    assert slant.camera.errors.veil_most == pytest.approx(0.1710, rel=1e-3)
    assert slant.fingerprint != usual.fingerprint
    assert seen_at(usual, 0.0, 1.5).camera == usual.camera
