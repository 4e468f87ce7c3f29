"""Several cards in several photos: the luck of the one that reads nearest is counted there too."""

from dataclasses import replace

import numpy as np
import pytest

from match.check.calibration_files import load_calibration
from match.check.cards import load_comparing_rules
from match.check.measuring import measure_photo_cards
from match.check.settings import CheckSettings
from match.photo.regions import Kind
from match.several.cards import judge_cards_of_set
from match.several.judge import judge_set
from match.several.photo_set import MeasuredPhoto, PhotoUse, Role
from match.several.rules import load_several_rules
from tests.support.synthetic import CardsScene

CALIBRATION, RULES = load_calibration(), load_several_rules()
FEW = CheckSettings(draws=800)
ALIKE = CardsScene(((0.205, 0.1, 0.1), (0.19, 0.11, 0.1), (0.205, 0.1, 0.1)))
USES = (PhotoUse(), PhotoUse(role=Role.REPEAT))


def no_flake(_: MeasuredPhoto) -> str:
    return "not compared here"


@pytest.fixture(scope="module")
def photos():
    """Return each card's photos by its name: one scene photographed twice."""
    found = {}
    for number, use in enumerate(USES):
        scene = replace(ALIKE, seed=number + 1)
        marks = tuple(scene.marks())
        others = tuple(mark for mark in marks if mark.kind is not Kind.CARD)
        cards = [mark for mark in marks if mark.kind is Kind.CARD]
        measured = measure_photo_cards(scene.photo(), marks, FEW, CALIBRATION)
        for card, measurement in zip(cards, measured, strict=True):
            photo = MeasuredPhoto(
                f"{number}.png", use, (*others, card), measurement=measurement, calibration=CALIBRATION
            )
            found.setdefault(card.label, []).append(photo)
    return found


def test_only_the_card_that_reads_nearest_is_less_sure_than_it_is_alone(photos):
    alone = {name: judge_set(each, FEW, RULES, no_flake)[0] for name, each in photos.items()}
    for chosen in ("", "B"):
        front, _, answer = judge_cards_of_set(photos, FEW, RULES, load_comparing_rules(), no_flake, chosen)
        assert front is answer.front_card.result
        for card in answer.cards:
            interval, before = card.result.measurement.interval, alone[card.name].measurement.interval
            if card.name == answer.likeliest.name:
                with_luck, without = card.result.confidence, alone[card.name].confidence
                np.testing.assert_array_equal(with_luck.unbiased, without.unbiased)  # luck makes near, never far
                assert interval[1] > before[1]
                assert with_luck.at_most(1.0) <= without.at_most(1.0)
            else:
                assert interval == before


def test_cards_of_several_photos_are_compared_as_if_they_shared_nothing(photos):
    """Drawn from one seed, their draws would move together by the random numbers alone."""
    front, _, answer = judge_cards_of_set(photos, FEW, RULES, load_comparing_rules(), no_flake)
    draws = front.measurement.draws
    spread = (draws.card_lab - draws.vehicle_lab).var(axis=0)
    for pair in answer.nearest.pairs:
        assert (np.abs(np.diag(pair.cross_covariance)) < 0.2 * spread).all()
