"""Wrong marks are found and named, right ones believed; the pictures' reflectances are known."""

from dataclasses import replace

import numpy as np
import pytest

from match.check.calibration_files import load_calibration
from match.check.marks.about_marks import CardAbout, no_card, one_surface
from match.check.marks.borders import LEVEL, Heights, passes
from match.check.marks.box import Box
from match.check.marks.code import ANSWERED, MarkCode, words_on
from match.check.marks.evidence import evidence
from match.check.marks.greys import Implied, accounts, only_grey_ratios, tone_fit
from match.check.marks.judgement import conclude, told_of, weigh
from match.check.marks.mend import changes, mend_words
from match.check.marks.slip import Slip
from match.check.marks.surround import surround
from match.check.marks.terrain import terrains
from match.check.marks.things import across, no_line, one_paint_in_two_lights
from match.check.marks_file import marks_from_table
from match.check.measuring import read_patch
from match.check.settings import CheckSettings
from match.check.verdict import Verdict
from match.measure.finding import Finding
from match.measure.light import TO_COMPONENTS
from match.measure.tone import prior_curve
from match.photo.load import load
from match.photo.region_table import region_table
from match.photo.regions import EVERY_QUESTION, Kind, Region
from tests.support.checked import check_photo
from tests.support.flat_pictures import FIRST, GREYS, SECOND, picture
from tests.support.synthetic import FlatScene, srgb_decode, srgb_encode

CALIBRATION = load_calibration()
FEW = CheckSettings(draws=400)
ON_THE_RIGHT = Region(Kind.VEHICLE, 300, 120, 60, 100)
STEPS = (0.04, 0.18, 0.75)
SCENE = FlatScene(card=(0.24, 0.11, 0.1), greys=STEPS)


def _checked(marks, scene=SCENE):
    return check_photo(scene.photo(), marks, FEW, CALIBRATION)


def _codes(result):
    return [finding.code.value for finding in result.warnings if finding.spoils]


def _greys(*reflectances):
    """Return the right marks with other reflectances told for the steps."""
    told = iter(reflectances)
    return [replace(m, reflectance=next(told)) if m.kind is Kind.GREY else m for m in SCENE.marks()]


def _heights(picture, marks):
    height, width = picture.shape[:2]
    shown = np.clip(picture, 0, 255).astype(np.uint8)
    return [Heights(land, marks) for land in terrains(shown, width, height)]


def _surround(land):
    rules = CALIBRATION.marks
    return surround(land, 1.8, rules.surround, rules.outline, rules.unmarked)


def _seen(photo, marks):
    size = (photo.width, photo.height)
    return evidence([read_patch(photo, mark) for mark in marks], photo.preview(960), size, CALIBRATION.marks)


def _odds(seen, code, rules=CALIBRATION.marks):
    """Return the log odds of a slip of a card that differs from the car by a CIEDE2000 of 8."""
    slips = weigh(seen, prior_curve(CALIBRATION.camera.tone, False), 0.05, 8.0, rules)
    (slip,) = (each for each in slips if each.code is code)
    return slip.log_odds


def _one_surface(border, line, **seen):
    """Return the ratio for one surface, where nothing but what is given is seen about the card's mark."""
    nothing = {"framed": 0.0, "parted": 0.0, "enclosed": 0.0, "ways": np.nan, "another": False}
    rules, says_nothing = CALIBRATION.marks, replace(CALIBRATION.marks.unmarked, seen=(0.5, 0.5))
    return one_surface(border, line, CardAbout(**nothing | seen), rules.border, rules.surround, says_nothing)


def test_right_marks_are_believed():
    assert _codes(_checked(SCENE.marks())) == []


@pytest.mark.parametrize("told", [(0.75, 0.18, 0.04), (0.18, 0.04, 0.75), (0.04, 0.75, 0.18)])
def test_swapped_steps_are_named_and_the_mend_is_right(told):
    result = _checked(_greys(*told))
    assert result.verdict is Verdict.RETAKE
    assert _codes(result) == ["mark-greys-swapped"]
    assert {r.reflectance for r in result.measurement.mended if r.kind is Kind.GREY} == set(STEPS)
    assert _codes(_checked(result.measurement.mended)) == []


@pytest.mark.parametrize("kind", [Kind.CARD, Kind.VEHICLE])
def test_a_grey_mark_on_the_paint_is_a_retake_even_where_the_paint_is_as_grey(kind):
    scene = replace(SCENE, card=(0.17, 0.17, 0.17), vehicle=(0.18, 0.18, 0.18))
    box = Region(Kind.GREY, 245, 110, 45, 100, 0.18) if kind is Kind.CARD else Region(Kind.GREY, 350, 240, 90, 90, 0.18)
    card = Region(Kind.CARD, 190, 110, 45, 100)
    marks = [card, *(m for m in scene.marks() if m.kind is Kind.VEHICLE), box]
    assert _codes(_checked(marks, scene)) == ["mark-grey-on-paint"]


def test_of_two_grey_marks_the_one_on_the_paint_is_mended_by_leaving_it_out():
    scene = replace(SCENE, vehicle=(0.3, 0.3, 0.3), greys=(0.18,))
    on_car = Region(Kind.GREY, 350, 240, 90, 90, 0.3)
    result = _checked([*scene.marks(), on_car], scene)
    assert result.verdict is Verdict.RETAKE
    assert result.measurement.mended == tuple(scene.marks())


def test_a_grey_reference_on_a_car_of_its_own_grey_is_believed():
    scene = FlatScene(card=(0.17, 0.17, 0.17), vehicle=(0.18, 0.18, 0.18))
    assert "mark-grey-on-paint" not in _codes(_checked(scene.marks(), scene))


def test_card_and_car_marks_on_one_surface_are_a_retake():
    on_car = [Region(Kind.CARD, 350, 240, 90, 90), *(m for m in SCENE.marks() if m.kind is not Kind.CARD)]
    assert _codes(_checked(on_car)) == ["mark-one-surface"]


def test_a_body_line_between_two_marks_on_the_car_is_no_edge_of_a_card():
    photo = SCENE.photo()
    photo.image[226:229, :] *= 0.95  # from side to side, below card and car boxes
    on_car = [Region(Kind.CARD, 380, 240, 70, 90), *(m for m in SCENE.marks() if m.kind is not Kind.CARD)]
    (code,) = _codes(check_photo(photo, on_car, FEW, CALIBRATION))
    assert code in {"mark-one-surface", "mark-no-card"}


@pytest.mark.parametrize("ratio", [0.9, 0.97])
def test_a_card_mark_on_the_car_beyond_a_gap_shows_no_edges_of_a_card(ratio):
    """The neighbouring panel, of another paint or of one that shines a little less, is no card."""
    photo = SCENE.photo()
    photo.image[:, 320:326] = 0.03
    photo.image[:, 326:] = np.round(photo.image[:, 326:] * np.array([ratio, 0.97, 0.97]) * 255) / 255
    beyond = [replace(m, x=350, y=100) if m.kind is Kind.CARD else m for m in SCENE.marks(both_sides=False)]
    assert "mark-no-card" in _codes(check_photo(photo, beyond, FEW, CALIBRATION))


def test_edges_of_a_card_are_missed_the_less_the_nearer_card_and_car_are():
    """With no border between the two an equal card shows none; with paint on all ways out of it, it has them."""
    rules = CALIBRATION.marks.surround
    on_car = no_card(0.1, 0.0, 0.25, 2.3, rules)
    assert on_car > 3.0
    assert on_car > no_card(0.1, 0.0, 0.25, 0.1, rules) + 2.0
    assert on_car > no_card(0.1, 0.0, 1.0, 2.3, rules) + 4.0
    assert no_card(2.0, 0.0, 0.0, 2.3, rules) < -1.0
    assert no_card(0.1, 1.0, 0.0, 2.3, rules) < -1.0


def test_a_card_without_edges_is_believed_by_ways_that_lead_to_the_car_and_the_sooner_the_nearer_one_car_mark_is():
    seen = _seen(SCENE.photo(), SCENE.marks())
    none = np.full_like(seen.around.ways, np.nan)
    bare = replace(seen.around, framed=np.zeros_like(none), enclosed=np.zeros_like(none), ways=none, kin=none)
    led = [replace(bare, **{name: np.ones_like(none)}) for name in ("ways", "kin")]
    near = seen.apart.between.copy()
    near[0, 1] = near[1, 0] = 0.1
    joined = replace(seen, around=bare, apart=replace(seen.apart, between=near))
    odds = _odds(replace(seen, around=bare), MarkCode.NO_CARD)
    assert all(_odds(replace(seen, around=each), MarkCode.NO_CARD) < odds - 4.0 for each in led)
    assert _odds(joined, MarkCode.NO_CARD) < odds - 2.0


@pytest.mark.parametrize(("enclosed", "framed", "doubted"), [(0.0, 0.3, True), (0.25, 1.0, True), (0.6, 3.0, False)])
def test_a_line_that_encloses_nothing_parts_two_marks_on_the_car(enclosed, framed, doubted):
    assert (_one_surface(-1.7, -1.45, enclosed=enclosed, framed=framed, parted=0.9) > 0.0) is doubted


def test_a_car_mark_within_a_card_whose_outline_is_seen_is_on_the_card():
    within, beyond = (_one_surface(1.5, 1.0, framed=4.0, parted=parted) for parted in (0.0, 1.0))
    assert within > 2.0
    assert beyond < 0.0


def test_equal_colours_with_an_edge_between_are_believed():
    scene = FlatScene(greys=STEPS)
    assert _checked(scene.marks(), scene).verdict is Verdict.GO


def test_a_box_half_off_the_card_is_named():
    half = [replace(m, x=m.x + 60) if m.kind is Kind.CARD else m for m in SCENE.marks(both_sides=False)]
    result = _checked(half)
    assert result.verdict is Verdict.RETAKE
    assert "mark-across" in _codes(result) or "mark-one-surface" in _codes(result)


def test_a_finding_names_both_boxes():
    text = _checked(_greys(0.75, 0.18, 0.04)).said().reason
    assert "65,265" in text
    assert "245,265" in text


def test_a_pass_between_two_marks_is_the_step_that_no_way_avoids():
    picture = np.full((120, 160, 3), 100, dtype=np.uint8)
    picture[:, 80:] = 140
    marks = [
        Region(Kind.CARD, 10, 10, 40, 40),
        Region(Kind.VEHICLE, 10, 70, 40, 40),
        Region(Kind.VEHICLE, 100, 10, 40, 40),
    ]
    between = passes(_heights(picture, marks), 1.8).between
    assert between[0, 1] < 0.3
    assert between[0, 2] > 2.0
    picture[:, 80:] = 106  # low enough to be measured in full
    whole = passes(_heights(picture, marks), 1.8).between[0, 2]
    picture[40:80, 74:86] = 103  # two steps of half the height are the way that is taken
    halved = passes(_heights(picture, marks), 1.8).between[0, 2]
    assert whole - halved > np.log(2.0) - LEVEL


def test_a_pass_is_as_high_whatever_was_looked_at_before_and_asked_for_in_part():
    marks = SCENE.marks()
    lands = terrains(SCENE.photo().preview(960), *SCENE.size)
    every, part = (passes([Heights(land, marks) for land in lands], 1.8, *asked) for asked in ((), ((0.1, 2.3),)))
    assert part.between.clip(0.1, 2.3) == pytest.approx(every.between.clip(0.1, 2.3))
    # a shop's own files may ask for so little
    least = passes([Heights(land, marks) for land in lands], 1.8, (0.1, 0.5))
    for lines in (part.lines, least.lines):
        assert lines == pytest.approx(every.lines, nan_ok=True)
    last = Heights(lands[0], marks)
    for one in range(len(marks)):
        for other in range(one):
            assert last.lowest_pass(one, other) == Heights(lands[0], marks).lowest_pass(one, other)


def test_the_greys_are_told_from_their_reverse_by_the_tone_prior():
    curve = prior_curve(CALIBRATION.camera.tone, False)
    levels, noise = np.log(np.array(STEPS)), np.full(3, 0.07)
    right = tone_fit(levels, STEPS, curve, noise).log_density
    others = list(accounts(levels, STEPS, curve, noise, CALIBRATION.marks.greys))
    assert {other.kind for other in others} == {"swapped", "stray", "ladder"}
    assert all(other.log_density < right for other in others)


def test_what_was_mended_is_said():
    before = tuple(_greys(0.75, 0.18, 0.04))
    after = tuple(m for m in _greys(0.04, 0.18, 0.04) if m.x != 245)
    words = mend_words(changes(before, after))
    assert words == "the grey region at 65,265 as 4 %, the grey region at 245,265 left out"


def test_a_card_whose_edge_shows_on_one_side_only_is_told_from_two_places_on_one_card():
    card, cars = Region(Kind.CARD, 170, 120, 80, 100), (Region(Kind.VEHICLE, 60, 120, 60, 100), ON_THE_RIGHT)
    noise = np.random.default_rng(3).normal(0, 1.5, (300, 480, 1))
    picture = np.full((300, 480, 3), 110.0) + noise
    picture[100:240, 270:273] -= 25  # all that is seen of a card of the car's own colour: a shadow at its right
    seen = passes(_heights(picture, [card, *cars]), 1.8)
    rules = CALIBRATION.marks.border
    assert seen.between[0, 1:].max() < 0.5
    assert no_line(float(seen.lines[0, 2]), rules) < -1.0
    assert no_line(float(seen.lines[0, 1]), rules) > 0.0


def test_a_thing_between_two_marks_of_one_surface_is_no_edge_of_a_card():
    card, car = Region(Kind.CARD, 60, 120, 60, 100), ON_THE_RIGHT
    picture = np.full((300, 480, 3), 110.0) + np.random.default_rng(3).normal(0, 1.5, (300, 480, 1))
    picture[100:240, 150:280] -= 25
    seen = passes(_heights(picture, [card, car]), 1.8)
    assert seen.between[0, 1] < 0.5
    assert np.isneginf(seen.lines[0, 1])


def _other_panel(colour):
    """Return the scene's photo with another thing across its foot, and a mark on that."""
    scene = FlatScene(card=(0.24, 0.11, 0.1))
    photo = scene.photo()
    noise = 1.0 + 0.01 * np.random.default_rng(4).standard_normal((20, 480, 1))
    photo.image[340:] = np.round(srgb_encode(np.array(colour) * noise) * 255) / 255
    return photo, [*(m for m in scene.marks() if m.kind is not Kind.VEHICLE), Region(Kind.VEHICLE, 220, 343, 150, 14)]


def test_a_lone_car_mark_on_what_is_not_about_the_card_is_named():
    photo, marks = _other_panel((0.1, 0.09, 0.05))
    result = check_photo(photo, marks, FEW, CALIBRATION)
    assert "mark-car-not-about" in _codes(result)
    assert not result.figures_hold


@pytest.mark.parametrize("ground", [0.02, 0.3, 0.85])
@pytest.mark.parametrize("greys", [GREYS, {0.18: GREYS[0.18]}])
def test_a_removed_part_laid_beside_the_card_on_a_bench_is_believed(ground, greys):
    photo = load(picture((0.31, 0.085, 0.062), (0.30, 0.08, 0.06), ground=(ground,) * 3, greys=greys), "bench.png")
    marks = [Region(Kind.GREY, x + 15, y + 15, 80, 80, step) for step, (x, y) in greys.items()]
    marks += [Region(Kind.CARD, *FIRST), Region(Kind.VEHICLE, *SECOND)]
    assert not [code for code in _codes(check_photo(photo, marks, FEW, CALIBRATION)) if code.startswith("mark-")]


def test_the_paint_about_the_card_is_seen_and_another_panel_is_not():
    photo, marks = _other_panel((0.1, 0.09, 0.05))
    marks.insert(0, Region(Kind.VEHICLE, 60, 110, 100, 100))
    land = Heights(terrains(photo.preview(960), 480, 360)[0], marks)
    seen = _surround(land)
    kinds = [mark.kind for mark in marks]
    card = kinds.index(Kind.CARD)
    assert seen.car_paint[card, 0] > 0.5
    assert seen.car_paint[card, len(marks) - 1] == 0.0
    assert seen.of([card, 0]).car_paint[0, 1] == seen.car_paint[card, 0]


def test_a_small_mark_in_the_middle_of_a_large_card_is_believed_by_the_ways_that_lead_out_of_the_card_to_the_car():
    scene = FlatScene(card=(0.24, 0.11, 0.1))
    photo = scene.photo()
    card, *others = scene.marks(both_sides=False)
    small = [replace(card, x=226, y=148, width=28, height=24), *others]
    land = Heights(terrains(photo.preview(960), *scene.size)[0], small)
    seen = _surround(land)
    assert seen.car_paint[0, 1] < 0.05
    assert seen.ways[0] > 0.75
    assert not [code for code in _codes(check_photo(photo, small, FEW, CALIBRATION)) if code.startswith("mark-")]
    on_car = [replace(small[1], kind=Kind.CARD, width=40), replace(small[1], x=110, width=40), *others[1:]]
    land = Heights(terrains(photo.preview(960), *scene.size)[0], on_car)
    assert np.isnan(_surround(land).ways[0])


def test_the_ways_out_of_a_card_lead_to_any_of_the_car_marks_and_those_out_of_a_mark_on_the_car_to_none():
    scene = FlatScene(card=(0.24, 0.11, 0.1))
    photo, marks = scene.photo(), scene.marks()
    photo.image[:96, 236:244] = photo.image[224:, 236:244] = 0.05
    seen = _surround(Heights(terrains(photo.preview(960), *scene.size)[0], marks))
    assert seen.ways[0] > 0.75
    assert max(seen.car_paint[0, 1:3]) < 0.6
    far, led = (_one_surface(-3.0, -1.0, enclosed=0.4, ways=ways, framed=1.8) for ways in (0.1, 0.9))
    assert far > led + 1.0  # beyond a gap, with the end of the panel close by, a mark on the car is no card


def test_a_car_mark_beyond_a_gap_shows_the_paint_about_the_card():
    """Beyond a gap on both sides of the card lies what the mark shows; beside another colour it does not."""
    scene = FlatScene(card=(0.24, 0.11, 0.1))
    marks = scene.marks(both_sides=False)
    for tint, same in (((1.0, 1.0, 1.0), True), ((0.8, 1.0, 1.2), False)):
        photo = scene.photo()
        photo.image[:, :166] = np.round(photo.image[:, :166] * tint * 255) / 255
        photo.image[:, 166:172] = 0.05
        seen = _surround(Heights(terrains(photo.preview(960), *scene.size)[0], marks))
        assert seen.ways[0] < 0.3
        assert bool(seen.kin[0] > 0.7) is same
        assert (_codes(check_photo(photo, marks, FEW, CALIBRATION)) == []) is same


@pytest.mark.parametrize(("light", "same"), [(1.0, True), (0.75, False)])
def test_the_paint_beyond_the_edges_of_a_card_is_held_against_the_car_mark_closely(light, same):
    """What shows nearly the car's colour frames a card, but only the same says that the car mark is right."""
    scene = FlatScene(card=(0.3, 0.2, 0.1), greys=STEPS)
    photo = scene.photo()
    photo.image[:250, 166:] = srgb_encode(srgb_decode(photo.image[:250, 166:]) * light)
    around = _seen(photo, scene.marks(both_sides=False)).around
    assert around.framed[0] > 3.0
    assert bool(around.beyond[0] > 3.0) is same  # at the right and above, the mark's own light is far away
    assert around.of([0]).beyond == around.beyond[:1]


def test_a_car_mark_is_believed_by_its_paint_beyond_the_edges_of_the_card_where_none_is_close_by():
    seen = _seen(SCENE.photo(), SCENE.marks(both_sides=False))
    none = np.full_like(seen.around.ways, np.nan)
    odds = []
    for sides in (0.0, 1.0, 3.0):
        around = replace(
            seen.around, car_paint=0.0 * seen.around.car_paint, ways=none, kin=none, beyond=np.full_like(none, sides)
        )
        odds.append(_odds(replace(seen, around=around), MarkCode.CAR_NOT_ABOUT))
    assert odds[0] > odds[1] > odds[2] + 2.0


def test_a_burnt_out_step_by_which_nothing_is_measured_is_no_step_astray():
    scene = FlatScene(greys=(0.04, 0.18, 0.9), exposure=3.0, card=(0.24, 0.11, 0.1))
    result = _checked(scene.marks(), scene)
    assert "left-out" in [finding.code.value for finding in result.warnings]
    assert not [code for code in _codes(result) if code.startswith("mark-")]


def test_a_mend_leaves_a_burnt_out_step_marked_as_it_is():
    scene = FlatScene(greys=(0.18, 0.75, 0.95), exposure=1.6)
    marks = [replace(m, reflectance=0.9) if m.reflectance == 0.18 else m for m in scene.marks()]
    mended = _checked(marks, scene).measurement.mended
    assert mended
    kept = {m for m in scene.marks() if m.reflectance in (0.75, 0.95)}
    assert kept <= set(mended)


def test_card_and_car_under_each_others_name_are_named_and_the_mend_exchanges_them():
    right = SCENE.marks(both_sides=False)
    other = {Kind.CARD: Kind.VEHICLE, Kind.VEHICLE: Kind.CARD}
    result = _checked([replace(m, kind=other.get(m.kind, m.kind)) for m in right])
    assert _codes(result) == ["mark-exchanged"]
    assert set(result.measurement.mended) == set(right)
    assert _codes(_checked(result.measurement.mended)) == []
    words = mend_words(changes([replace(right[0], kind=Kind.VEHICLE)], [right[0]]))
    assert words == "the vehicle region at 190,110 as the card"


@pytest.mark.parametrize(("step", "beside"), [(0, [1]), (1, [-1, 1]), (2, [-1])])
def test_other_steps_are_seen_beside_the_only_one_marked(step, beside):
    marks = [m for m in SCENE.marks() if m.reflectance in (None, STEPS[step])]
    land = Heights(terrains(SCENE.photo().preview(960), 480, 360)[0], marks)
    (seen,) = (each for each in _surround(land).beside if each)
    assert sorted(np.sign(seen)) == beside
    lone = FlatScene()
    land = Heights(terrains(lone.photo().preview(960), 480, 360)[0], lone.marks())
    assert not any(_surround(land).beside)


@pytest.mark.parametrize("step", [0, 2])
def test_an_end_of_a_step_card_under_the_standard_figure_is_named(step):
    marks = [m for m in SCENE.marks() if m.reflectance in (None, STEPS[step])]
    result = _checked([replace(m, reflectance=0.18) if m.kind is Kind.GREY else m for m in marks])
    assert _codes(result) == ["mark-grey-value"]


def test_an_unusual_single_grey_is_asked_about_and_a_persons_word_lets_the_figures_stand():
    scene = FlatScene(card=(0.24, 0.11, 0.1), greys=(0.09,))
    asked = _checked(scene.marks(), scene)
    assert _codes(asked) == ["mark-grey-value"]
    sure = asked.measurement.if_sure
    assert [m.sure for m in sure] == [("mark-grey-value",) if m.kind is Kind.GREY else () for m in scene.marks()]
    answered = _checked(sure, scene)
    assert _codes(answered) == []
    assert answered.figures_hold
    assert "mark-grey-value" in [finding.code.value for finding in answered.warnings]


@pytest.mark.parametrize("code", [code for code in MarkCode if code is not MarkCode.GREY_VALUE])
def test_who_said_that_a_mark_is_right_is_not_told_to_move_it(code):
    places = (SCENE.marks()[0], SCENE.marks()[1])
    asked, answered = (Finding(code, spoils, places, {"percent": 18.0}) for spoils in (True, False))
    assert answered.text() == asked.text()
    assert answered.remedy() == ANSWERED != asked.remedy()


def test_a_word_on_two_exchanged_marks_says_what_each_lies_on():
    card, car = (replace(mark, sure=("mark-exchanged",)) for mark in SCENE.marks()[:2])
    assert (card.kind, car.kind) == (Kind.CARD, Kind.VEHICLE)
    assert [words_on(card), words_on(car)] == [["on the card"], ["on the car's paint"]]


def test_figures_that_rest_on_a_word_for_a_greys_figure_hold_for_the_step_that_it_looks_like_too():
    scene = FlatScene(card=(0.3, 0.13, 0.12))
    wrong = [replace(m, reflectance=0.09) if m.kind is Kind.GREY else m for m in scene.marks()]
    asked, true = _checked(wrong, scene).measurement, _checked(scene.marks(), scene).measurement
    assert asked.interval[1] < true.delta_e00
    answered = _checked(asked.if_sure, scene).measurement
    assert answered.delta_e00 == asked.delta_e00
    assert 0.03 < dict(answered.other_steps)[0.18] < 0.5
    assert answered.interval[1] > true.delta_e00


def test_a_word_answers_the_question_that_was_asked_and_no_other_about_the_same_mark():
    right = FlatScene().marks()
    on_car = replace(right[1], kind=Kind.GREY, reflectance=0.18, sure=("mark-grey-value",), width=40)
    assert _codes(_checked([right[0], right[2], on_car], FlatScene())) == ["mark-grey-elsewhere"]
    said = Slip(MarkCode.GREY_ELSEWHERE, (on_car,), 2.0)
    (kept,) = conclude([said], 1.25, CALIBRATION.marks).slips
    assert kept.log_odds == 2.0
    answered = replace(said, regions=(replace(on_car, sure=("mark-grey-elsewhere",)),))
    for word in (answered.regions[0], replace(on_car, sure=(EVERY_QUESTION,))):
        (heard,) = conclude([replace(said, regions=(word,))], 1.25, CALIBRATION.marks).slips
        assert heard.log_odds == pytest.approx(2.0 + np.log(0.1 / 0.97))


def test_what_a_word_leaves_open_is_asked_next():
    grey = FlatScene().marks()[-1]
    slips = [Slip(code, (grey,), odds) for code, odds in ((MarkCode.GREY_STRAY, -0.8), (MarkCode.ACROSS, -1.0))]
    first = conclude(slips, 1.25, CALIBRATION.marks)
    said = first.with_word(grey)
    assert said.sure == ("mark-grey-stray",)
    second = conclude([replace(slip, regions=(said,)) for slip in slips], 1.25, CALIBRATION.marks)
    said = second.with_word(said)
    assert said.sure == ("mark-grey-stray", "mark-across")
    third = conclude([replace(slip, regions=(said,)) for slip in slips], 1.25, CALIBRATION.marks)
    assert third.slips == ()
    assert [slip.code for slip in third.believed] == [MarkCode.GREY_STRAY, MarkCode.ACROSS]


def test_a_persons_word_does_not_outweigh_what_the_photo_shows():
    marks = [replace(m, sure=("mark-greys-swapped",)) for m in _greys(0.75, 0.18, 0.04)]
    result = _checked(marks)
    assert _codes(result) == ["mark-greys-swapped"]
    assert result.measurement.if_sure == ()


def test_a_word_on_a_mark_goes_when_the_mark_is_mended_to_say_something_else():
    marks = [replace(m, sure=(EVERY_QUESTION,)) for m in _greys(0.75, 0.18, 0.04)]
    mended = _checked(marks).measurement.mended
    changed = [
        now.reflectance != was.reflectance or now.kind != was.kind for was, now in zip(marks, mended, strict=True)
    ]
    assert any(changed)
    assert [bool(region.sure) for region in mended] == [not each for each in changed]
    assert len(changes(marks, mended)) == sum(changed)


def test_a_word_counts_on_the_photo_alone_that_was_looked_at():
    marks = [replace(m, sure=("mark-across",)) for m in FlatScene().marks()]
    table = {"regions": [region_table(mark) for mark in marks], "photo_sha256": "a"}
    named, unnamed = (marks_from_table(each, "marks.json", 0.18) for each in (table, {"regions": table["regions"]}))
    assert named.on("a", is_shared=True).regions == named.on("a", is_shared=False).regions == tuple(marks)
    assert unnamed.on("a", is_shared=False).regions == tuple(marks)
    for other in (named.on("b", is_shared=False), named.on("b", is_shared=True), unnamed.on("a", is_shared=True)):
        assert list(other.regions) == FlatScene().marks()


def test_paint_in_shadow_or_mirroring_something_is_one_paint_in_two_lights_and_a_card_that_is_off_is_not():
    paint = np.array([0.02, 0.01, 0.03])
    shaded = TO_COMPONENTS @ np.full(3, np.log(0.45))
    mirrors = TO_COMPONENTS @ np.log((paint + 0.06) / paint)
    off = TO_COMPONENTS @ np.log([0.6, 0.4, 0.4])
    rules = CALIBRATION.marks.lights
    for seen in (shaded, mirrors):
        assert one_paint_in_two_lights(seen, np.log(paint), 12.0, 0.015, rules) > 3.0
    assert one_paint_in_two_lights(off, np.log(paint), 12.0, 0.015, rules) < 1.0
    assert one_paint_in_two_lights(0.1 * shaded, np.log(paint), 1.5, 0.015, rules) < 0.0


def test_a_card_of_a_strong_colour_that_is_off_most_in_its_darkest_channel_mirrors_nothing():
    """A yellow's blue is dark: a card with a little more of it differs there by far more than in brightness."""
    yellow, rules = np.log([0.7, 0.55, 0.07]), CALIBRATION.marks.lights
    stronger = TO_COMPONENTS @ np.log([1.15, 1.2, 2.1])
    assert one_paint_in_two_lights(stronger, yellow, 7.0, 0.015, rules) < 3.0


def test_a_shadow_over_car_marks_on_both_sides_of_a_card_would_lie_over_the_card_too():
    scene = FlatScene(card=(0.12, 0.06, 0.06), greys=STEPS)
    seen = [_seen(scene.photo(), marks) for marks in (scene.marks(), scene.marks(both_sides=False))]
    photo = scene.photo()
    photo.image[:, 310:] = np.round(photo.image[:, 310:] * 0.9 * 255) / 255
    seen.append(_seen(photo, scene.marks()))  # one of the car marks lies in shadow, the other does not
    lights = CALIBRATION.marks.lights
    any_of_them = replace(CALIBRATION.marks, lights=replace(lights, card_alone=1.0))
    less = [_odds(each, MarkCode.TWO_LIGHTS) - _odds(each, MarkCode.TWO_LIGHTS, any_of_them) for each in seen]
    assert less == pytest.approx([np.log(lights.card_alone), 0.0, 0.0], abs=1e-3)


def test_a_fold_of_a_grey_card_is_less_of_a_border_than_its_edge():
    grey = Region(Kind.GREY, 0, 0, 60, 60, 0.18)
    rules = CALIBRATION.marks
    fold, edge = (
        across(Box(grey, np.zeros(3), jump, 7.0), rules.across, rules.colour, rules.tail) for jump in (0.06, 1.0)
    )
    assert fold < 1.0
    assert edge > 4.0


def _frame(**seen):
    usual = {"lightest": -0.3, "mean": -2.0, "mean_level": -1.7, "paints": (np.log([0.2, 0.15, 0.1]),)}
    return Implied(**{**usual, "clipped": False, "marked_is_lightest": False, "spread": 0.1, **seen})


def test_what_the_greys_imply_is_held_to_white_to_what_any_paint_mirrors_and_to_how_cameras_expose():
    rules = CALIBRATION.marks.frame
    usual = _frame().log_density(0.0, rules)
    darker = np.log([0.005, 0.0015, 0.001])
    assert _frame(paints=(darker,)).log_density(0.0, rules) < usual - 1.5
    assert _frame(paints=(np.log([1.6, 1.5, 1.4]),)).log_density(0.0, rules) < usual - 1.5
    dark_scene = {"mean": -3.5, "lightest": -1.5}
    dim, bright = (_frame(**dark_scene, mean_level=level).log_density(0.0, rules) for level in (-2.2, -1.0))
    assert dim > bright + 1.0


def test_something_white_is_asked_for_only_where_none_is_seen_and_it_would_settle_the_figure():
    rules = CALIBRATION.marks.frame
    dull = np.log(0.25)
    assert _frame(lightest=dull).gain_of_white(rules) > 0.2
    assert _frame(lightest=np.log(0.7)).gain_of_white(rules) == 0.0
    assert _frame(lightest=dull, clipped=True).gain_of_white(rules) == 0.0
    grey = FlatScene().marks()[-1]
    values = {"percent": 9.0, "likely": 18.0}
    for if_white, says in ((-4.0, "lay something white in it"), (-1.0, "mark another step")):
        slip = Slip(MarkCode.GREY_VALUE, (grey,), 0.0, values, if_white=if_white)
        (told,) = told_of(conclude([slip], 1.25, CALIBRATION.marks))
        assert says in told.remedy()


def test_the_standard_figure_is_doubted_by_the_steps_beside_it_and_any_other_one_by_how_seldom_it_is_owned():
    rules = CALIBRATION.marks
    steps = np.array([0.03, 0.09, 0.75])

    def ratios(stated, beside):
        return only_grey_ratios(stated, steps, beside, rules.greys, rules.surround)

    assert ratios(0.18, (-1.4,))[2] > 5.0 * ratios(0.18, ())[2]  # darker ones alone: this may be the light end
    assert ratios(0.18, (-1.4,))[0] < ratios(0.18, (1.4,))[0]
    standard = np.array([0.18])
    odd, light = (only_grey_ratios(told, standard, (), rules.greys, rules.surround)[0] for told in (0.04, 0.9))
    assert odd > light > 0.5
