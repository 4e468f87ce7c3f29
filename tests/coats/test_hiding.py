"""Hiding: contrast ratio and coats against Kubelka and Munk's film, and what the card says of itself."""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from match import calibration as files
from match.blend.film import Hiding
from match.check.verdict import Finish
from match.coats.film_coats import coats_to_hide, contrast_ratio, film_over_two_backings
from match.coats.hiding import HidingRules, Shows, judge_hiding
from match.errors import EvidenceError
from match.measure.uncertainty import Draws, confidence_curve
from tests.benchmarks.several_simulated import simulated

HIDING = files.load(Hiding, "practice", "hiding")
RULES = files.load(HidingRules, "coats", "hiding")

# Computed independently of this project with Kubelka's equation as printed (coth form; Kubelka 1948): K/S, S X,
# R over a backing of 0, R over a backing of 0.8, contrast ratio.
FILMS = [
    (0.25, 1.0, 0.41138, 0.57925, 0.7102),
    (0.25, 2.0, 0.48109, 0.51844, 0.9280),
    (0.25, 4.0, 0.49907, 0.50093, 0.9963),
    (0.02, 8.0, 0.80789, 0.81827, 0.9873),
    (1.125, 1.0, 0.24448, 0.26510, 0.9222),
]


def hyperbolic(Q, thickness, backing):
    """Kubelka 1948, equation for a film over a backing, in scalars: the form with coth."""
    a = 1 + Q
    b = math.sqrt(a * a - 1)
    coth = 1 / math.tanh(b * thickness)
    return (1 - backing * (a - b * coth)) / (a - backing + b * coth)


@dataclass(frozen=True)
class Fields:
    card_lab: np.ndarray
    vehicle_lab: np.ndarray
    draws: Draws
    confidence: object


def lightness(Y):
    """CIE 15: L* of luminous reflectance above 0.0089."""
    return 116 * np.cbrt(Y) - 16


def fields(over_black, over_white, sd=(0.15, 0.1, 0.1)):
    white = np.array([lightness(over_white), 0.0, 0.0])
    one = simulated((lightness(over_black) - lightness(over_white), 0, 0), white, sd, stretch=0.03, count=2000)
    return Fields(one.card_lab, one.vehicle_lab, one.draws, confidence_curve(one.card_lab, one.vehicle_lab, one.draws))


def judged(over_black, over_white, coats=2.0, finish=Finish.SOLID, **noise):
    return judge_hiding(fields(over_black, over_white, **noise), coats, finish, HIDING, RULES)


@pytest.mark.parametrize(("Q", "thickness", "over_black", "over_white", "ratio"), FILMS)
def test_film_over_two_backings_gives_back_its_optics(Q, thickness, over_black, over_white, ratio):
    found_Q, found_thickness = film_over_two_backings(over_black, over_white, 0.0, 0.8)
    assert found_Q == pytest.approx(Q, rel=2e-3)  # reflectances are printed to five decimals
    assert found_thickness == pytest.approx(thickness, rel=2e-3)
    assert contrast_ratio(Q, thickness, 0.0, 0.8) == pytest.approx(ratio, abs=5.1e-5)


@given(
    st.floats(0.001, 8.0),
    st.floats(0.1, 2.5),
    st.floats(0.0, 0.05),
    st.floats(0.6, 0.9),
)
@settings(max_examples=60, deadline=None)
def test_any_film_over_any_chart_gives_back_its_optics(Q, thickness, black, white):
    readings = [hyperbolic(Q, thickness, backing) for backing in (black, white)]
    found_Q, found_thickness = film_over_two_backings(*readings, black, white)
    if readings[0] < readings[1] - 1e-6:  # a film that hides to the last digit has no thickness to give back
        assert found_Q == pytest.approx(Q, rel=1e-3)
        assert found_thickness == pytest.approx(thickness, rel=1e-2)


def test_readings_of_no_film_give_nothing():
    assert np.isnan(film_over_two_backings(0.5, 0.4, 0.0, 0.8)[0])


@pytest.mark.parametrize(("Q", "wanted"), [(row[0], row[4]) for row in FILMS])
def test_coats_reach_the_published_contrast(Q, wanted):
    thickness = next(row[1] for row in FILMS if row[0] == Q and row[4] == wanted)
    coats = coats_to_hide(np.array([Q]), np.array([0.5]), 0.0, 0.8, wanted)
    assert coats[0] == pytest.approx(2 * thickness, rel=5e-3)  # ratios are printed to four decimals


def test_a_film_that_scatters_nothing_never_hides():
    assert np.isnan(coats_to_hide(np.array([0.0]), np.array([0.01]), 0.0, 0.8, 0.98)[0])


def test_a_card_whose_chart_shows_gives_no_valid_match():
    # Two coats with S X = 0.5 each and K/S = 0.25 (first row of the table).
    over = [hyperbolic(0.25, 1.0, backing) for backing in (RULES.chart_black, HIDING.chart_white)]
    found = judged(*over)
    assert found.shows is Shows.SHOWS
    assert found.findings[0].code == "not-hiding"
    assert found.findings[0].spoils
    assert "gives no valid match" in found.sentences[-1]


@pytest.mark.parametrize("per_coat", [0.6, 0.9, 1.3])
def test_coats_needed_are_those_of_the_film(per_coat):
    chart = (RULES.chart_black, HIDING.chart_white)
    found = judged(*(hyperbolic(0.25, 2 * per_coat, backing) for backing in chart), sd=(0.05, 0.03, 0.03))
    ratio = [hyperbolic(0.25, found.coats.estimate * per_coat, backing) for backing in chart]
    assert ratio[0] / ratio[1] == pytest.approx(HIDING.contrast_ratio, abs=1e-4)
    assert found.coats.interval[0] < found.coats.estimate < found.coats.interval[1]
    assert found.coats_to_cover == math.ceil(found.coats.estimate)


def test_no_trace_is_said_as_seen_not_as_proved():
    found = judged(0.4995, 0.5)
    assert found.shows is Shows.NO_TRACE_SEEN
    assert not found.findings
    assert "No trace of the chart is seen" in " ".join(found.sentences)


def test_a_noisy_photo_cannot_tell():
    found = judged(0.487, 0.5, sd=(0.8, 0.4, 0.4))
    assert found.shows is Shows.UNSURE
    assert [finding.code for finding in found.findings] == ["hiding-unsure"]
    assert not found.findings[0].spoils


def test_contrast_ratio_is_luminance_over_black_by_luminance_over_white():
    found = judged(0.45, 0.5)
    assert found.contrast_ratio == pytest.approx(0.9, abs=1e-3)
    assert found.contrast_interval[0] < 0.9 < found.contrast_interval[1]


def test_a_paint_that_hardly_hides_needs_a_ground_coat():
    over = [hyperbolic(0.02, 0.6, backing) for backing in (RULES.chart_black, HIDING.chart_white)]
    found = judged(*over)
    assert found.coats_to_cover is None
    assert "hides-badly" in [finding.code for finding in found.findings]


def test_flake_is_told_that_coats_are_rough():
    found = judged(0.45, 0.5, finish=Finish.METALLIC)
    assert "coats-rough" in [finding.code for finding in found.findings]


def test_without_the_coats_sprayed_there_are_none_to_advise():
    found = judged(0.45, 0.5, coats=None)
    assert found.coats is None
    assert found.as_dict()["coats"] is None


@pytest.mark.parametrize("coats", [0.0, -1.0, 20.0])
def test_impossible_coats_are_refused(coats):
    with pytest.raises(EvidenceError, match="cannot be on a card"):
        judged(0.45, 0.5, coats=coats)
