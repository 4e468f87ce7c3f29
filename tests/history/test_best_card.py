"""Cards of different days: chances against the normal integral, cars kept apart, and what cards of a photo share."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from match.commands.history_show import shown
from match.history.best_card import standing
from match.history.records import NewCard, NewCheck, NewColour, NewJob
from match.history.store import Store
from match.history.timeline import best_told
from match.history.words import card_days, standing_words
from tests.history.test_support import full_check
from tests.support.documents import document

CAR = (50.0, 0.0, 0.0)


def _off(lightness, sd, verdict="blend", **more):
    return document(abs(lightness), verdict, (50.0 + lightness, 0.0, 0.0), CAR, sd, **more)


def _kept(store: Store, *results, **more):
    first = store.save_check(NewCheck(result=results[0], colour=NewColour(name="Invented grey"), **more))
    for result in results[1:]:
        store.save_check(NewCheck(result=result, colour=first.colour, **more))
    return str(first.colour)


def test_the_chance_of_two_days_is_that_of_the_normal_distribution(store: Store):
    """P(|d1| < |d2|) of two normal vectors, by drawing from scipy's distribution with numbers of its own."""
    colour = _kept(store, _off(1.0, 0.4), _off(-1.4, 0.4))
    found = store.standing(colour)
    rng = np.random.default_rng(7)
    one, other = (
        np.linalg.norm(multivariate_normal((off, 0, 0), 0.16 * np.eye(3)).rvs(60_000, rng), axis=1)
        for off in (1.0, -1.4)
    )
    assert found.cards[0].chance == pytest.approx(float(np.mean(one < other)), abs=0.02)
    assert (found.likeliest, found.rivals) == (0, (1,))
    assert "cannot be told apart from that of" in standing_words(found)[1]


def test_a_sure_best_card_is_told_with_its_chance(store: Store):
    found = store.standing(_kept(store, _off(3.0, 0.2, "retint"), _off(0.8, 0.2, "go")))
    assert (found.likeliest, found.rivals) == (1, ())
    assert (found.vehicle_lab, [card.delta_lab[0] for card in found.cards]) == (CAR, [3.0, 0.8])
    assert found.likely(1) == (found.best,)
    assert found.likely(5) == found.cards
    assert standing_words(found)[1] == "The chance that it really is: over 99 %."


def test_retakes_corrected_checks_and_one_card_twice_do_not_count(store: Store):
    colour = _kept(store, _off(3.0, 0.2, "retint"), _off(0.1, 0.2, "retake"))
    assert store.standing(colour) is None
    card = store.add_card(NewCard(colour=colour))
    wrong = store.save_check(NewCheck(result=_off(0.2, 0.2, "go"), card=card.id))
    store.save_check(NewCheck(result=_off(2.0, 0.2), corrects=wrong.id))
    store.save_check(NewCheck(result=_off(1.0, 0.2), card=card.id))
    found = store.standing(colour)
    assert len(found.cards) == 2
    assert found.best.chance > 0.99


def test_one_best_card_is_told_where_a_card_that_read_near_reads_far_by_now(store: Store):
    colour = _kept(store, _off(1.0, 0.1))
    card = store.add_card(NewCard(colour=colour, mix="faded"))
    store.save_check(NewCheck(result=_off(0.3, 0.1, "go"), card=card.id))
    store.save_check(NewCheck(result=_off(3.0, 0.1, "retint"), card=card.id))
    story, found = store.timeline(colour), store.standing(colour)
    assert story.best.card.mix == "faded"
    assert best_told(story, found).check.delta_e00 == 1.0
    assert best_told(story, None) == story.best
    assert shown(store, colour)[0]["best"]["check"]["delta_e00"] == 1.0


def test_the_best_of_several_cards_is_told_with_its_own_figures_and_no_others_drawer(store: Store):
    near, far = (
        {**_off(*told), "name": name, "chance_nearest": 0.5}
        for name, *told in (("near", 0.4, 0.1, "go"), ("far", 3.4, 0.1, "retint"))
    )
    chosen = {**far, "card_name": "far", "cards": [near, far], "comparison": {"pairs": []}}
    colour = _kept(store, chosen, card=NewCard(place="drawer 3"))
    story, found = store.timeline(colour), store.standing(colour)
    best = best_told(story, found)
    assert (found.best.name, best.card) == ("near", None)
    assert (best.check.verdict, best.check.delta_e00) == ("go", 0.4)
    assert best.check.delta_e00_interval == tuple(near["delta_e00_interval"])
    again = _kept(store, {**chosen, **near, "card_name": "near"}, card=NewCard(place="drawer 4"))
    own = best_told(store.timeline(again), store.standing(again))
    assert (own.card.place, own.check.verdict) == ("drawer 4", "go")


def test_cards_of_one_day_are_told_apart_by_the_time(store: Store):
    found = store.standing(_kept(store, _off(3.0, 0.2, "retint"), _off(0.8, 0.2, "go")))
    assert all(":" in told for told in card_days(found.cards))
    assert card_days(found.cards[:1]) == [f"{found.cards[0].at.astimezone():%Y-%m-%d}"]


def test_another_car_is_left_out(store: Store):
    first = store.save_check(full_check(result=_off(0.2, 0.2, "go")))
    colour = str(first.colour)
    second = store.save_check(NewCheck(result=_off(2.0, 0.2), colour=colour, job=NewJob(car="Invented van")))
    store.save_check(NewCheck(result=_off(3.0, 0.2), colour=colour, job=second.job))
    found = store.standing(colour)
    assert (found.best.check, len(found.cards), found.other_cars) == (second.id, 2, 1)
    assert standing_words(found)[-1] == "Checks that name another car are left out."


def test_cards_of_one_photo_share_its_errors():
    """Off the same way by 1.0 and 1.4 with an error of 0.5: common, their order is sure; each its own, it is not."""
    cards = [
        {**_off(off, 0.5), "name": name, "chance_nearest": 0.5} for off, name in ((1.0, "plain"), (1.4, "less white"))
    ]

    def kept(cross):
        pair = {"cards": ["plain", "less white"], "cross_covariance": (cross * np.eye(3)).tolist()}
        return {**cards[0], "card_name": "plain", "cards": cards, "comparison": {"pairs": [pair]}}

    class Row:
        id, card, job, stands, created_at = "1", None, None, True, None

    shared, apart = (standing([(Row(), kept(cross))], 0.9) for cross in (0.2499, 0.0))
    assert [card.name for card in shared.cards] == ["plain", "less white"]
    assert shared.cards[0].chance > 0.9
    assert 0.55 < apart.cards[0].chance < 0.85
