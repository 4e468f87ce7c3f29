"""Base paint, prediction and learning from cards."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import approx_fprime

from match.colorimetry import delta_e00
from match.errors import TintError
from match.tint.card import CardColour
from match.tint.learn import lab_jacobian, learn, predicted_lab, prior_belief
from match.tint.paint import base_paint, guess_formula, lab_change, tint_model, tinted_reflectance, turned
from match.tint.pigment import mixture, opaque_reflectance
from match.tint.pot import TintLog, TintStep
from match.tint.tinting import TintJob, understand
from match.tint.viewing import lab_from_reflectance
from tests.tint.table import BLUE, FILE, LIMITS, SHELF, card, job, lab_of, tinted


def test_base_paint_with_the_right_formula_is_the_formula():
    # Source: Duncan's additivity: nothing is left to correct.
    base = base_paint(lab_of(BLUE), SHELF, FILE.optics, BLUE)
    K, S = mixture([SHELF[n] for n in BLUE], np.array(list(BLUE.values())) / sum(BLUE.values()))
    np.testing.assert_allclose(base.absorption, K, rtol=1e-6)
    np.testing.assert_allclose(base.scattering, S, rtol=1e-12)


def test_base_paint_reproduces_what_was_measured():
    measured = lab_of(BLUE) + np.array([1.5, -2.0, 1.0])
    for formula in (BLUE, None):
        base = base_paint(measured, SHELF, FILE.optics, formula)
        model = tint_model(base, SHELF, FILE.optics)
        seen = lab_from_reflectance(tinted_reflectance(model, np.zeros(len(SHELF)), 0.0))
        np.testing.assert_allclose(seen, measured, atol=1e-5)
        assert base.guessed == (formula is None)


def test_formula_is_guessed_from_a_full_spectrum():
    # Source: least squares on exact equations has the exact solution.
    K, S = mixture([SHELF[n] for n in BLUE], np.array(list(BLUE.values())) / sum(BLUE.values()))
    shares = guess_formula(opaque_reflectance(K, S), SHELF)
    for name, parts in BLUE.items():
        assert shares[name] == pytest.approx(parts / sum(BLUE.values()), abs=1e-4)


def test_binder_in_the_paint_makes_toner_act_stronger():
    thin = base_paint(lab_of(BLUE), SHELF, FILE.optics, BLUE, toner_share=0.5)
    full = base_paint(lab_of(BLUE), SHELF, FILE.optics, BLUE)
    x = np.zeros(len(SHELF))
    x[list(SHELF).index("black")] = 0.01
    half = lab_change(tint_model(thin, SHELF, FILE.optics), x, np.zeros(len(SHELF)))
    same = lab_change(tint_model(full, SHELF, FILE.optics), 2 * x, np.zeros(len(SHELF)))
    np.testing.assert_allclose(half, same, atol=1e-9)
    for share in (0.0, 1.5):
        with pytest.raises(TintError, match="share of toner"):
            base_paint(lab_of(BLUE), SHELF, FILE.optics, BLUE, toner_share=share)


def test_predicted_colour_is_the_mixtures():
    # Source: mixing the larger recipe outright.
    more = {**BLUE, "red": 1.7}
    base = base_paint(lab_of(BLUE), SHELF, FILE.optics, BLUE)
    model = tint_model(base, SHELF, FILE.optics)
    change = lab_change(model, model.parts({"red": 1.7 / sum(BLUE.values())}), np.zeros(len(SHELF)))
    np.testing.assert_allclose(lab_of(BLUE) + change, lab_of(more), atol=1e-5)


def test_prediction_adds_the_change_so_that_a_wrong_base_cancels():
    wrong = lab_of(BLUE) + np.array([2.0, 1.0, -1.0])
    base = base_paint(wrong, SHELF, FILE.optics, BLUE)
    model = tint_model(base, SHELF, FILE.optics)
    x = model.parts({"violet": 0.01})
    change = lab_change(model, x, np.zeros(len(SHELF)))
    truth = lab_of({**BLUE, "violet": 2.0 + 0.01 * sum(BLUE.values())}) - lab_of(BLUE)
    assert np.linalg.norm(change - truth) < 0.2 * np.linalg.norm(truth)


def test_a_turn_acts_across_the_effect_only():
    effect = np.array([3.0, 0.0, 4.0])
    np.testing.assert_allclose(turned(effect, effect / 5), 0, atol=1e-12)
    across = turned(effect, np.array([0.0, 0.1, 0.0]))
    np.testing.assert_allclose(across, [0, 0.5, 0])


def test_jacobian_is_the_derivative():
    # Source: finite differences by scipy, except across the effect's own turn with strength, which is second order.
    base = base_paint(lab_of(BLUE), SHELF, FILE.optics, BLUE)
    model = tint_model(base, SHELF, FILE.optics)
    x = model.parts({"violet": 0.01, "black": 0.004})
    u = np.concatenate([lab_of(BLUE), np.zeros(4 * len(SHELF))])
    theirs = approx_fprime(u, lambda v: predicted_lab(model, v, x), 1e-6)
    np.testing.assert_allclose(lab_jacobian(model, u, x), theirs, atol=2e-3)


def test_learned_strength_is_the_posterior_by_weighted_draws():
    # Source: Bayes' rule by brute force: draws from the prior, weighted by the likelihood of the measured move
    # (importance sampling, 40,000 draws), for one toner.
    shelf = {"violet": SHELF["violet"]}
    car = lab_of(BLUE)
    mix = {**BLUE, "violet": 1.0}
    start, after = card(lab_of(mix), car), card(lab_of({**mix, "violet": 2.3}) + np.array([0.2, -0.3, 0.1]), car)
    log = TintLog(84.0, start, (TintStep({"violet": 1.0}, after=after),))
    model = tint_model(base_paint(start.lab, SHELF, FILE.optics, mix), shelf, FILE.optics)
    prior = prior_belief(("violet",), LIMITS)
    learned = learn(model, log, prior, LIMITS)

    rng = np.random.default_rng(5)
    theta = rng.standard_normal((40_000, 4)) * np.sqrt(np.diag(prior.covariance))
    noise = start.covariance + after.covariance + 2 * LIMITS.card_sd**2 * np.eye(3)
    moves = lab_change(model, np.full((40_000, 1), 1.0 / 84.0), theta[:, :1], theta[:, 1:].reshape(-1, 1, 3))
    off = after.lab - start.lab - moves
    weight = np.exp(-0.5 * np.einsum("ni,ij,nj->n", off, np.linalg.inv(noise), off))
    weight /= weight.sum()
    mean = weight @ theta[:, 0]
    sd = np.sqrt(weight @ (theta[:, 0] - mean) ** 2)
    # The most probable value is not the mean of a slightly skewed distribution: a third of its spread is allowed.
    assert learned.belief.log_strengths[0] == pytest.approx(mean, abs=sd / 3)
    assert learned.belief.log_strength_sd[0] == pytest.approx(sd, rel=0.1)


def strong(name: str, factor: float):
    return {**SHELF, name: SHELF[name].with_strength(factor)}


def test_cards_pull_the_strength_to_the_truth():
    car = lab_of(BLUE)
    mix = {**BLUE, "violet": 1.0}
    now = job(mix, car, sd=0.1)
    truth = strong("violet", 1.3)
    # the start card must be the true paint's too
    now = replace(now, log=TintLog(100.0, card(lab_of(mix, truth), car, 0.1)))
    for _ in range(3):
        now = tinted(now, mix, {"violet": 0.8}, truth, sd=0.1)
    known = understand(now, LIMITS)
    violet = next(r for r in known.learned.belief.responses(known.job.log.cards_with_added()) if r.name == "violet")
    assert violet.strength == pytest.approx(1.3, rel=0.1)
    assert violet.low < 1.3 < violet.high
    assert violet.learned_share > 0.7
    assert "learned from your cards" in violet.words


def test_a_toner_no_card_has_shown_keeps_its_prior():
    now = tinted(job({**BLUE, "violet": 1.0}, lab_of(BLUE)), {**BLUE, "violet": 1.0}, {"violet": 0.8})
    belief = understand(now, LIMITS).learned.belief
    red = list(SHELF).index("red")
    assert belief.log_strength_sd[red] == pytest.approx(LIMITS.strength_sd)
    assert belief.learned_share[red] == pytest.approx(0, abs=1e-9)
    assert "pigment model alone" in belief.responses({"violet": 1})[red].words


def test_more_cards_of_the_same_pot_only_sharpen():
    # Source: the variance of a mean: two equal cards of unchanged paint halve it.
    mix = {**BLUE, "violet": 1.0}
    one = job(mix, lab_of(BLUE))
    two = tinted(one, mix, {})
    C1, C2 = (understand(j, LIMITS).card.covariance for j in (one, two))
    np.testing.assert_allclose(C2, C1 / 2, rtol=1e-6)


def test_without_the_formula_all_toners_share_the_doubt():
    known, guessed = prior_belief(("a", "b"), LIMITS), prior_belief(("a", "b"), LIMITS, formula_known=False)
    assert np.all(guessed.log_strength_sd > known.log_strength_sd)
    assert guessed.covariance[0, 1] == pytest.approx(LIMITS.guess_sd**2)
    assert known.covariance[0, 1] == 0


def test_a_measured_toner_starts_from_its_own_doubt():
    assert prior_belief(("a", "b"), LIMITS, own_sd={"b": 0.05}).log_strength_sd == pytest.approx(
        [LIMITS.strength_sd, 0.05]
    )


def test_a_belief_about_other_toners_is_refused():
    model = tint_model(base_paint(lab_of(BLUE), SHELF, FILE.optics, BLUE), SHELF, FILE.optics)
    with pytest.raises(TintError, match="other toners"):
        learn(model, TintLog(100.0, card(lab_of(BLUE), lab_of(BLUE))), prior_belief(("a",), LIMITS), LIMITS)


def test_the_pots_colour_uses_all_cards():
    # A wild last photo is drawn towards what the earlier card and the model expect.
    mix = {**BLUE, "violet": 1.0}
    now = tinted(job(mix, lab_of(BLUE)), mix, {"violet": 0.5})
    truth = now.log.steps[-1].after.lab
    wild = CardColour(truth + np.array([1.5, 0, 0]), np.eye(3))
    now = replace(now, log=replace(now.log, steps=(replace(now.log.steps[-1], after=wild),)))
    card_now = understand(now, LIMITS).card
    assert delta_e00(card_now.lab, truth) < 0.6 * delta_e00(wild.lab, truth)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"allowed": ("no such",)}, "no such"),
        ({"vehicle_lab": np.array([1.0, 2.0])}, "three numbers"),
        ({"shelf": {**SHELF, "untinted paint": SHELF["white"]}}, "another name"),
        ({"formula": {"no such": 1.0}}, "no such"),
    ],
)
def test_a_job_that_does_not_fit_together_is_refused(more, said):
    log = TintLog(100.0, card(lab_of(BLUE), lab_of(BLUE)))
    given = {"shelf": SHELF, "optics": FILE.optics, "vehicle_lab": lab_of(BLUE), "log": log} | more
    with pytest.raises(TintError, match=said):
        understand(TintJob(**given), LIMITS)


def test_a_toners_direction_starts_with_the_doubt_that_the_calibration_states():
    belief = prior_belief(("a", "b"), LIMITS)
    assert np.sqrt(np.diag(belief.covariance)[2:]) == pytest.approx([LIMITS.direction_sd] * 6)
