"""Parts marked by name beside the card: measured in its light, judged by themselves, never in the card's verdict."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from coloraide import Color

from match.blend.checked import checked_before, checked_now
from match.blend.parts import judge_parts, parts_beside
from match.blend.sides import Direction, End, Repair, Side
from match.check.calibration_files import load_calibration
from match.check.check import judge
from match.check.measuring import measure_photo_cards
from match.check.saved import VERSION, WITHOUT_PARTS, WITHOUT_WORD, CheckedPhoto, document, read_saved
from match.check.settings import CheckSettings
from match.check.verdict import Verdict
from match.errors import PlanError, RegionError, SavedCheckError
from match.measure.photo_code import PhotoCode
from match.photo.region_table import read_region, region_table
from match.photo.regions import EVERY_QUESTION, Kind, Region, check_regions, parse_region
from match.several.parts import parts_of_set
from match.several.photo_set import Angle, MeasuredPhoto, PhotoUse, Role
from match.several.rules import load_several_rules
from tests.support.checked import check_photo
from tests.support.synthetic import FlatScene
from tests.support.viewing import CALIBRATION as BLENDING
from tests.support.viewing import looked_at

CALIBRATION = load_calibration()
FEW = CheckSettings(draws=600)
CAR = (0.2, 0.1, 0.1)
BUMPER = (0.235, 0.118, 0.11)
SCENE = FlatScene(
    card=(0.205, 0.1, 0.1), vehicle=CAR, greys=(0.18, 0.6), size=(640, 360), gradient=(0.1, 0.05), part=BUMPER
)


@cache
def checked(part=BUMPER, name="bumper"):
    scene = replace(SCENE, part=part)
    marks = [*scene.marks(), scene.part_mark(name)]
    return check_photo(scene.photo(), marks, FEW, CALIBRATION), tuple(marks)


def saved(result, marks):
    return document(result, CheckedPhoto("shop.png", "0" * 64, marks))


def apart(one, other):
    """Return CIEDE2000 of two linear sRGB colours, by coloraide."""
    return Color("srgb-linear", one).delta_e(Color("srgb-linear", other), method="2000")


def test_both_differences_hold_the_truth_and_the_verdict_is_as_without_the_part():
    result, _ = checked()
    (part,) = result.parts
    assert part.car["face"].interval[0] < apart(BUMPER, CAR) < part.car["face"].interval[1]
    assert part.card["face"].interval[0] < apart(SCENE.card, BUMPER) < part.card["face"].interval[1]
    alone = check_photo(SCENE.photo(), SCENE.marks(), FEW, CALIBRATION).as_dict()
    beside = result.as_dict()
    assert [each["name"] for each in beside.pop("parts")] == ["bumper"]
    assert beside == alone
    assert alone["verdict"] == Verdict.GO


def test_a_part_that_differs_is_said_first_and_is_no_slip_of_the_marks():
    far = (0.27, 0.13, 0.11)
    result, _ = checked(far)
    assert result.verdict is Verdict.GO
    assert "already differs from the car" in result.parts[0].sentences()[0]
    # the same box as one of the car's own paint is doubted
    assert checked(far, name="")[0].verdict is Verdict.RETAKE
    alike, _ = checked(CAR)
    assert "passes as the car's colour" in alike.parts[0].sentences()[0]


def test_what_card_and_part_share_cancels():
    result, _ = checked()
    draws = result.parts[0].card["face"].draws
    shared = (draws.card_lab - draws.vehicle_lab).std(axis=0)
    as_if_apart = np.hypot(draws.card_lab.std(axis=0), draws.vehicle_lab.std(axis=0))
    assert (shared < 0.6 * as_if_apart).all()


def test_what_a_camera_makes_of_other_pigments_stands_between_card_and_part_as_between_card_and_car():
    card, *others = SCENE.marks()
    cards = [replace(card, width=45, label="A"), Region(Kind.CARD, 240, 110, 50, 100, label="B")]
    marks = [*cards, *others, SCENE.part_mark("bumper")]
    measured = measure_photo_cards(SCENE.photo(), marks, CheckSettings(draws=4000), CALIBRATION)
    one, other = (each.parts[0] for each in measured)
    wanted = measured[0].draws.of_pigments[:, 1].std()
    for read in (one.card, one.car, other.card):
        assert read.draws.of_pigments[:, 1].std() == pytest.approx(wanted, rel=0.15)
        null = read.draws.null_difference
        assert np.cov((null - read.draws.of_pigments).T)[1, 1] < np.cov(null.T)[1, 1] - 0.5 * wanted**2
    # the cards are of the same toners; the part may have been painted elsewhere
    cards_alike = np.corrcoef(one.card.draws.of_pigments[:, 1], other.card.draws.of_pigments[:, 1])[0, 1]
    assert 0.6 < cards_alike < 0.95
    between = np.corrcoef(one.card.draws.of_pigments[:, 1], one.car.draws.of_pigments[:, 1])[0, 1]
    assert between == pytest.approx(-0.5, abs=0.1)


def test_a_part_s_own_fault_is_said_of_it_and_leaves_the_card_alone():
    result, _ = checked((1.6, 1.6, 1.6))
    assert result.verdict is Verdict.GO
    (part,) = result.parts
    assert not part.figures_hold
    assert part.findings[0].code is PhotoCode.CLIPPED
    assert part.sentences()[0].startswith("The bumper is not judged: ")


def test_a_photo_at_fault_says_nothing_of_its_parts():
    # the two greys exchanged: every figure of the photo is wrong, the part's with them
    other = {0.18: 0.6, 0.6: 0.18}
    marks = [replace(mark, reflectance=other.get(mark.reflectance)) for mark in SCENE.marks()]
    result = check_photo(SCENE.photo(), [*marks, SCENE.part_mark("bumper")], FEW, CALIBRATION)
    assert result.verdict is Verdict.RETAKE
    assert not result.parts[0].figures_hold
    assert "is not judged" in result.parts[0].sentences()[0]


def test_a_box_across_two_surfaces_is_doubted_by_itself():
    mark = SCENE.part_mark("bumper")
    over = replace(mark, x=int(0.78 * SCENE.size[0]) - 30)
    result = check_photo(SCENE.photo(), [*SCENE.marks(), over], FEW, CALIBRATION)
    assert result.verdict is Verdict.GO
    assert not result.parts[0].figures_hold


def test_several_cards_each_have_their_part():
    one, two = SCENE.marks()[0], Region(Kind.CARD, 240, 110, 50, 100, label="B")
    marks = [replace(one, width=45, label="A"), two, *SCENE.marks()[1:], SCENE.part_mark("bumper")]
    measured = measure_photo_cards(SCENE.photo(), marks, FEW, CALIBRATION)
    assert [[part.name for part in each.parts] for each in measured] == [["bumper"], ["bumper"]]
    for each in measured:
        assert each.parts[0].card.interval[0] < apart(SCENE.card, BUMPER) < each.parts[0].card.interval[1]


def test_a_document_with_parts_is_read_back_and_one_without_is_written_as_before():
    result, marks = checked()
    kept = json.loads(json.dumps(saved(result, marks)))
    assert kept["version"] == WITHOUT_WORD
    read = read_saved(kept, "shop.png")
    assert [part.name for part in read.parts] == ["bumper"]
    assert read.parts[0].card[0].delta_e00 == pytest.approx(result.parts[0].card["face"].delta_e00, abs=1e-4)
    assert read.photos[0].regions == marks
    alone = check_photo(SCENE.photo(), SCENE.marks(), FEW, CALIBRATION)
    assert saved(alone, tuple(SCENE.marks()))["version"] == WITHOUT_PARTS
    for said, version in ((("mark-across",), VERSION), ((EVERY_QUESTION,), WITHOUT_PARTS)):
        marks = tuple(replace(mark, sure=said) for mark in SCENE.marks())
        written = saved(alone, marks)
        assert written["version"] == version
        assert read_saved(written, "new").photos[0].regions == marks
    assert read_saved({**kept, "parts": None, "version": WITHOUT_PARTS}, "old").parts == ()


@pytest.mark.parametrize(
    ("change", "said"),
    [(3, "its parts is 3"), ([{"name": 4}], "its name is 4"), ([{"name": "x", "card": {}, "car": {}}], "both pairs")],
)
def test_damaged_parts_are_one_sentence(change, said):
    with pytest.raises(SavedCheckError, match=said):
        read_saved({**json.loads(json.dumps(saved(*checked()))), "parts": change}, "shop.png")


def test_the_plan_of_the_saved_check_is_the_plan_at_once():
    result, marks = checked()
    room = Repair(200.0, 150.0, (Side(Direction.RIGHT, 500.0, End.OTHER_PART, part="bumper"),))
    limits = looked_at(BLENDING.judging.strictness["ordinary"], 2.0).allowed
    found = []
    for each in (checked_now(result, None, ()), checked_before(read_saved(saved(result, marks), "shop.png"))):
        beside = parts_beside(room, each.parts)
        found.append(judge_parts(room, each.pairs, beside, limits, 0.95)[1][0])
    assert found[0].passes == pytest.approx(found[1].passes, abs=0.01)
    assert found[0].already.high == pytest.approx(found[1].already.high, abs=0.01)
    assert found[0].card.median == pytest.approx(apart(SCENE.card, BUMPER), abs=0.7)
    with pytest.raises(PlanError, match="holds bumper"):
        parts_beside(replace(room, sides=(replace(room.sides[0], part="door"),)), each.parts)


def test_photos_of_several_angles_hold_the_part_at_each():
    reading = checked()[0].measurement
    photos = [
        MeasuredPhoto(name, PhotoUse(angle, role), checked()[1], reading, CALIBRATION)
        for name, angle, role in (
            ("face", Angle.FACE, Role.FIRST),
            ("again", Angle.FACE, Role.REPEAT),
            ("flop", Angle.FLOP, Role.FIRST),
        )
    ]
    (part,) = parts_of_set(photos, load_several_rules().combining, 1.0, seed=1)
    assert set(part.card) == set(part.car) == {"face", "flop"}
    assert part.car["face"].names == ("face", "again")
    assert part.car["flop"].delta_e00 == pytest.approx(reading.parts[0].car.delta_e00)


def test_a_name_is_a_part_s_or_a_card_s_and_the_car_s_own_paint_is_needed_too():
    named = parse_region(Kind.VEHICLE, "1,2,30,40=front door", 0.18)
    assert named.is_part
    assert read_region(json.loads(json.dumps(region_table(named))), "it", None) == named
    with pytest.raises(RegionError, match="only a card or a part"):
        parse_region(Kind.GREY, "1,2,30,40@0.18=A", 0.18)
    plain = [Region(Kind.GREY, 0, 0, 20, 20, 0.18), Region(Kind.CARD, 30, 0, 20, 20)]
    with pytest.raises(RegionError, match="leave the name out"):
        check_regions([*plain, named], 200, 200)
    with pytest.raises(RegionError, match="overlaps"):
        check_regions([*plain, Region(Kind.VEHICLE, 60, 0, 40, 40), replace(named, x=80)], 200, 200)


def test_marks_that_are_put_right_keep_the_part():
    swapped = [
        replace(mark, reflectance={0.18: 0.6, 0.6: 0.18}[mark.reflectance]) if mark.reflectance else mark
        for mark in SCENE.marks()
    ]
    part = SCENE.part_mark("bumper")
    result = check_photo(SCENE.photo(), [*swapped, part], FEW, CALIBRATION)
    assert part in result.measurement.mended
    assert judge(result.measurement, FEW, CALIBRATION).verdict is Verdict.RETAKE
