"""The advice where the formula is known: pour lists, toners from outside, ways out, and what the story keeps."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from match.colorimetry import delta_e00
from match.errors import TintError
from match.tint.answer import Action, WhyNothing
from match.tint.attempt import Deed
from match.tint.card import CheckedCard
from match.tint.mix_advice import advise_mix
from match.tint.mix_known import know_mix, mix_responses
from match.tint.pot import TintStep
from match.tint.pour import NextMix, on_top_of
from match.tint.shelf_file import Shelf
from match.tint.story import Mix, begin, story_from
from match.tint.tinting import Wanted
from match.tint.what_next import answer, headline
from match.tint.words import PHOTO_AGAIN
from tests.tint.table import BLUE, FILE, LIMITS, SHELF, job, lab_of

SHELF_FILE = Shelf(SHELF, FILE.optics, (), {})
CAR = lab_of(BLUE)
TOO_MUCH = {**BLUE, "black": 4.0, "violet": 3.2}
"""What the car's paint holds, and more of two toners: no addition makes it right, a mix does."""


def advised(mix, car=CAR, wanted=None, goal=0.8, **more):
    return advise_mix(job(mix, car, **more), LIMITS, goal=goal, wanted=wanted or Wanted())


def checked(lab, car=CAR, sd=0.25, name="card"):
    rows = tuple(tuple(row) for row in (sd**2 * np.eye(3)).tolist())
    return CheckedCard(name, tuple((lab - car).tolist()), rows, tuple(car.tolist()), 0.8)


def pot(mix=TOO_MUCH):
    return begin(checked(lab_of(mix)), 100.0, Mix(dict(mix)))


def test_too_much_of_a_toner_is_put_right_by_less_of_it():
    # Source: the recipe itself.
    found = advised(TOO_MUCH)
    assert found.advice.action == Action.NEXT_MIX
    assert delta_e00(lab_of(found.next_mix.grams), CAR) < 0.8
    assert delta_e00(lab_of(TOO_MUCH), CAR) > 2.0
    before = {name: 100 * parts / sum(TOO_MUCH.values()) for name, parts in TOO_MUCH.items()}
    assert found.next_mix.grams["black"] < before["black"]
    assert found.next_mix.foreign == ()


recipes = st.fixed_dictionaries({name: st.floats(0.5, 40) for name in ("white", "red", "yellow", "black")})


@settings(max_examples=8, deadline=None)
@given(recipes, recipes, st.floats(20, 900), st.booleans())
def test_a_pour_list_adds_up_is_never_negative_and_makes_the_amount_wanted(mix, other, mix_g, binder):
    weight = 0.15
    car = lab_of({name: (1 - weight) * mix[name] + weight * other[name] for name in mix})
    share = 0.6 if binder else 1.0
    found = advised(mix, car, Wanted(mix_g=mix_g), toner_share=share).next_mix
    if found is None:
        return
    grams = [pour.g for pour in found.toners]
    assert min(grams) > 0
    assert [pour.running_total_g for pour in found.toners] == pytest.approx(np.cumsum(grams).tolist(), abs=1e-6)
    assert sum(grams) + found.binder_g == pytest.approx(round(mix_g, 2), abs=0.0101)
    assert found.poured_g == found.total_g
    assert found.binder_g == pytest.approx((1 - share) * mix_g, abs=0.02)
    assert all(round(g, 2) == pytest.approx(g, abs=1e-9) for g in grams)
    assert all(pour.g >= LIMITS.least_weighed_g - 0.0051 for pour in found.toners)
    json.dumps(found.as_dict())


def test_an_addition_holds_few_toners_and_stays_within_the_pot():
    found = advised({**BLUE, "black": 1.8, "violet": 1.0, "green-shade blue": 17.0}, wanted=Wanted(ways=(Action.TINT,)))
    assert found.advice.action == Action.TINT
    assert found.next_mix is None
    assert len(found.advice.amounts) <= LIMITS.most_toners
    assert sum(amount.percent for amount in found.advice.amounts) <= 100 * LIMITS.pot_share
    assert all(amount.pot_g >= LIMITS.least_weighed_g for amount in found.advice.amounts)


def test_a_capped_toner_leaves_the_others_their_amounts():
    # The car lacks white beyond what may be added, and black: white at its limit must not shrink black to nothing.
    mix = {"white": 20.0, "green-shade blue": 20.0, "violet": 2.0}
    car = lab_of({"white": 40.0, "green-shade blue": 20.0, "violet": 4.0})
    tight = replace(LIMITS, pot_share=0.05)
    found = advise_mix(job(mix, car), tight, goal=0.8, wanted=Wanted(ways=(Action.TINT,))).advice
    amounts = {amount.name: amount for amount in found.amounts}
    assert amounts["white"].full_g > 5.0 > amounts["white"].pot_g - 1e-9
    assert sum(amount.pot_g for amount in found.amounts) <= 5.01


def test_a_toner_from_outside_comes_with_its_gain_and_its_risk():
    mix = {"white": 80.0, "black": 1.0, "green-shade blue": 3.0}
    car = lab_of({**mix, "oxide red": 6.0})
    found = advised(mix, car)
    assert found.next_mix.foreign
    assert found.next_mix.gain >= LIMITS.outside_gain
    said = " ".join(found.advice.reasons)
    assert "not in the formula" in said
    assert "another light" in said
    alone = advised(mix, car, allowed=tuple(mix))
    assert not alone.next_mix or not alone.next_mix.foreign


def test_a_hopeless_pot_is_told_so_with_the_way_out():
    mix = {"white": 80.0, "black": 2.0}
    car = lab_of({"white": 80.0, "black": 2.0, "red": 6.0})
    found = advised(mix, car, allowed=("white", "black")).advice
    assert found.action == Action.START_AGAIN
    assert "another alternate" in found.way_out
    assert "no nearer than" in " ".join(found.reasons)


def test_a_match_is_left_alone():
    found = advised(BLUE).advice
    assert (found.action, found.why, found.way_out) == (Action.STOP, WhyNothing.CLOSE_ENOUGH, "")
    assert found.others == ()


def test_where_it_is_close_enough_a_step_that_would_still_help_is_offered_and_not_asked_for():
    short = {**BLUE, "black": 0.9 * BLUE["black"]}
    found = advised(short, sd=0.1, goal=1.5).advice
    assert (found.action, found.why) == (Action.STOP, WhyNothing.CLOSE_ENOUGH)
    (offer,) = found.others
    assert "Not needed" in found.reasons[1]
    total = sum(short.values())
    poured = {name: 100 * parts / total for name, parts in short.items()}
    for name, grams in zip(offer.toners, offer.full_g, strict=True):
        poured[name] = poured.get(name, 0.0) + grams
    assert delta_e00(lab_of(poured), CAR) < delta_e00(lab_of(short), CAR) - LIMITS.offer_gain
    assert advised(short, sd=0.1, goal=1.5, wanted=Wanted(ways=(Action.NEXT_MIX,))).advice.others == ()


def test_a_step_of_next_to_no_gain_waits_for_one_more_photo_and_is_said_all_the_same():
    short, demanding = {**BLUE, "black": 0.85 * BLUE["black"]}, replace(LIMITS, least_gain=1.0)
    once = job(short, CAR, sd=0.3)
    first = advise_mix(once, demanding, goal=0.3, wanted=Wanted()).advice
    assert (first.action, first.why, first.way_out) == (Action.STOP, WhyNothing.WITHIN_DOUBT, PHOTO_AGAIN)
    (step,) = first.others
    assert f"{step.full_g[0]:.2f} g {step.toners[0]}" in first.reasons[-1]
    twice = replace(once, log=replace(once.log, steps=(TintStep({}, after=once.log.start),)))
    assert advise_mix(twice, demanding, goal=0.3, wanted=Wanted()).advice.is_step
    assert advise_mix(once, LIMITS, goal=0.3, wanted=Wanted()).advice.is_step  # where it gains enough


def test_after_an_addition_one_more_photo_is_asked_for_rather_than_to_stop_adding():
    short = {**BLUE, "black": 0.5 * BLUE["black"]}
    total = sum(short.values())
    after = {**short, "black": short["black"] + 0.01 * total}
    story = begin(checked(lab_of(short), sd=0.3), 100.0, Mix(dict(short)), goal=0.2)
    story = story.added({"black": 1.0}).sprayed(checked(lab_of(after), sd=0.3))
    found = answer(story, SHELF_FILE, replace(LIMITS, least_gain=5.0))
    assert found.attempt.recommendation is Deed.PHOTO
    assert headline(found).startswith("Photograph the card again")


def test_an_undecided_photo_still_gets_a_step_whose_direction_is_sure():
    mix = {**BLUE, "black": 1.5}
    found = advised(mix, sd=1.2).advice
    assert found.action in (Action.TINT, Action.NEXT_MIX)
    assert found.chance_closer > 0.5
    hopeless = advised({**BLUE, "black": 2.7}, sd=3.0).advice
    assert hopeless.action == Action.STOP
    assert hopeless.way_out.startswith("Photograph the same card again")


def test_a_mix_may_go_on_top_of_the_pot():
    # Source: proportion: every pour plus what is in the pot makes the wanted shares.
    found = advised(TOO_MUCH, wanted=Wanted(mix_g=100.0, on_top=True))
    mix = found.next_mix
    assert mix.on_top
    held = {name: 100 * parts / sum(TOO_MUCH.values()) for name, parts in TOO_MUCH.items()}
    whole = {name: held[name] + mix.grams.get(name, 0.0) for name in held}
    assert mix.total_g == pytest.approx(sum(whole.values()), abs=0.01)
    assert delta_e00(lab_of(whole), CAR) < 0.7
    assert sum(mix.grams.values()) == pytest.approx(mix.poured_g)


def test_what_a_pot_holds_cannot_be_poured_away():
    assert on_top_of({"black": 1.0}, {"white": 1.0}, 10.0) is None
    assert on_top_of({"black": 1.0}, {"white": 0.9, "black": 0.1}, 5.0) == pytest.approx({"white": 9.0, "black": 0.0})


def test_the_next_card_is_learned_from_and_named_by_cards_that_held_the_toner():
    story = pot()
    first = answer(story, SHELF_FILE, LIMITS)
    story = story.mixed(first.next_mix).sprayed(checked(lab_of(first.next_mix.grams), name="second"))
    second = answer(story, SHELF_FILE, LIMITS)
    assert second.attempt.move.ratio == pytest.approx(1.0, abs=0.02)
    assert second.advice.action == Action.STOP
    assert headline(second).startswith("Stop here")
    known = know_mix(story.job(SHELF_FILE), LIMITS)
    assert known.belief.held == (2, 2, 2, 2)
    assert {r.name for r in mix_responses(known.belief, ("violet", "red"))} == {"violet"}


def test_the_story_keeps_a_next_mix():
    story = pot().mixed(answer(pot(), SHELF_FILE, LIMITS).next_mix)
    assert story_from(json.loads(json.dumps(story.as_dict())), "pot") == story
    assert story.pot.paint_g == pytest.approx(100.0)
    assert story.pot.base_share == 0.0
    with pytest.raises(TintError, match="has no card yet"):
        story.mixed(answer(pot(), SHELF_FILE, LIMITS).next_mix)


def test_the_same_story_gets_the_same_answer():
    one, other = (answer(pot(), SHELF_FILE, LIMITS).as_dict() for _ in range(2))
    assert one == other
    assert isinstance(answer(pot(), SHELF_FILE, LIMITS).next_mix, NextMix)
