"""Whether the last tint moved the right way."""

import json
from dataclasses import replace

import numpy as np
import pytest

from match.colorimetry import metric_root
from match.errors import TintError
from match.tint.advice import advise
from match.tint.answer import WhyNothing
from match.tint.attempt import Deed, check_attempt, compare_move, predicted_move
from match.tint.card import CardColour
from match.tint.look_first import Look
from match.tint.pot import TintStep
from tests.tint.table import BLUE, LIMITS, SHELF, job, lab_of, tinted

GOAL = 0.8
MIX = {**BLUE, "violet": 0.3, "green-shade blue": 16.0}
CAR = lab_of(BLUE)


def check(a_job):
    rng = np.random.default_rng(2)
    return check_attempt(a_job, LIMITS, rng, advise(a_job, LIMITS, rng, goal=GOAL, batch_g=500.0))


def with_strength(name, factor):
    return {**SHELF, name: SHELF[name].with_strength(factor)}


def test_a_tint_as_predicted_is_said_to_be():
    # Source: the card is the model's own mixture, so ratio 1 and angle 0.
    found = check(tinted(job(MIX, CAR), MIX, {"violet": 1.0}))
    assert found.move.seen
    assert found.move.as_predicted
    assert found.move.ratio == pytest.approx(1.0, abs=0.01)
    assert found.move.angle_degrees == pytest.approx(0, abs=1.0)
    assert found.trend == "closer"
    assert found.difference_after < found.difference_before
    assert found.recommendation in (Deed.GO_ON, Deed.OTHER, Deed.HALVE)
    np.testing.assert_allclose(found.left, CAR - lab_of({**MIX, "violet": 0.3 + 0.01 * sum(MIX.values())}), atol=1e-9)
    json.dumps(found.as_dict())


def test_running_totals_are_what_was_poured():
    now = tinted(tinted(job(MIX, CAR), MIX, {"violet": 0.6}), MIX, {"violet": 0.3, "green-shade blue": 1.0})
    found = check(now)
    assert found.added_g == pytest.approx({"untinted paint": 100.0, "violet": 0.9, "green-shade blue": 1.0})
    assert found.in_pot_g == pytest.approx(found.added_g)
    assert {r.name for r in found.responses} == set(MIX)


def test_paint_that_did_not_change_shows_no_move():
    before = job(MIX, CAR)
    same = TintStep({"violet": 1.2}, after=before.log.start)
    found = check(replace(before, log=replace(before.log, steps=(same,))))
    assert not found.move.seen
    assert found.reasons[0].startswith("No move seen")
    assert found.recommendation == Deed.END
    assert "should have been seen" in found.reasons[1]
    assert found.look_first[0] is Look.STIRRING


def test_a_step_that_added_nothing_has_no_ratio_in_json():
    found = check(tinted(job(MIX, CAR), MIX, {}))
    assert found.as_dict()["move"]["ratio_sd"] is None
    json.dumps(found.as_dict(), allow_nan=False)


def test_a_move_smaller_than_its_doubt_is_no_move():
    before = job(MIX, CAR, sd=0.8)
    found = check(tinted(before, MIX, {"violet": 0.1}, sd=0.8))
    assert not found.move.seen
    assert not found.move.visible
    assert found.trend == "no clear change"
    assert "should have been seen" not in " ".join(found.reasons)


def test_a_toner_four_times_as_strong_is_noticed_and_likelier_causes_named():
    found = check(tinted(job(MIX, CAR, sd=0.1), MIX, {"violet": 1.0}, with_strength("violet", 4.0), sd=0.1))
    # the start card is the nominal paint's; only the added toner and the little violet in the mix are stronger
    assert found.move.ratio > LIMITS.strong_ratio
    assert not found.move.as_predicted
    assert found.look_first[0] is Look.STIRRING  # along the predicted way, too far: toner that had not been stirred in
    assert set(found.look_first) == set(Look)


@pytest.mark.parametrize(
    ("missed_by", "first"), [((6.0, 0.0, 0.0), Look.HIDING), ((1.0, 5.0, 5.0), Look.PHOTO), ((0.0, 0.0, 0.0), None)]
)
def test_how_a_card_misses_its_prediction_says_where_to_look_first(missed_by, first):
    # Source: a film that lets the ground through changes lightness most (common practice); the rest is our own order.
    tried = tinted(job(MIX, CAR, sd=0.2), MIX, {"violet": 1.0}, sd=0.2)
    last = tried.log.steps[-1]
    off = replace(last, after=CardColour(last.after.lab + np.array(missed_by), last.after.covariance))
    found = check(replace(tried, log=replace(tried.log, steps=(off,))))
    assert found.look_first[:1] == (() if first is None else (first,))


def test_a_strong_toner_that_is_still_wanted_is_halved():
    mix = {**BLUE, "black": 1.0}
    found = check(
        tinted(
            job(mix, lab_of({**BLUE, "black": 6.0}), sd=0.1), mix, {"black": 1.0}, with_strength("black", 1.9), sd=0.1
        )
    )
    assert found.move.ratio > LIMITS.strong_ratio
    assert found.recommendation == Deed.HALVE


def test_a_move_of_double_size_that_noise_could_make_says_nothing_of_the_toner():
    mix, car = {**BLUE, "black": 1.0}, lab_of({**BLUE, "black": 6.0})
    strong = with_strength("black", 1.9)
    found = {sd: check(tinted(job(mix, car, sd=sd), mix, {"black": 1.0}, strong, sd=sd)) for sd in (0.1, 4.0)}
    assert found[4.0].move.ratio == pytest.approx(found[0.1].move.ratio, abs=0.05)
    assert "times as far as predicted." in " ".join(found[0.1].reasons)
    assert "times as far as predicted." not in " ".join(found[4.0].reasons)


def test_the_wrong_toner_calls_for_another():
    mix = {**BLUE, "violet": 0.3}
    found = check(tinted(job(mix, CAR), mix, {"green": 2.5}))
    assert found.trend == "farther"
    assert found.recommendation == Deed.OTHER
    assert "moved away" in " ".join(found.reasons)
    assert "green" not in {a.name for a in found.next_step.amounts}


def test_reaching_the_goal_ends_tinting():
    mix = {**BLUE, "violet": 0.8}
    missing = 100 * 1.2 / sum(mix.values())
    found = check(tinted(job(mix, CAR), mix, {"violet": missing}))
    assert found.difference_after == pytest.approx(0, abs=1e-6)
    assert found.recommendation == Deed.END
    assert found.next_step.why == WhyNothing.CLOSE_ENOUGH
    assert found.left_words == ()


def test_a_small_remainder_of_the_same_toner_is_halved_or_less():
    mix = {**BLUE, "black": 1.4}
    wanted = 100 * 1.6 / sum(mix.values())
    found = check(tinted(job(mix, CAR, sd=0.1), mix, {"black": 0.65 * wanted}, sd=0.1))
    assert found.recommendation in (Deed.HALVE, Deed.END)


def test_of_a_remainder_it_is_said_what_share_of_the_last_amount_it_is():
    """The remainder is the model's own: 10 of 16 parts were poured, so 6 are left, which is 60 % of 10."""
    mix = {**BLUE, "black": 1.4}
    poured = 100 * 1.0 / sum(mix.values())
    easy = replace(LIMITS, halve_share=0.9)
    rng = np.random.default_rng(2)
    now = tinted(job(mix, lab_of({**BLUE, "black": 3.0}), sd=0.05), mix, {"black": poured}, sd=0.05)
    found = check_attempt(now, easy, rng, advise(now, easy, rng, goal=0.1, batch_g=500.0))
    (black,) = found.next_step.amounts
    assert black.full_g / poured == pytest.approx(0.6, rel=0.01)
    assert found.recommendation == Deed.HALVE
    assert found.reasons[-1] == f"Add about {black.pot_g / poured:.0%} of the last amount of black.".replace("%", " %")


def test_an_addition_without_a_card_is_measured_with_the_next():
    before = job(MIX, CAR)
    twice = replace(before, log=replace(before.log, steps=(TintStep({"violet": 0.4}),)))
    found = check(tinted(twice, MIX, {"violet": 0.6}))
    assert found.move.ratio == pytest.approx(1.0, abs=0.02)


def test_later_steps_without_a_card_do_not_count_yet():
    now = tinted(job(MIX, CAR), MIX, {"violet": 0.6})
    later = replace(now, log=replace(now.log, steps=(*now.log.steps, TintStep({"violet": 5.0}))))
    following = check(now).next_step
    one, other = (check_attempt(j, LIMITS, np.random.default_rng(2), following) for j in (now, later))
    assert one.as_dict() == other.as_dict()


def test_nothing_measured_yet_is_refused():
    with pytest.raises(TintError, match="no card after a tint"):
        check(job(MIX, CAR))
    before = job(MIX, CAR)
    unmeasured = replace(before, log=replace(before.log, steps=(TintStep({"violet": 1.0}),)))
    with pytest.raises(TintError, match="no card after a tint"):
        check(unmeasured)


def test_a_false_alarm_of_a_move_is_as_rare_as_stated():
    # Source: a 95 % test has 5 % false alarms by definition; 200 unchanged pots give 10, and 2 to 20 with 99.8 % chance
    # (binomial distribution).
    rng = np.random.default_rng(7)
    before = job(MIX, CAR)
    paint = before.log.start.lab
    card = CardColour(paint, 0.25**2 * np.eye(3))
    step = TintStep({"violet": 0.5}, after=card)
    predicted, doubt = predicted_move(replace(before, log=replace(before.log, steps=(step,))), LIMITS)
    spread = np.sqrt(0.25**2 + LIMITS.card_sd**2)
    seen = 0
    for _ in range(200):
        first, second = (CardColour(paint + rng.normal(0, spread, 3), 0.25**2 * np.eye(3)) for _ in range(2))
        seen += compare_move(predicted, doubt, first, second, metric_root(CAR), LIMITS).seen
    assert 2 <= seen <= 20


def _with_card(a_job, place, lab):
    """Return the job with another card after one of its steps."""
    steps = list(a_job.log.steps)
    steps[place] = replace(steps[place], after=CardColour(lab, steps[place].after.covariance))
    return replace(a_job, log=replace(a_job.log, steps=tuple(steps)))


def test_a_card_is_predicted_from_those_before_it_and_never_from_itself():
    shelf = with_strength("violet", 2.0)
    once = tinted(replace(job(MIX, CAR), formula=None), MIX, {"violet": 0.6}, shelf)
    twice = tinted(once, MIX, {"violet": 0.3}, shelf)
    thrice = tinted(twice, MIX, {"violet": 0.2}, shelf)
    for now in (once, twice, thrice):
        other = _with_card(now, -1, now.log.steps[-1].after.lab + np.array([3.0, 2.0, -4.0]))
        for one, another in zip(predicted_move(now, LIMITS), predicted_move(other, LIMITS), strict=True):
            np.testing.assert_array_equal(one, another)
    for now in (twice, thrice):
        earlier = _with_card(now, -2, now.log.steps[-2].after.lab + np.array([1.0, 0.0, 0.0]))
        assert not np.allclose(predicted_move(now, LIMITS)[0], predicted_move(earlier, LIMITS)[0], atol=1e-3)
