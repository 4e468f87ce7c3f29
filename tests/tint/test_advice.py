"""The search for additions, and the advice."""

import json
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import differential_evolution

from match.colorimetry import delta_e00, metric_root
from match.tint.advice import advise
from match.tint.answer import Action, WhyNothing
from match.tint.candidates import Setting
from match.tint.search import UNTINTED, Aim, Candidate, Choices, lab_after, search
from match.tint.tinting import understand
from tests.tint.table import BLUE, LIMITS, SHELF, card, job, lab_of, tinted

GOAL = 0.8
TOTAL = sum(BLUE.values())


def step(a_job, **more):
    return advise(a_job, LIMITS, np.random.default_rng(1), goal=GOAL, **more)


@pytest.mark.parametrize(
    "names", [("violet", "black"), ("red", "yellow"), ("white", "orange"), ("black", "red", "white")]
)
def test_search_finds_what_a_global_optimiser_finds(names):
    # Source: scipy's differential evolution on the same squared weighted difference and the same limits.
    mix = {**BLUE, "violet": 1.2, "black": 2.5}
    car = lab_of(BLUE)
    known = understand(job(mix, car), LIMITS)
    columns = tuple(known.model.names.index(n) for n in names)
    choices = Choices(columns, np.full(len(names), 0.03), 0.10)
    W = metric_root(car)

    def loss(x):
        additions = np.zeros(len(SHELF) + 1)
        additions[list(columns)] = x
        return np.sum((W @ (lab_after(known.model, known.pot, known.learned.mean, additions) - car)) ** 2)

    theirs = differential_evolution(loss, [(0, 0.03)] * len(names), rng=1, tol=1e-10, popsize=8, maxiter=80)
    ours = search(Aim(known.model, known.pot, known.learned.mean, car, W), choices, len(names))[0]
    assert ours.weighted_difference <= np.sqrt(theirs.fun) + 1e-3


@pytest.mark.parametrize(("name", "missing"), [("black", 0.6), ("violet", 1.2), ("green-shade blue", 3.0)])
def test_the_toner_left_out_is_the_one_advised(name, missing):
    # Source: the recipe itself: what was left out, per part of the mix.
    mix = {**BLUE, name: BLUE[name] - missing}
    advice = step(job(mix, lab_of(BLUE)), batch_g=600.0)
    assert advice.action == Action.TINT
    (amount,) = advice.amounts
    full_g = 100 * missing / (TOTAL - missing)
    assert amount.name == name
    assert amount.in_formula
    assert amount.full_g == pytest.approx(full_g, rel=2e-3)
    assert amount.pot_g == pytest.approx(min(LIMITS.first_step_share * full_g, 3.0), abs=0.011)
    assert amount.batch_g == pytest.approx(6 * amount.pot_g, abs=0.011)
    assert "not yet shown its strength" in " ".join(advice.reasons)
    assert "pigment model alone" in amount.response.words
    assert advice.after.difference < advice.now.difference
    assert advice.after.low <= advice.after.difference <= advice.after.high


def test_two_toners_left_out_are_both_found():
    mix = {**BLUE, "black": 2.0, "violet": 0.4}
    advice = step(job(mix, lab_of(BLUE)))
    full = {a.name: a.full_g for a in advice.amounts}
    assert full == pytest.approx({"black": 100 / (TOTAL - 2.6), "violet": 160 / (TOTAL - 2.6)}, rel=0.02)


recipes = st.fixed_dictionaries({name: st.floats(0.2, 30) for name in ("white", "red", "yellow", "black")})


@settings(max_examples=12)
@given(recipes, recipes)
def test_additions_stay_within_the_limits(mix, other):
    weight = 0.08
    car = lab_of({name: (1 - weight) * mix[name] + weight * other[name] for name in mix})
    advice = step(job(mix, car))
    assert advice.action in (Action.TINT, Action.STOP, Action.START_AGAIN)
    for amount in advice.amounts:
        assert 0 < amount.percent <= 100 * LIMITS.toner_step_share + 1e-9
        assert round(amount.pot_g, 2) == amount.pot_g
    assert sum(a.percent for a in advice.amounts) <= 100 * LIMITS.total_share
    assert len(advice.amounts) <= LIMITS.most_toners
    json.dumps(advice.as_dict())


def test_predicted_card_is_the_card_that_comes():
    mix = {**BLUE, "violet": 1.0}
    before = job(mix, lab_of(BLUE))
    advice = step(before)
    after = tinted(before, mix, {a.name: a.pot_g for a in advice.amounts})
    assert delta_e00(advice.predicted_lab, after.log.steps[-1].after.lab) < 0.02


def test_a_large_amount_is_taken_in_steps_without_going_short_twice():
    mix = {**BLUE, "green-shade blue": 14.0}
    (amount,) = step(job(mix, lab_of(BLUE))).amounts
    assert amount.full_g == pytest.approx(100 * 6 / (TOTAL - 6), rel=0.02)
    assert amount.percent == pytest.approx(100 * LIMITS.toner_step_share)


def test_a_second_toner_must_pay():
    dear = replace(LIMITS, toner_gain=5.0)
    mix = {**BLUE, "black": 2.5, "violet": 1.0}
    a_job = job(mix, lab_of(BLUE))
    assert len(advise(a_job, dear, np.random.default_rng(1), goal=GOAL).amounts) == 1
    assert len(step(a_job).amounts) >= 2


def test_a_toner_outside_the_formula_is_flagged_and_avoided():
    mix = {**BLUE, "violet": 0.6}
    car = lab_of(BLUE)
    assert all(a.in_formula for a in step(job(mix, car)).amounts)
    forced = step(job(mix, car, allowed=("magenta", "red")))
    assert forced.action == Action.TINT
    assert not any(a.in_formula for a in forced.amounts)
    assert "not in the formula" in " ".join(forced.reasons)
    assert {shift.illuminant for shift in forced.lamps} == {"A", "FL11"}


def test_lamp_shift_of_a_foreign_toner_is_larger_than_of_the_missing_one():
    mix = {**BLUE, "green-shade blue": 15.0}
    car = lab_of(BLUE)
    own = step(job(mix, car, allowed=("green-shade blue",)))
    foreign = step(job(mix, car, allowed=("red-shade blue", "green")))
    worst = [max(shift.index for shift in advice.lamps) for advice in (own, foreign)]
    assert worst[1] > worst[0]


def test_learned_strength_shortens_the_doubt_and_lengthens_the_step():
    mix = {**BLUE, "violet": 0.2}
    car = lab_of(BLUE)
    first = job(mix, car, sd=0.05)
    second = tinted(first, mix, {"violet": 0.8}, sd=0.05)
    shares = [next(a.step_share for a in step(j).amounts if a.name == "violet") for j in (first, second)]
    assert shares[0] == pytest.approx(LIMITS.first_step_share, abs=0.01)
    assert shares[1] > shares[0]
    words = next(a.response.words for a in step(second).amounts if a.name == "violet")
    assert "learned from your cards" in words


def test_close_enough_is_left_alone():
    advice = step(job(BLUE, lab_of(BLUE) + np.array([0.4, 0.0, 0.0])))
    assert (advice.action, advice.why) == (Action.STOP, WhyNothing.CLOSE_ENOUGH)
    assert advice.amounts == ()
    assert advice.now.chance_within_goal > 0.5


def test_a_difference_within_the_noise_asks_for_another_photo():
    car = lab_of(BLUE) + np.array([1.5, 0.0, 0.0])
    advice = step(job(BLUE, car, sd=1.5))
    assert (advice.action, advice.why) == (Action.STOP, WhyNothing.WITHIN_DOUBT)
    assert "Photograph the same card again" in advice.way_out


def test_a_card_too_dark_is_said_to_be():
    car = lab_of({**BLUE, "black": 1.0})
    advice = step(job(BLUE, car, allowed=("black", "violet", "green-shade blue")))
    assert (advice.action, advice.why) == (Action.START_AGAIN, WhyNothing.NOTHING_HELPS)
    assert "too dark" in " ".join(advice.reasons)
    assert "another alternate" in advice.reasons[-1]


def test_more_toner_than_paint_can_take_is_said_to_be_needed():
    mix = {"white": 60.0, "black": 3.0}
    car = lab_of({"white": 130.0, "black": 3.0})
    strict = replace(LIMITS, total_share=0.002)
    advice = advise(job(mix, car, allowed=("white",)), strict, np.random.default_rng(1), goal=GOAL)
    assert (advice.action, advice.why) == (Action.START_AGAIN, WhyNothing.NOTHING_HELPS)
    assert "would take about" in " ".join(advice.reasons)


def over_tinted(pot_g=100.0):
    """Return a job whose car needs 2 g of blue in 100 g, and that got 4 g."""
    mix = {**BLUE, "green-shade blue": 12.0}
    total = sum(mix.values())
    car = lab_of({**mix, "green-shade blue": 12.0 + 0.02 * total})
    return tinted(job(mix, car, pot_g), mix, {"green-shade blue": 8.0 * pot_g / 100})


def test_an_over_tinted_pot_is_thinned_with_the_reserve():
    # Source: proportion: 8 g in 100 g against 2 g in 100 g asks for 300 g of untinted paint.
    advice = step(replace(over_tinted(), allowed=("violet",)), reserve_g=1000.0)
    assert advice.action == Action.TINT
    assert advice.untinted_g == pytest.approx(300.0, rel=0.01)
    assert advice.amounts == ()
    assert "thins out" in " ".join(advice.reasons)


def test_an_over_tinted_pot_without_reserve_is_told_how_much_would_help():
    advice = step(replace(over_tinted(), allowed=("violet",)))
    assert (advice.action, advice.why) == (Action.START_AGAIN, WhyNothing.NOTHING_HELPS)
    assert "about 300 g of untinted paint" in " ".join(advice.reasons)


def test_no_more_thinning_than_there_is_reserve():
    assert step(replace(over_tinted(), allowed=("violet",)), reserve_g=40.0).untinted_g == pytest.approx(40.0)


def test_untinted_paint_is_a_choice_of_the_search():
    known = understand(over_tinted(), LIMITS)
    choices = Choices((len(SHELF),), np.array([10.0]), 0.0)
    W = metric_root(known.job.vehicle_lab)
    aim = Aim(known.model, known.pot, known.learned.mean, known.job.vehicle_lab, W)
    (found,) = search(aim, choices, 1)
    assert found.used == (len(SHELF),)
    assert UNTINTED == "untinted paint"


def test_amounts_below_the_scale_ask_for_a_larger_pot():
    mix = {**BLUE, "black": 2.6}
    tiny = step(job(mix, lab_of(BLUE), pot_g=1.0))
    assert (tiny.action, tiny.why) == (Action.STOP, WhyNothing.TOO_SMALL)
    assert "larger pot" in " ".join(tiny.reasons)
    small = step(job(mix, lab_of(BLUE), pot_g=10.0))
    assert small.action == Action.TINT
    assert "hard to weigh" in " ".join(small.reasons)


def test_without_a_formula_the_advice_says_that_it_is_rougher():
    car = lab_of(BLUE)
    known = job({**BLUE, "black": 2.2}, car)
    guessed = step(replace(known, formula=None))
    assert guessed.action == Action.TINT
    assert "formula is not known" in " ".join(guessed.reasons)
    share = guessed.amounts[0].step_share
    assert share < LIMITS.first_step_share


def test_the_batch_follows_the_pot():
    mix = {**BLUE, "violet": 0.5, "black": 2.5}
    after = tinted(job(mix, lab_of(BLUE)), mix, {"violet": 0.6})
    advice = step(after, batch_g=1000.0)
    violet = 10 * (0.6 + sum(a.pot_g for a in advice.amounts if a.name == "violet"))
    assert advice.batch_g["violet"] == pytest.approx(violet, abs=0.02)


def test_the_same_draws_give_the_same_advice():
    a_job = job({**BLUE, "black": 2.4}, lab_of(BLUE))
    assert step(a_job).as_dict() == step(a_job).as_dict()


def test_a_card_is_what_the_table_says():
    assert card(lab_of(BLUE), lab_of(BLUE)).covariance[0, 0] == pytest.approx(0.25**2)


def test_what_is_held_back_is_said_as_the_share_that_is_poured():
    found = step(job({**BLUE, "black": 1.0}, lab_of({**BLUE, "black": 2.5})))
    (amount,) = found.amounts
    assert amount.step_share < 1.0
    said = [int(number) for reason in found.reasons for number in re.findall(r"only (\d+) % of the calculated", reason)]
    assert said == [pytest.approx(100.0 * amount.pot_g / amount.full_g, abs=1.0)]  # weighed to a balance's step


@pytest.mark.parametrize(
    ("grams", "more", "outside"),
    [((1, 0, 0), 0, 0), ((0, 1, 0), 0, 1), ((0, 0, 1), 0, 0), ((1, 0, 1), 1, 0), ((0, 1, 1), 1, 1)],
)
def test_a_set_pays_for_each_further_addition_and_each_toner_outside_but_untinted_paint_is_none(grams, more, outside):
    known = SimpleNamespace(
        model=SimpleNamespace(names=("own", "foreign")), base=SimpleNamespace(guessed=False, formula={"own": 1.0})
    )
    setting = Setting(known, LIMITS, np.zeros((1, 11)), np.eye(3), goal=0.8, batch_g=0.0, reserve_g=0.0)
    price = setting.price(Candidate(np.array(grams, dtype=float), 0.0))
    assert price == pytest.approx(more * LIMITS.toner_gain + outside * LIMITS.outside_gain)
