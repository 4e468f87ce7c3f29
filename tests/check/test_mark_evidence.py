"""What single pieces of evidence say of marks: odds as odds are defined, ratios by what they must not depend on."""

from dataclasses import replace
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from scipy import stats

from match.check.calibration_files import load_calibration
from match.check.marks import things
from match.check.marks.borders import Heights, Passes, passes
from match.check.marks.box import DIRECTIONS, QUIET, Box, _sharpest_border, look
from match.check.marks.code import MarkCode
from match.check.marks.evidence import Evidence
from match.check.marks.grey_slips import account_slip, value_slip
from match.check.marks.greys import Implied, _paint, accounts
from match.check.marks.judgement import conclude
from match.check.marks.paint_slips import _line_of
from match.check.marks.rules import normal_of
from match.check.marks.slip import Slip
from match.check.marks.terrain import SIDE_PX, terrains
from match.measure.sampling import Patch
from match.measure.tone import prior_curve
from match.photo.regions import Kind, Region

CALIBRATION = load_calibration()
RULES = CALIBRATION.marks
CARD, CAR = Region(Kind.CARD, 0, 0, 60, 60), Region(Kind.VEHICLE, 100, 0, 60, 60)
GREY = Region(Kind.GREY, 0, 100, 60, 60, 0.18)
HOURS = 8.0
ENOUGH = RULES.another_photo / (RULES.another_photo + HOURS)
"""The probability of a slip at which another photo costs as much as the wrong go that it may prevent."""


def _slip(probability, *regions, **changes):
    return Slip(MarkCode.ACROSS, regions or (CARD,), float(np.log(probability / (1.0 - probability))), **changes)


@pytest.mark.parametrize("probability", [0.001, 0.3, 0.9])
def test_one_slip_is_as_probable_as_its_odds_say_and_is_told_where_another_photo_costs_less(probability):
    judged = conclude([_slip(probability)], HOURS, RULES)
    assert judged.probability == pytest.approx(probability)
    assert bool(judged.slips) is (probability * HOURS > (1.0 - probability) * RULES.another_photo)


def test_slips_that_exclude_each_other_share_the_probability_with_right_marks():
    assert conclude([_slip(0.5), _slip(0.5, CAR)], HOURS, RULES).probability == pytest.approx(2.0 / 3.0)
    assert conclude([], HOURS, RULES).probability == 0.0


def test_the_likeliest_slip_is_told_first_and_after_it_those_of_other_marks_that_would_do_alone():
    likely, also, same, little = _slip(0.6, CAR), _slip(0.2, CARD), _slip(0.3, CAR), _slip(0.5 * ENOUGH, GREY)
    assert conclude([little, same, also, likely], HOURS, RULES).slips == (likely, also)


def test_a_persons_word_divides_the_odds_by_how_seldom_it_is_said_of_a_wrong_mark():
    """Bayes' rule in odds: the ratio of what is answered of a wrong mark and of a right one."""
    right, wrong = RULES.answered
    sure = _slip(0.5, replace(CARD, sure=(MarkCode.ACROSS,)))
    judged = conclude([sure], HOURS, RULES)
    assert judged.probability / (1.0 - judged.probability) == pytest.approx(wrong / right)
    one_of_two = conclude([_slip(0.5, replace(CARD, sure=(MarkCode.ACROSS,)), CAR)], HOURS, RULES)
    assert one_of_two.probability == pytest.approx(0.5)


def _spoken_figure(probability):
    """Return a slip of a grey's figure whose odds, with a person's word on it, are those of a probability."""
    right, wrong = RULES.answered_figure
    odds = probability / (1.0 - probability) * right / wrong
    answered = replace(GREY, sure=(MarkCode.GREY_VALUE.value,))
    return Slip(MarkCode.GREY_VALUE, (answered,), float(np.log(odds)), others=((0.9, float(np.log(odds))),))


def test_a_slip_that_a_word_left_possible_is_in_the_figures_or_in_the_probability():
    elsewhere = replace(CAR, sure=(MarkCode.CAR_ELSEWHERE.value,))
    likelier = Slip(MarkCode.CAR_ELSEWHERE, (elsewhere,), float(np.log(0.2 / 0.8)))
    little = _spoken_figure(0.4 * ENOUGH)
    for slips in ([little], [little, likelier], [_spoken_figure(0.4), likelier]):
        judged = conclude(slips, HOURS, RULES)
        counted = {step for step, _ in judged.other_steps}
        assert counted == {0.9} or judged.probability > 0.99 * 0.4 * ENOUGH


def test_a_greys_figure_that_the_figures_bear_bars_no_question_about_another_mark():
    told = conclude([_spoken_figure(0.45), _slip(0.1, CAR)], HOURS, RULES)
    assert [slip.regions for slip in told.asked] == [(CAR,)]


def test_a_slip_of_several_ways_shares_its_probability_among_them():
    steps, noise = (0.04, 0.18, 0.75), np.full(3, 0.07)
    curve = prior_curve(CALIBRATION.camera.tone, False)
    every = list(accounts(np.log(steps), steps, curve, noise, RULES.greys))
    greys = tuple(replace(GREY, x=100 * place, reflectance=step) for place, step in enumerate(steps))
    apart = Passes(np.zeros((3, 3)), np.zeros((3, 3)), np.zeros(3, dtype=np.intp))
    seen = Evidence(greys, tuple(_box(grey, 0.0, 0.0, 0.0) for grey in greys), apart, None, None, 480.0)
    for kind in ("swapped", "stray", "ladder"):
        ways = [each for each in every if each.kind == kind]
        assert sum(each.share for each in ways) == pytest.approx(1.0)
        shared, alone = (
            account_slip(seen, [0, 1, 2], each, 0.0, RULES).log_odds for each in (ways[0], replace(ways[0], share=1.0))
        )
        assert shared - alone == pytest.approx(np.log(1.0 / len(ways)))


def _box(region, *colour):
    return Box(region, np.array(colour), 0.0, 0.0)


@pytest.mark.parametrize("other", [(-1.2, 0.03, 0.02), (-2.4, -0.4, 0.3)])
def test_which_of_two_marks_is_named_first_changes_nothing(other):
    one, other = _box(CARD, -1.5, 0.05, -0.04), _box(CAR, *other)
    mirrored = np.array([8.0, 3.0, 1.0])
    for pair in ((one, other), (other, one)):
        swapped = pair[::-1]
        assert things.card_is_car(*pair, 2.0, 480.0, RULES.colour) == pytest.approx(
            things.card_is_car(*swapped, 2.0, 480.0, RULES.colour)
        )
        assert things.paint_is_reference(*pair, 480.0, RULES.colour) == pytest.approx(
            things.paint_is_reference(*swapped, 480.0, RULES.colour)
        )
        parts = (1.0, 480.0, mirrored, RULES.border, RULES.colour, RULES.tail)
        assert things.two_parts(*pair, *parts) == pytest.approx(things.two_parts(*swapped, *parts))


@pytest.mark.parametrize("apart", [(0.25, 0.0, 0.0), (0.0, 0.08, 0.0), (0.0, 0.0, -0.08)])
def test_marks_that_show_the_same_lie_on_one_surface_sooner_than_marks_that_differ(apart):
    one, same, other = (
        _box(CARD, -1.5, 0.0, 0.0),
        _box(CAR, -1.5, 0.0, 0.0),
        _box(CAR, *(np.array(apart) - [1.5, 0, 0])),
    )
    alike, unlike = (things.card_is_car(one, each, 2.0, 480.0, RULES.colour) for each in (same, other))
    assert alike > unlike + 0.3


@pytest.mark.parametrize("brightness", [0.0, 1.7])
def test_what_two_things_differ_by_is_a_density_whose_colour_sums_to_one(brightness):
    """The sum over all colours is the density of brightness alone, scipy's normal one."""
    places = np.linspace(-3.0, 3.0, 121)
    every = [
        things._two_things(np.array([brightness, red, blue]), 0.05, RULES.colour) for red in places for blue in places
    ]
    assert np.sum(every) * (places[1] - places[0]) ** 2 == pytest.approx(
        stats.norm.pdf(brightness, 0.0, RULES.colour.things), rel=1e-3
    )


@pytest.mark.parametrize("axis", [1, 2])
def test_a_cast_to_one_side_says_as_much_as_to_the_other(axis):
    cast = np.eye(3)[axis] * 0.2
    either = [things.not_neutral(Box(GREY, sign * cast, 0.0, 0.0), RULES.colour) for sign in (1.0, -1.0)]
    assert either[0] == pytest.approx(either[1])
    assert either[0] > things.not_neutral(_box(GREY, 0.0, 0.0, 0.0), RULES.colour)


def test_a_density_with_a_covariance_is_that_of_scipy():
    covariance = np.array([[0.3, 0.1, 0.0], [0.1, 0.2, 0.05], [0.0, 0.05, 0.4]])
    difference = np.array([0.3, -0.2, 0.5])
    expected = stats.multivariate_normal.pdf(difference, np.zeros(3), covariance)
    assert normal_of(difference, covariance) == pytest.approx(expected)


def test_two_car_marks_that_differ_as_what_they_mirror_are_doubted_less_the_more_they_mirror():
    along = np.array([60.0, 10.0, -15.0])
    pair = _box(CAR, *(0.01 * along)), _box(replace(CAR, x=200), 0.0, 0.0, 0.0)
    bright, dark = (
        things.two_parts(*pair, 0.1, 480.0, mirrored, RULES.border, RULES.colour, RULES.tail)
        for mirrored in (along / 100.0, along)
    )
    assert dark < bright - 1.0
    far = _box(CAR, 1.5, 0.5, 0.5), pair[1]
    assert things.two_parts(*far, 2.5, 480.0, along / 100.0, RULES.border, RULES.colour, RULES.tail) > 0.0
    assert bright > things.two_parts(pair[1], pair[1], 0.1, 480.0, along, RULES.border, RULES.colour, RULES.tail)


def test_of_two_car_marks_one_may_mirror_a_lamp():
    """A dark paint with 3 % more mirrored: by far more than two parts of a room make, and more than no lamp allows."""
    along = np.array([60.0, 10.0, -15.0])
    pair = _box(CAR, *(0.03 * along)), _box(replace(CAR, x=200), 0.0, 0.0, 0.0)
    with_lamp, without = (
        things.two_parts(*pair, 0.1, 480.0, along, RULES.border, replace(RULES.colour, veil_other=share), RULES.tail)
        for share in (RULES.colour.veil_other, 0.0)
    )
    assert with_lamp < without - 2.0


@pytest.mark.parametrize("log_step", [0.02, 0.1])
def test_one_step_of_the_codes_is_no_border_and_many_are(log_step):
    def seen(steps):
        linear = np.full((96, 96, 3), 0.2)
        linear[:, 40:] *= np.exp(steps * log_step)
        box = look(Patch(CARD, linear, linear, log_step=np.full(3, log_step)))
        assert box.jump == pytest.approx(steps * log_step, rel=0.05)
        return things.across(box, RULES.across, RULES.colour, RULES.tail)

    assert seen(1) < 0.0
    assert seen(20) > 1.0


@pytest.mark.parametrize("side", [30, 60, 240])
def test_a_border_through_the_middle_is_seen_in_a_small_box_as_in_a_large_one(side):
    linear = np.full((side, side, 3), 0.2)
    linear[:, side // 2 :] = 0.1
    seen = look(Patch(CARD, linear, linear))
    assert seen.jump == pytest.approx(np.log(2.0), rel=0.05)
    assert things.across(seen, RULES.across, RULES.colour, RULES.tail) > 2.0


@pytest.mark.parametrize("mirrored", range(6))
def test_an_edge_that_slants_a_little_is_seen_through_flecks_that_gloss_mirrors(mirrored):
    """A card lies as it was laid on: eight degrees off, its white rim cuts a corner off the box."""
    y, x = np.mgrid[-55:55, -100:100] + 0.5
    flecks = cv2.GaussianBlur(np.random.default_rng(mirrored).standard_normal(x.shape), (0, 0), 14.0) > 0.0
    beyond = x * np.sin(np.radians(8.0)) - y * np.cos(np.radians(8.0))
    level = 0.02 * np.exp(0.3 * flecks) * np.where(beyond > np.quantile(beyond, 0.78), 8.0, 1.0)
    linear = np.repeat(level[..., None], 3, axis=2)
    seen = look(Patch(CARD, linear, linear))
    assert seen.jump_sd > 10.0
    assert things.across(seen, RULES.across, RULES.colour, RULES.tail) > 3.0


@pytest.mark.parametrize(("rows", "columns"), [(24, 17), (5, 24), (4, 4)])
def test_the_largest_jump_of_all_directions_is_that_of_profiles_taken_one_by_one(rows, columns):
    """Against the definition in plain steps: bins one cell wide, pairs of them, less the usual jump of a profile.

    That is no less than a quiet direction shows.
    """
    cells = np.random.default_rng(rows).normal(0.0, 0.02, (rows, columns, 3))
    cells[:, columns // 2 :, 1] += 0.1
    y, x = np.mgrid[:rows, :columns]
    seen = []
    for turn in np.arange(DIRECTIONS) * np.pi / DIRECTIONS:
        along = (x - (columns - 1) / 2) * np.cos(turn) + (y - (rows - 1) / 2) * np.sin(turn)
        bins = np.floor(along - along.min() + 1e-9).astype(int)
        counts = np.bincount(bins.ravel())
        profile = np.array([cells[bins == k].mean(axis=0) for k in np.flatnonzero(counts >= 0.4 * counts.max())])
        if len(profile) < 6:
            continue
        pairs = (profile[1:] + profile[:-1]) / 2
        jumps = np.abs(pairs[3:] - pairs[:-3])
        edge = max(1, round(len(profile) / 8) - 1)
        seen.append((np.median(jumps, axis=0), jumps[edge:-edge] if len(jumps) > 2 * edge else jumps))
    best = (0.0, 0.0)
    quiet = np.quantile([usual for usual, _ in seen], QUIET, axis=0) if seen else 0.0
    for usual, inner in seen:
        least = np.maximum(usual, quiet)
        ratios = (inner - least) / np.maximum(least, 0.006)
        if ratios.max() > best[1]:
            best = (inner.ravel()[ratios.argmax()], ratios.max())
    assert _sharpest_border(cells, 0.006) == pytest.approx(best)


def test_the_sharper_the_sharpest_jump_in_a_box_the_more_it_speaks_for_a_border():
    usual, border = RULES.across.one[0], RULES.across.two[0]
    boxes = (Box(CARD, np.zeros(3), 0.1, float(np.exp(size))) for size in np.linspace(usual, border, 40))
    ratios = [things.across(box, RULES.across, RULES.colour, RULES.tail) for box in boxes]
    assert (np.diff(ratios) > 0.0).all()
    assert ratios[0] < 0.0 < ratios[-1]
    smooth = things.across(Box(CARD, np.zeros(3), 0.0, 0.0), RULES.across, RULES.colour, RULES.tail)
    assert smooth == pytest.approx(ratios[0])


@pytest.mark.parametrize(("side", "looked_at"), [(960, SIDE_PX), (SIDE_PX, SIDE_PX), (200, 200)])
def test_a_large_preview_is_made_smaller_and_a_small_one_is_looked_at_as_it_is(side, looked_at):
    fine, coarse = terrains(np.full((side // 2, side, 3), 128, dtype=np.uint8), 4000, 2000)
    assert fine.steps.shape[:2] == (looked_at // 2, looked_at)
    assert coarse.steps.shape[:2] == (looked_at // 4, looked_at // 2)
    assert fine.scale == pytest.approx((looked_at / 4000, looked_at / 4000))


def test_an_edge_that_shows_faintly_but_on_one_side_is_a_line_and_no_other_thing():
    card, car = Region(Kind.CARD, 170, 120, 80, 100), Region(Kind.VEHICLE, 300, 120, 60, 100)
    picture = np.full((300, 480, 3), 110.0) + np.random.default_rng(3).normal(0, 1.5, (300, 480, 1))
    for edge in (np.s_[100:240, 150:153], np.s_[97:100, 150:273], np.s_[240:243, 150:273]):
        picture[edge] -= 1.5
    picture[100:240, 270:273] -= 25.0
    shown = np.clip(picture, 0, 255).astype(np.uint8)
    seen = passes([Heights(land, [card, car]) for land in terrains(shown, 480, 300)], 1.8)
    assert 0.3 < seen.between[0, 1] < 1.0
    assert np.isfinite(seen.lines[0, 1])


def test_a_car_mark_that_is_parted_from_the_card_says_nothing_of_a_line_whatever_its_like_says():
    regions = (CARD, CAR, replace(CAR, x=200))
    lines = np.full((3, 3), np.nan)
    lines[0, 1] = lines[1, 0] = 1.5
    boxes = tuple(_box(region, -1.0, 0.0, 0.0) for region in regions)
    apart = Passes(np.zeros((3, 3)), lines, np.zeros(3, dtype=np.intp))
    seen = Evidence(regions, boxes, apart, None, None, 480.0)
    assert np.isnan(_line_of(seen, 0, 2, RULES.colour))
    assert _line_of(seen, 0, 1, RULES.colour) == 1.5


def test_what_a_grey_paint_reflects_is_a_density_that_sums_to_one():
    """Any density's integral; far from any paint it is small, but never nothing: no photo is impossible."""
    levels = np.linspace(-12.0, 6.0, 3001)
    density = [_paint(np.full(3, level), RULES.frame, 0.1) for level in levels]
    assert np.trapezoid(density, levels) == pytest.approx(1.0, abs=0.01)
    assert 0.0 < _paint(np.full(3, 30.0), RULES.frame, 0.1) < 1e-3


def test_another_value_of_the_only_grey_is_likely_where_it_makes_frame_and_paint_usual():
    """Of a usual scene all is read 4.2 times too light, by a grey of 18 % that is said to be one of 75 %."""
    light = np.log(0.7547 / 0.18)
    paint = np.log([0.2, 0.15, 0.1]) + light
    around = Implied(light - 0.3, light - 2.0, -1.7, (paint,), False, False, 0.1)

    def slip(stated, *beside):
        seen = SimpleNamespace(regions=(replace(GREY, reflectance=stated),), around=SimpleNamespace(beside=(beside,)))
        return value_slip(seen, [0], around, RULES)

    assert slip(0.7547).values == {"percent": 75.5, "likely": 18.0}
    assert slip(0.7547).mend[0].reflectance == 0.18
    # the light end of a step card has darker steps beside it, so that its figure of 18 % was left standing
    alone, darker = (dict(slip(0.18, *beside).others)[0.75] for beside in ((), (-1.4,)))
    assert darker > alone + np.log(5.0)
