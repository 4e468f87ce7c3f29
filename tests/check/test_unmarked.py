"""A card that no mark lies on is seen, and other things in a photo are not taken for one.

Drawn terrains, own construction: what lies where is known.
"""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from match.check.calibration_files import load_calibration
from match.check.marks.about_marks import another_card
from match.check.marks.borders import Heights
from match.check.marks.code import MarkCode
from match.check.marks.evidence import evidence
from match.check.marks.judgement import weigh
from match.check.marks.mend import changes, mend_words
from match.check.marks.terrain import terrains
from match.check.marks.unmarked import unmarked_card
from match.check.measuring import read_patch
from match.check.settings import CheckSettings
from match.measure.tone import prior_curve
from match.photo.regions import Kind, Region
from tests.support.checked import check_photo
from tests.support.synthetic import FlatScene

CALIBRATION = load_calibration()
RULES = CALIBRATION.marks.unmarked
ON_ANOTHER = {MarkCode.ONE_SURFACE, MarkCode.NO_CARD}
"""The slips of a card's mark that lies on something else than the card."""

CAR = (118.0, 104.0, 96.0)
ON_THE_CAR = Region(Kind.CARD, 60, 60, 50, 50)
MARKS = (ON_THE_CAR, Region(Kind.VEHICLE, 60, 240, 50, 50), Region(Kind.GREY, 400, 40, 40, 40, 0.18))


def _seen(drawn, colour, marks=MARKS):
    """Return the mark on another card, where something of a colour is drawn (a mask) on a plain panel."""
    picture = np.full((360, 480, 3), CAR)
    picture[drawn > 0] = colour
    picture[30:90, 390:450] = 120.0
    picture += np.random.default_rng(5).normal(0.0, 1.5, picture.shape)
    land = Heights(terrains(np.clip(np.round(picture), 0, 255).astype(np.uint8), 480, 360)[0], marks)
    car = np.median(land.land.logs[land.inside[1]].reshape(-1, 3), axis=0)
    return unmarked_card(land, 0, 1.8, [car], RULES)


def _rectangle(middle=(260.0, 170.0), size=(110, 130), turn_deg=8.0):
    corners = cv2.boxPoints((middle, size, turn_deg)).astype(np.int32)
    return cv2.fillConvexPoly(np.zeros((360, 480), np.uint8), corners, 1)


NEAR = (126.0, 100.0, 90.0)


@pytest.mark.parametrize("turn_deg", [0.0, 8.0, 40.0])
@pytest.mark.parametrize("colour", [NEAR, (150.0, 132.0, 120.0)])
def test_a_rectangle_of_nearly_the_cars_colour_is_a_card(turn_deg, colour):
    drawn = _rectangle(turn_deg=turn_deg)
    there = _seen(drawn, colour)
    assert there.kind is Kind.CARD
    inside = drawn[there.y : there.y + there.height, there.x : there.x + there.width]
    assert inside.size == there.width * there.height > 0.15 * np.count_nonzero(drawn)
    assert inside.all()


@pytest.mark.parametrize("kind", [Kind.CARD, Kind.VEHICLE, Kind.GREY])
def test_a_card_that_a_mark_lies_on_is_marked(kind):
    there = Region(kind, 240, 150, 40, 40, 0.75 if kind is Kind.GREY else None)
    assert not _seen(_rectangle(), NEAR, (*MARKS, there))


def test_a_rim_about_a_marked_thing_is_no_card():
    rim = _rectangle(turn_deg=0.0) - _rectangle(size=(70, 90), turn_deg=0.0)
    assert not _seen(rim, NEAR, (*MARKS, Region(Kind.GREY, 240, 150, 40, 40, 0.75)))


@pytest.mark.parametrize(
    "drawn",
    [
        _rectangle(size=(20, 24)),  # too small
        _rectangle(size=(30, 240)),  # a strip
        _rectangle(middle=(440.0, 250.0)),  # cut off by the frame
        cv2.circle(np.zeros((360, 480), np.uint8), (260, 170), 60, 1, -1),
    ],
)
def test_other_shapes_are_no_card(drawn):
    assert not _seen(drawn, NEAR)


@pytest.mark.parametrize("colour", [(245.0, 245.0, 240.0), (12.0, 12.0, 12.0), (120.0, 40.0, 40.0)])
def test_what_is_no_paint_for_this_car_is_no_card(colour):
    assert not _seen(_rectangle(), colour)


def test_a_card_without_a_mark_speaks_against_the_cards_mark_and_none_for_it():
    none, another = (another_card(seen, RULES) for seen in (False, True))
    right, wrong = RULES.seen
    assert another == pytest.approx(np.log(wrong / right))
    assert none == pytest.approx(np.log((1.0 - wrong) / (1.0 - right)))
    assert none < 0.0 < another


def test_where_the_card_itself_stands_unmarked_its_mark_is_doubted_as_lying_on_the_car_or_another_thing():
    scene = FlatScene(card=(0.24, 0.11, 0.1))
    photo, marks = scene.photo(), scene.marks(both_sides=False)
    car = marks[1]
    elsewhere = [replace(car, kind=Kind.CARD, width=40), replace(car, x=110, width=40), *marks[2:]]
    for chosen, stands_there in ((marks, False), (elsewhere, True)):
        patches, rules = [read_patch(photo, mark) for mark in chosen], CALIBRATION.marks
        seen = evidence(patches, photo.preview(960), (photo.width, photo.height), rules)
        assert [each is not None for each in seen.around.another] == [stands_there, *[False] * (len(chosen) - 1)]
        odds = []
        for another in (None, marks[0]):
            around = replace(seen.around, another=(another, *seen.around.another[1:]))
            slips = weigh(replace(seen, around=around), prior_curve(CALIBRATION.camera.tone, False), 0.05, 8.0, rules)
            odds.append({slip.code: slip.log_odds for slip in slips})
            assert not any(slip.mend for slip in slips if slip.code in ON_ANOTHER and slip.log_odds <= 0.0)
        risen = {code for code, before in odds[0].items() if odds[1][code] > before + 0.1}
        assert risen == ON_ANOTHER


def test_a_cards_mark_on_the_car_is_put_on_the_card_that_stands_there():
    scene, few = FlatScene(card=(0.24, 0.11, 0.1)), CheckSettings(draws=800)
    marks = scene.marks(both_sides=False)
    car = marks[1]
    wrong = [replace(car, kind=Kind.CARD, width=40), replace(car, x=110, width=40), *marks[2:]]
    doubted = check_photo(scene.photo(), wrong, few, CALIBRATION).measurement
    assert mend_words(changes(wrong, doubted.mended)) == "the card region at 60,110 moved onto the card that has none"
    mended, right = (check_photo(scene.photo(), each, few, CALIBRATION) for each in (doubted.mended, marks))
    assert mended.verdict is right.verdict
    assert mended.measurement.delta_e00 == pytest.approx(right.measurement.delta_e00, abs=0.1)
    crowded = [*wrong, Region(Kind.VEHICLE, 200, 60, 80, 70)]  # over a part of the card: no room for its mark
    assert not check_photo(scene.photo(), crowded, few, CALIBRATION).measurement.mended
