"""A second lamp: pairs that are metameric by their spectra break, pairs of one pigmentation do not."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from match import calibration as files
from match.check.verdict import Junction, Tolerances, thresholds
from match.colorimetry import delta_e00
from match.several.combine import PhotoReading, combine
from match.several.lights import LightShift, compare_lights
from match.several.photo_set import Role
from match.several.rules import load_several_rules
from match.tint.pigment import TonerFile, paint_reflectance, toner_set
from match.tint.viewing import lab_from_reflectance, viewing
from tests.benchmarks.several_simulated import simulated

RULES = load_several_rules()
LIMITS = thresholds(files.load(Tolerances, "tolerances"), Junction.PANEL_GAP)


def under(name, card, vehicle, sd=(0.2, 0.15, 0.15), seed=0, pigments=0.0):
    reading = simulated(np.subtract(card, vehicle), vehicle, sd, seed=seed, pigments=pigments)
    photo = PhotoReading(name, Role.FIRST, reading)
    return name, combine([photo], RULES.combining, 0.05, np.random.default_rng(0))


def compared(first, second):
    return compare_lights(first, second, LIMITS, RULES.lights, np.random.default_rng(1))


def spectra(metameric):
    """Return card and vehicle (31,): one colour under D65, of other pigments or of nearly the same formula."""
    file = files.load(TonerFile, "toners")
    shelf = toner_set(file)
    vehicle_toners = [shelf[name] for name in ("white", "red", "green", "black")]
    vehicle = paint_reflectance(vehicle_toners, np.array([50.0, 20.0, 20.0, 2.0]) / 92, file.optics)
    if not metameric:
        return paint_reflectance(vehicle_toners, np.array([50.0, 20.0, 20.0, 2.06]) / 92.06, file.optics), vehicle
    others = [shelf[name] for name in ("white", "violet", "yellow", "green")]
    wanted = lab_from_reflectance(vehicle)

    def miss(log_shares):
        shares = np.exp(log_shares)
        return lab_from_reflectance(paint_reflectance(others, shares / shares.sum(), file.optics)) - wanted

    shares = np.exp(least_squares(miss, np.log([0.4, 0.2, 0.2, 0.2]), bounds=(-12, 3)).x)
    return paint_reflectance(others, shares / shares.sum(), file.optics), vehicle


@pytest.fixture(scope="module")
def metamers():
    card, vehicle = spectra(metameric=True)
    daylight = [lab_from_reflectance(R) for R in (card, vehicle)]
    warm = [lab_from_reflectance(R, viewing("A")) for R in (card, vehicle)]
    return daylight, warm


def test_a_metameric_pair_is_seen_to_break(metamers):
    # The special metamerism index of CIE 15 for a pair that matches under D65 is its difference under the test lamp.
    daylight, warm = metamers
    assert delta_e00(*daylight) < 0.1
    index = float(delta_e00(*warm))
    assert index > 2
    found = compared(under("daylight", *daylight), under("a warm lamp", *warm, seed=1))
    assert found.shift is LightShift.SEEN
    assert found.interval[0] < index < found.interval[1]
    assert [finding.code for finding in found.findings] == ["light-breaks-match"]
    assert found.findings[0].spoils
    assert "match under daylight that breaks under a warm lamp" in found.sentence


def test_the_order_of_the_lamps_does_not_matter_for_what_breaks(metamers):
    daylight, warm = metamers
    found = compared(under("a warm lamp", *warm), under("daylight", *daylight, seed=1))
    assert "match under daylight that breaks under a warm lamp" in found.sentence


def test_a_pair_of_one_pigmentation_shows_no_break_and_no_proof():
    card, vehicle = spectra(metameric=False)
    daylight = [lab_from_reflectance(R) for R in (card, vehicle)]
    warm = [lab_from_reflectance(R, viewing("A")) for R in (card, vehicle)]
    found = compared(under("daylight", *daylight), under("a warm lamp", *warm, seed=1))
    assert found.shift is LightShift.NOT_SEEN
    assert not found.findings
    assert "cannot prove there is none" in found.sentence


def test_noisy_photos_tell_nothing(metamers):
    daylight, warm = metamers
    noisy = (1.2, 0.8, 0.8)
    card, vehicle = warm
    near = (vehicle + 0.4 * (card - vehicle), vehicle)
    found = compared(under("daylight", *daylight, sd=noisy), under("a warm lamp", *near, sd=noisy, seed=1))
    assert found.shift is LightShift.UNSURE
    assert "look yourself" in found.sentence


def test_what_a_camera_makes_of_other_pigments_under_both_lamps_hides_no_shift(metamers):
    daylight, warm = metamers
    found = compared(under("daylight", *daylight, pigments=1.0), under("a warm lamp", *warm, seed=1, pigments=1.0))
    plain = compared(under("daylight", *daylight), under("a warm lamp", *warm, seed=1))
    assert found.shift is LightShift.SEEN
    assert found.shift_sd == pytest.approx(plain.shift_sd, rel=0.1)


def test_a_large_difference_may_be_stretched_by_the_lamp_without_a_shift_being_sure():
    # A camera under a poor lamp stretches a difference of 6 by 15 % (one sd): a shift of 0.9 is no news.
    found = compared(under("day", (56, 10, 5), (50, 10, 5)), under("lamp", (56.9, 10, 5), (50, 10, 5), seed=1))
    assert found.shift is not LightShift.SEEN


def test_a_shift_between_two_misses_is_told_but_spoils_nothing():
    found = compared(under("day", (50, 16, 5), (50, 10, 5)), under("lamp", (50, 10, 12), (50, 10, 5), seed=1))
    assert found.shift is LightShift.SEEN
    assert [finding.spoils for finding in found.findings] == [False]


def test_shared_random_numbers_do_not_cancel(metamers):
    daylight, _ = metamers
    apart = compared(under("day", *daylight), under("lamp", *daylight, seed=1))
    alike = compared(under("day", *daylight), under("lamp", *daylight, seed=0))
    assert alike.shift_sd == pytest.approx(apart.shift_sd, rel=0.15)


def test_json_tells_both_lamps(metamers):
    daylight, warm = metamers
    as_json = compared(under("daylight", *daylight), under("a warm lamp", *warm)).as_dict()
    assert as_json["first"] == "daylight"
    assert as_json["second"] == "a warm lamp"
    assert as_json["shift"] == "seen"
