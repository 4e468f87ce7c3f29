"""Weights as a shop writes them, and what is in the pot."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from match.errors import TintError
from match.tint.card import CardColour
from match.tint.pot import TintLog, TintStep, add, fresh_pot
from match.tint.units import (
    parts_to_grams,
    parts_to_shares,
    round_to_scale,
    shares_to_percent,
)

CARD = CardColour(np.array([50.0, 0.0, 0.0]), np.eye(3))

# Source: schoolbook rounding, halves up; the last two are the known traps of binary fractions (Python's own round()
# gives 0.12 and 2.67 for them).
ROUNDED = [(1.234, 1.23), (1.235, 1.24), (0.004999, 0.0), (0.005, 0.01), (10.0, 10.0), (0.125, 0.13), (2.675, 2.68)]


@pytest.mark.parametrize(("grams", "read"), ROUNDED)
def test_the_scale_rounds_halves_up(grams, read):
    assert round_to_scale(grams) == read


def test_a_coarse_scale_rounds_to_its_own_steps():
    assert round_to_scale(1.25, 0.1) == 1.3
    assert round_to_scale(12.3, 5.0) == 10.0


def test_thirds_of_a_hundred_grams_add_up():
    assert parts_to_grams({"a": 1, "b": 1, "c": 1}, 100.0) == {"a": 33.34, "b": 33.33, "c": 33.33}


parts = st.dictionaries(st.text(min_size=1, max_size=4), st.floats(0.001, 1e4), min_size=1, max_size=8)


@given(parts, st.floats(0.5, 5000))
def test_weighed_formula_adds_up_to_its_total(formula, total_g):
    grams = parts_to_grams(formula, total_g)
    assert sum(grams.values()) == pytest.approx(round_to_scale(total_g), abs=1e-6)
    exact = parts_to_shares(formula)
    assert all(abs(grams[n] - exact[n] * round_to_scale(total_g)) < 0.0101 for n in formula)


@given(parts)
def test_parts_percent_and_grams_are_the_same_formula(formula):
    shares = parts_to_shares(formula)
    assert sum(shares.values()) == pytest.approx(1)
    again = parts_to_shares(shares_to_percent(shares))
    assert all(again[n] == pytest.approx(shares[n]) for n in formula)


@pytest.mark.parametrize(
    "action",
    [
        lambda: round_to_scale(float("nan")),
        lambda: round_to_scale("much"),
        lambda: round_to_scale(1.0, 0.0),
        lambda: parts_to_shares({}),
        lambda: parts_to_shares({"a": -1.0, "b": 2.0}),
        lambda: fresh_pot(0.0),
        lambda: add(fresh_pot(100.0), {"black": -1.0}),
        lambda: add(fresh_pot(100.0), {"black": 1.0}, paint_g=float("inf")),
    ],
)
def test_weights_that_are_none_are_refused(action):
    with pytest.raises(TintError):
        action()


def test_the_pot_holds_what_was_poured_in():
    pot = add(add(fresh_pot(100.0), {"black": 0.5}), {"black": 0.25, "violet": 1.0}, untinted_g=20.0)
    assert pot.contents_g == pytest.approx({"untinted paint": 120.0, "black": 0.75, "violet": 1.0})
    assert pot.paint_g == pytest.approx(121.75)
    assert pot.parts_of_base == pytest.approx({"black": 0.75 / 120, "violet": 1 / 120})


@given(st.floats(0, 5), st.floats(0, 5), st.floats(0, 50))
def test_two_small_additions_make_one_large(first, second, untinted_g):
    once = add(fresh_pot(100.0), {"red": first + second}, untinted_g)
    twice = add(add(fresh_pot(100.0), {"red": first}), {"red": second}, untinted_g)
    assert twice.contents_g == pytest.approx(once.contents_g)


def test_spraying_a_card_uses_paint_and_changes_no_proportion():
    before = add(fresh_pot(100.0), {"red": 2.0})
    after = add(before, {}, paint_g=60.0)
    assert after.paint_g == 60.0
    assert after.parts_of_base == pytest.approx(before.parts_of_base)


def test_the_log_knows_pots_cards_and_totals():
    log = TintLog(
        100.0,
        CARD,
        (
            TintStep({"black": 0.5}, paint_g=100.0, after=CARD),
            TintStep({"black": 0.2, "red": 1.0}, untinted_g=10.0, paint_g=90.0),
        ),
    )
    assert len(log.pots()) == 3
    assert len(log.cards()) == 2
    assert log.running_total_g() == pytest.approx({"untinted paint": 110.0, "black": 0.7, "red": 1.0})
    assert log.as_dict()["steps"][1]["additions_g"] == {"black": 0.2, "red": 1.0}
