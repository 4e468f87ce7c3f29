"""What a step takes away, held against the photo that has taken it and against how light behaves."""

from dataclasses import replace

import numpy as np
import pytest

from match import calibration as files
from match.check.calibration_files import load_calibration
from match.check.check import errors_of
from match.check.next_step import NextStepFile
from match.check.settings import CheckSettings
from match.check.step_errors import StepCode, _beside, _left, errors_after, one_sided
from match.measure.sampling import Sample
from match.measure.uncertainty import repeated_covariance
from match.photo.regions import Kind, Region
from tests.support.checked import check_photo
from tests.support.synthetic import FlatScene

CALIBRATION = load_calibration()
ASSUMED = files.load(NextStepFile, "next_steps").assumed


def _measured(both_sides=True, **changes):
    scene = FlatScene(card=(0.212, 0.106, 0.106), gradient=(0.5, 0.2), noise=0.05, **changes)
    return check_photo(scene.photo(), scene.marks(both_sides), CheckSettings(draws=2000), CALIBRATION).measurement


@pytest.fixture(scope="module")
def one_side():
    return _measured(both_sides=False)


def _spread(draws):
    """Return the standard deviation of card minus car in L*, a*, b*."""
    return (draws.card_lab - draws.vehicle_lab).std(axis=0)


def _after(step, measured, assumed=ASSUMED):
    return errors_after(step, errors_of(measured, CALIBRATION), assumed, np.random.default_rng(2), 2000)


def _sample(kind, x, y, width, height):
    nothing = np.zeros(3)
    region = Region(kind, x, y, width, height)
    return Sample(region, np.zeros((1, 2)), np.ones((1, 3)), 0.0, 0.0, 0.0, 0.0, nothing, 0.0, nothing, nothing)


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize(("nearest", "further"), [((0, 90), (10, 20)), ((150, 80), (200, 10))])
def test_the_nearest_box_is_the_one_whose_middle_is_nearest(nearest, further, turned):
    def box(kind, start, length):
        return _sample(kind, 0, start, 40, length) if turned else _sample(kind, start, 0, length, 40)

    card, near, far = box(Kind.CARD, 100, 40), box(Kind.VEHICLE, *nearest), box(Kind.VEHICLE, *further)
    assert one_sided([card, near, far]) is near
    assert one_sided([card, far, near]) is near


def test_boxes_at_a_right_angle_from_the_card_lie_on_one_side_and_opposite_ones_do_not():
    card, right = _sample(Kind.CARD, 100, 100, 40, 40), _sample(Kind.VEHICLE, 160, 100, 40, 40)
    below, left = _sample(Kind.VEHICLE, 100, 200, 40, 40), _sample(Kind.VEHICLE, 0, 100, 40, 40)
    assert one_sided([card, right, below]) is right
    assert one_sided([card, right, below, left]) is None


def test_a_second_box_brings_what_it_brings_when_it_is_marked(one_side):
    both = _measured()
    foreseen = _after(StepCode.SECOND_CAR_BOX, one_side)
    assert _spread(foreseen) == pytest.approx(_spread(both.draws), rel=0.15)
    before, after = (np.diag(repeated_covariance(draws)) for draws in (one_side.draws, foreseen))
    assert (after < before).all()


def test_grey_steps_bring_what_they_bring_when_they_stand_there():
    lone, ladder = _measured(), _measured(greys=(0.18, ASSUMED.dark_step, ASSUMED.light_step))
    assert _spread(_after(StepCode.GREY_STEPS, lone)) == pytest.approx(_spread(ladder.draws), rel=0.25)


def test_where_levels_are_light_itself_a_grey_is_expected_at_its_share_of_the_first_ones_light(one_side):
    """What a matte surface sends back is proportional to its reflectance: so is defined what a reflectance is."""
    straight = replace(one_side.tone, mean=np.ones_like(one_side.tone.mean))
    light = _beside(one_side.light, straight, (0.02, 0.09, 0.36), 0.1)
    first = light.mean_log_level[2]
    assert light.mean_log_level[3:] - first == pytest.approx(np.log([[1 / 9] * 3, [1 / 2] * 3, [2.0] * 3]), abs=1e-3)


def test_where_no_light_is_as_even_as_asked_the_evenest_is_taken(one_side):
    evenest = min(CALIBRATION.camera.light.field_sd)
    least, none = (
        _after(StepCode.EVEN_LIGHT, one_side, replace(ASSUMED, even_field_sd=sd)) for sd in (evenest, 0.5 * evenest)
    )
    assert np.array_equal(least.card_lab, none.card_lab)


@pytest.mark.parametrize("step", [StepCode.LAY_AGAIN, StepCode.SWAP])
def test_laying_again_takes_nothing_off_what_the_camera_makes_of_pigments(one_side, step):
    pigments = np.random.default_rng(2).normal(0.0, 3.0, (len(one_side.draws.card_lab), 1)) * [0.0, 1.0, 0.0]
    draws = one_side.draws
    nothing = replace(draws, null_difference=draws.null_difference - draws.of_pigments, of_pigments=0.0 * pigments)
    nothing = replace(nothing, card_lab=draws.card_lab - draws.of_pigments)
    much = replace(nothing, card_lab=nothing.card_lab + pigments, of_pigments=pigments)
    much = replace(much, null_difference=nothing.null_difference + pigments)
    few, many = (_after(step, replace(one_side, draws=each)) for each in (nothing, much))
    added = (many.card_lab - many.vehicle_lab).var(axis=0) - (few.card_lab - few.vehicle_lab).var(axis=0)
    of_equal_colours = many.null_difference.var(axis=0) - few.null_difference.var(axis=0)
    for more in (added, of_equal_colours):
        assert more == pytest.approx([0.0, many.of_pigments[:, 1].var(), 0.0], abs=0.2)
    assert many.of_pigments[:, 1].var() == pytest.approx(9.0, rel=0.2)


@pytest.mark.parametrize("light", [0.0, 0.3, 1.0])
def test_laying_again_averages_all_but_the_light_and_a_swap_the_light_too(light):
    """Variances of means (any handbook): what is the same in every photo stays, what is new in each is shared out."""
    assert _left(1, 0, light) == pytest.approx(1.0)
    assert _left(4, 0, light) == pytest.approx(light + (1.0 - light) / 4.0)
    # half the difference of two means of n photos each, in which the light has the same sign, and cancels
    assert _left(1, 1, light) == pytest.approx((1.0 - light) / 2.0)
    assert _left(2, 2, light) == pytest.approx((1.0 - light) / 4.0)
