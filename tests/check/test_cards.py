"""Several cards in one photo: verdicts, words and document."""

import json
from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from match.camera.own import PhotoCalibration
from match.check.calibration_files import load_calibration
from match.check.measuring import measure_photo_cards
from match.check.saved import CheckedPhoto, document, of_card, read_saved
from match.check.settings import CheckSettings
from match.errors import RegionError, SavedCheckError
from match.photo.region_table import read_region, region_table
from match.photo.regions import Kind, Region, card_named, cards_in, named_cards, parse_region
from tests.support.synthetic import CardsScene

CALIBRATION = load_calibration()
FEW = CheckSettings(draws=800)
THREE = CardsScene(((0.22, 0.1, 0.1), (0.205, 0.1, 0.1), (0.19, 0.11, 0.1)))


def _answer(scene, chosen=""):
    measure = partial(measure_photo_cards, scene.photo())
    return PhotoCalibration(CALIBRATION).check_cards(measure, scene.marks(), FEW, chosen)


def _document(scene, chosen=""):
    answer = _answer(scene, chosen)
    photo = CheckedPhoto("three.jpg", "0" * 64, tuple(scene.marks()))
    return document(answer.front_card.result, photo, cards=answer)


def test_the_nearest_card_gives_the_verdict():
    answer = _answer(THREE)
    assert [card.name for card in answer.cards] == ["A", "B", "C"]
    assert answer.front_card.name == answer.likeliest.name == "B"
    assert answer.rivals == ()
    assert sum(card.chance_nearest for card in answer.cards) == pytest.approx(1.0)
    assert answer.sentences[0].startswith("B is the nearest to the car")


def test_two_cards_of_one_paint_are_not_told_apart():
    answer = _answer(CardsScene(((0.205, 0.1, 0.1), (0.19, 0.11, 0.1), (0.205, 0.1, 0.1))))
    assert {answer.likeliest.name, *(card.name for card in answer.rivals)} == {"A", "C"}
    assert "cannot be told apart here: either may be the nearest" in answer.sentences[0]
    pair = next(each for each in answer.comparison()["pairs"] if each["cards"] == ["A", "C"])
    assert not pair["told_apart"]
    assert pair["delta_e00"] < 0.3


def test_the_nearest_card_s_luck_is_counted_also_where_it_is_chosen_by_its_name():
    scene = CardsScene(((0.205, 0.1, 0.1), (0.19, 0.11, 0.1), (0.205, 0.1, 0.1)))
    alone = dict(zip("ABC", measure_photo_cards(scene.photo(), scene.marks(), FEW, CALIBRATION), strict=True))
    answer = _answer(scene)
    taken = answer.front_card
    unbiased = taken.result.confidence.unbiased
    np.testing.assert_array_equal(unbiased, alone[taken.name].confidence.unbiased)  # luck makes near, never far
    assert taken.result.measurement.interval[1] > alone[taken.name].interval[1]
    assert taken.result.confidence.at_most(1.0) <= alone[taken.name].confidence.at_most(1.0)
    for card in answer.cards:
        chosen = _answer(scene, card.name)
        assert chosen.front_card.result.measurement.interval == card.result.measurement.interval
        assert chosen.likeliest.result.measurement.interval == taken.result.measurement.interval
        if card.name != taken.name:
            assert card.result.measurement.interval == alone[card.name].interval


def test_a_chosen_card_stands_in_front_and_the_nearest_is_named():
    answer = _answer(THREE, "C")
    assert answer.front_card.name == "C"
    assert answer.sentences[-1] == "The verdict is that of C, which you chose; B reads nearer."
    with pytest.raises(RegionError, match="no card is called 'D'"):
        _answer(THREE, "D")


def test_a_card_that_cannot_be_read_is_compared_with_no_other():
    answer = _answer(CardsScene(((1.5, 1.5, 1.5), (0.205, 0.1, 0.1), (0.22, 0.1, 0.1))))
    burnt = answer.cards[0]
    assert burnt.chance_nearest is None
    assert "the photo is at fault here" in burnt.sentence
    unread, *chances = (each["chance_nearest"] for each in answer.as_list())
    assert unread is None
    assert sum(chances) == pytest.approx(1.0, abs=1e-3)  # one of the two is the nearest
    assert answer.front_card.name == "B"
    assert {name for pair in answer.comparison()["pairs"] for name in pair["cards"]} == {"B", "C"}


def test_where_no_card_can_be_read_none_is_called_the_nearest():
    answer = _answer(CardsScene(((1.5, 1.5, 1.5), (2.0, 2.0, 2.0))))
    assert answer.likeliest is None
    assert answer.front_card.result.verdict.value == "retake"
    assert answer.comparison()["pairs"] == []


def test_the_document_holds_every_card_and_reads_back_with_any_in_front():
    written = _document(THREE)
    read = read_saved(json.loads(json.dumps(written)), "three.json")
    assert (read.card_name, [card.name for card in read.cards]) == ("B", ["A", "B", "C"])
    for key in ("delta_e00", "card_lab", "verdict", "direction"):
        assert written[key] == written["cards"][1][key]
    for place, name in enumerate("ABC"):
        front = of_card(read, name)
        assert front.delta_e00 == written["cards"][place]["delta_e00"]
        assert front.card_name == name
    with pytest.raises(SavedCheckError, match="holds no card called 'D': choose one of A, B, C"):
        of_card(read, "D")


@pytest.mark.parametrize(
    ("cards", "said"),
    [
        (7, "its cards is 7, not a list"),
        ([3], "not a list of tables"),
        ([{"name": "A", "chance_nearest": 2}], "0 to 1"),
    ],
)
def test_damaged_cards_are_one_sentence(cards, said):
    with pytest.raises(SavedCheckError, match=said):
        read_saved(json.loads(json.dumps({**_document(THREE), "cards": cards})), "three.json")


def test_a_card_may_carry_a_name_and_a_grey_may_not():
    assert parse_region(Kind.CARD, "1,2,30,40=less white", 0.18).label == "less white"
    assert parse_region(Kind.CARD, "1,2,30,40", 0.18).label == ""
    with pytest.raises(RegionError, match="only a card or a part"):
        parse_region(Kind.GREY, "1,2,30,40=A", 0.18)
    with pytest.raises(RegionError, match="40 plain characters"):
        parse_region(Kind.CARD, "1,2,30,40=" + "x" * 41, 0.18)


@given(st.text(st.characters(categories=("L", "N")), min_size=1, max_size=40))
@settings(max_examples=20)
def test_a_name_survives_the_file(name):
    region = Region(Kind.CARD, 1, 2, 30, 40, label=name)
    assert read_region(json.loads(json.dumps(region_table(region))), "it", None) == region


def test_cards_are_read_row_by_row_and_take_a_name_each():
    grid = [Region(Kind.CARD, x, y, 50, 50) for x, y in ((200, 12), (300, 210), (100, 0), (90, 200))]
    assert [(card.x, card.label) for card in cards_in(named_cards(grid))] == [
        (100, "Card 1"),
        (200, "Card 2"),
        (90, "Card 3"),
        (300, "Card 4"),
    ]
    assert card_named(named_cards(grid), "Card 3").x == 90
    assert named_cards(grid[:1]) == (grid[0],)
    with pytest.raises(RegionError, match="2 cards are called A"):
        named_cards([Region(Kind.CARD, x, 0, 50, 50, label="A") for x in (0, 100)])
    with pytest.raises(RegionError, match="mark up to 6"):
        named_cards([Region(Kind.CARD, 60 * x, 0, 50, 50) for x in range(7)])
