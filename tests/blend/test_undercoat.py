"""Coats over an undercoat: the film against the two-flux equations and Kubelka's identities; the trade's order."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from match import calibration
from match.blend.coat_plans import BlendPractice
from match.blend.film import hiding_exponent
from match.blend.undercoat import (
    best_undercoat,
    coat_scattering,
    coats_over,
    film_over,
    over_undercoats,
    usual_coats,
)
from match.cli import main
from match.errors import PlanError

PRACTICE = calibration.load(BlendPractice, "practice")
COVER, HIDING = PRACTICE.cover, PRACTICE.hiding
RED, YELLOW, BLUE, GREY, BURGUNDY, WHITE, BLACK = (
    np.array(lab)
    for lab in (
        (42.0, 60.0, 38.0),
        (80.0, 5.0, 80.0),
        (28.0, 20.0, -55.0),
        (60.0, 0.0, -1.0),
        (22.0, 30.0, 12.0),
        (93.0, -0.5, 2.0),
        (6.0, 0.0, -1.0),
    )
)
reflectances = st.floats(0.02, 0.9)
thicknesses = st.floats(0.02, 5.0)


@pytest.mark.parametrize(("q", "thickness", "backing"), [(0.25, 1.0, 0.8), (1.125, 0.5, 0.04), (0.02, 4.0, 0.25)])
def test_a_film_solves_the_two_flux_equation_of_kubelka_and_munk(q, thickness, backing):
    # Kubelka and Munk 1931, in scattering units: dR/dX = 1 - 2 (1 + K/S) R + R^2, from the backing outwards
    solved = solve_ivp(lambda _, r: 1 - 2 * (1 + q) * r + r**2, (0.0, thickness), [backing], rtol=1e-10, atol=1e-12)
    opaque = 1 + q - np.sqrt(q**2 + 2 * q)
    assert film_over(opaque, thickness, backing) == pytest.approx(solved.y[0, -1], abs=1e-7)


@given(reflectances, thicknesses, st.floats(0.05, 0.95))
def test_two_backings_give_back_the_opaque_paint(opaque, thickness, white):
    # Kubelka 1948: from R0 over black and R over white Rg, a = (R + (R0 - R + Rg) / (R0 Rg)) / 2 = (1/r + r) / 2
    black, over = film_over(opaque, thickness, 0.0), film_over(opaque, thickness, white)
    a = 0.5 * (over + (black - over + white) / (black * white))
    assert a == pytest.approx(0.5 * (1 / opaque + opaque), rel=1e-6)


@given(reflectances, thicknesses, thicknesses, st.floats(0.0, 0.95))
def test_two_coats_are_one_film_as_thick_as_both(opaque, first, second, backing):
    # Kubelka 1954: layers of the same paint compose
    both = film_over(opaque, second, film_over(opaque, first, backing))
    assert both == pytest.approx(film_over(opaque, first + second, backing), abs=1e-9)


@given(reflectances, thicknesses)
def test_an_undercoat_of_the_paints_own_reflectance_is_never_seen_and_no_film_shows_the_backing(opaque, thickness):
    assert film_over(opaque, thickness, opaque) == pytest.approx(opaque)
    assert film_over(opaque, 0.0, 0.4) == pytest.approx(0.4)
    assert film_over(opaque, 200.0, 0.4) == pytest.approx(opaque, abs=1e-6)


@pytest.mark.parametrize("level", [0.08, 0.3, 0.7])
def test_a_neutral_paints_coats_are_those_of_the_blends_hiding_law(level):
    # the same chart, the same contrast ratio, solved in closed form by match.blend.film
    scattering = coat_scattering(np.full(3, level), 2.0, HIDING)
    assert 2.0 * scattering * (1 / level - level) == pytest.approx(float(hiding_exponent(level, HIDING)), rel=1e-4)


def test_reds_and_yellows_are_not_two_coats_and_most_colours_are():
    # common practice, from memory: strong organic colours and clean whites hide badly
    for lab in (RED, YELLOW, BLUE, BURGUNDY):
        assert usual_coats(lab, COVER, HIDING) == 4.0
    assert usual_coats(WHITE, COVER, HIDING) == 3.0
    for lab in (GREY, BLACK, np.array([42.0, 5.0, -31.0])):
        assert usual_coats(lab, COVER, HIDING) == HIDING.coats_to_cover


def test_the_undercoat_near_the_colours_own_shade_takes_the_fewest_coats():
    # common practice: a dark ground under dark colours, white under yellow, grey under strong reds
    for lab, shade in ((YELLOW, "white"), (BURGUNDY, "dark-grey"), (BLACK, "black"), (GREY, "grey"), (WHITE, "white")):
        found = over_undercoats(lab, usual_coats(lab, COVER, HIDING), COVER, HIDING)
        assert best_undercoat(found).name == shade
    assert coats_over(RED, "light-grey", COVER, HIDING) < coats_over(RED, "black", COVER, HIDING)
    assert coats_over(BLACK, "black", COVER, HIDING) == COVER.least_coats
    assert coats_over(RED, None, COVER, HIDING) == 4.0
    for each in over_undercoats(GREY, 2.0, COVER, HIDING):  # a dark undercoat darkens, a light one lightens
        if each.left_delta_e00 > 0.05:
            assert (each.lightness > 0.0) == (COVER.undercoats[each.name].reflectance > 0.28)


def test_a_colour_that_cannot_hide_an_undercoat_says_what_to_lay_first():
    with pytest.raises(PlanError, match="lay white"):
        coats_over(YELLOW, "black", COVER, HIDING)
    with pytest.raises(PlanError, match="no undercoat"):
        coats_over(YELLOW, "pink", COVER, HIDING)
    assert coats_over(YELLOW, "black", replace(COVER, visible=3.0), HIDING) <= 6.0


def test_the_command_line_plans_by_class_and_undercoat_and_says_so(capsys):
    red = ["blend", "--labs", "42.9,61,38.6", "42,60,38", "--side", "left:700", "--side", "up:700"]
    assert main(red) == 0
    told = capsys.readouterr().out
    assert "Coats to cover: 4 (strong reds hide badly" in told
    assert "Over light grey it would be 2 coats" in told
    assert main([*red, "--over", "light-grey", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["coats_to_cover"] == 2.0
    assert main([*red, "--coats-to-cover", "3"]) == 0
    assert "hide badly" not in capsys.readouterr().out
    assert main([*red, "--over", "pink"]) == 2
