"""What earlier pots teach of the toners' strengths: against the closed form, and against strengths that are known."""

import numpy as np
import pytest

from match.demo.pot import FORMULA, first_card
from match.tint.card_from_check import read_check
from match.tint.earlier_pots import EarlierRules, same_pot, taught
from match.tint.mix_known import know_mix
from match.tint.shelf_file import load_shelf
from match.tint.story import Mix, begin
from match.tint.what_next import load_tint_calibration
from tests.tint.checks import MIX, after, check

KNOWN = load_tint_calibration()
LIMITS, RULES = KNOWN.limits, EarlierRules(0.1)
SHELF = load_shelf()


def pot(strength=1.0, grams=(0.3, 0.6), formula=MIX):
    """A pot whose black is so much stronger than described from the first card on, seen by exact photos."""
    parts = {**MIX, "black": strength * MIX["black"]}
    found = begin(read_check(check(parts, sd=0.05), "card 1"), 100.0, Mix(formula))
    total = 0.0
    for number, added in enumerate(grams, 2):
        total += added
        mix = after(total, strength=strength)
        mix["black"] += (strength - 1) * MIX["black"]
        found = found.added({"black": added}).sprayed(read_check(check(mix, sd=0.05), f"card {number}"))
    return found


def test_no_earlier_pot_leaves_the_shelf_as_it_is():
    found = taught(SHELF, (), LIMITS, RULES)
    assert (found.pots, dict(found.shelf.toners), dict(found.shelf.own_sd)) == (
        0,
        dict(SHELF.toners),
        dict(SHELF.own_sd),
    )


def test_one_pot_teaches_by_the_precision_of_its_cards_and_of_colours():
    # Source: the mean of two independent normal readings, prior and pot, weighted by their precisions.
    story = pot(1.3)
    belief = know_mix(story.job(SHELF), LIMITS).belief
    place = belief.names.index("black")
    mean, sd, prior = (float(v[place]) for v in (belief.log_strengths, belief.log_strength_sd, belief.prior_sd))
    cards = 1 / sd**2 - 1 / prior**2
    weight = 1 / (1 / cards + RULES.colour_sd**2)
    found = taught(SHELF, [story], LIMITS, RULES)
    precision = 1 / LIMITS.strength_sd**2 + weight
    expected = weight * (mean / sd**2 / cards) / precision
    gained = found.shelf.toners["black"].strength / SHELF.toners["black"].strength
    assert np.log(gained) == pytest.approx(expected, rel=1e-9)
    assert found.shelf.own_sd["black"] == pytest.approx(precision**-0.5, rel=1e-9)
    assert found.pots == 1


def test_more_pots_bring_the_strength_nearer_to_the_true_one_and_leave_less_doubt():
    shelves = [taught(SHELF, [pot(1.3)] * count, LIMITS, RULES).shelf for count in (0, 1, 4)]
    off = [abs(np.log(1.3 * SHELF.toners["black"].strength / shelf.toners["black"].strength)) for shelf in shelves]
    doubt = [shelf.own_sd.get("black", LIMITS.strength_sd) for shelf in shelves]
    assert off[0] > off[1] > off[2]
    assert doubt[0] > doubt[1] > doubt[2] > RULES.colour_sd / 2


def test_pots_of_unknown_formula_or_of_toners_that_left_the_shelf_teach_nothing():
    gone = begin(read_check(check(MIX), "card"), 100.0, Mix({"a toner of long ago": 1.0}))
    assert taught(SHELF, [pot(formula=None), gone], LIMITS, RULES).pots == 0


def test_a_pot_is_known_by_its_first_card():
    one = begin(first_card(SHELF), 100.0, Mix(FORMULA))
    assert same_pot(one, one.added({"black": 0.1}))
    assert not same_pot(one, pot())
