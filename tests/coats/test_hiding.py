"""Hiding: contrast ratio and coats against Kubelka and Munk's film, and what the card says of itself."""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.optimize import brentq

from match import calibration as files
from match.blend.film import Hiding
from match.check.verdict import Finish
from match.coats.hiding import HidingRules, Shows, judge_hiding
from match.coats.spectral_film import Films, _Model
from match.errors import EvidenceError
from match.measure.confidence import confidence_curve
from match.measure.uncertainty import Draws
from match.tint.viewing import lab_from_reflectance, viewing
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


@pytest.mark.parametrize("shape_sd", RULES.film.absorption_shape_sds)
def test_a_reading_rises_with_each_number_of_a_film_as_its_differences_say(shape_sd):
    model = _Model((0.03, 0.8), RULES.film, shape_sd)
    z = np.random.default_rng(5).standard_normal((40, model.size))
    z[0, 0], z[1, 4] = 9.0, -9.0  # where a film is held at the end of what it can be, it rises no further
    steps = 1e-5 * np.eye(model.size)
    differences = np.stack([(model.reading(z + step) - model.reading(z - step)) / 2e-5 for step in steps], axis=2)
    np.testing.assert_allclose(model.slope(z), differences, rtol=1e-3, atol=1e-3)


@pytest.mark.parametrize(("Q", "thickness", "over_black", "over_white", "ratio"), FILMS)
def test_films_have_the_published_contrast(Q, thickness, over_black, over_white, ratio):
    flat = np.full((1, 31), 1.0)
    surface_and_chart = (np.full((1, 1), each) for each in (0.0, 0.0, 0.8))
    films = Films(Q * thickness * flat, thickness * flat, *surface_and_chart, np.zeros(1), np.ones(1))
    once = np.ones((1, 1))
    assert films.seen(once, films.black)[0, 7] == pytest.approx(over_black, abs=5.1e-6)  # printed to five decimals
    assert films.seen(once, films.white)[0, 7] == pytest.approx(over_white, abs=5.1e-6)
    assert films.contrast_ratio(np.ones(1))[0] == pytest.approx(ratio, abs=5.1e-5)
    assert films.factor_to_hide(ratio)[0] == pytest.approx(1.0, rel=5e-3)


def test_a_film_that_scatters_and_absorbs_nothing_never_hides():
    nothing = np.full((1, 31), 1e-6)
    films = Films(nothing, nothing, *(np.full((1, 1), each) for each in (0.0, 0.01, 0.8)), np.zeros(1), np.ones(1))
    assert np.isinf(films.factor_to_hide(0.98)[0])


def spectral_fields(K, S, thickness, chart, sd=0.3):
    """What a card of this spectral film shows, by the coth form at each wavelength, with noise of this size."""
    over = [
        lab_from_reflectance([hyperbolic(k / s, s * thickness, backing) for k, s in zip(K, S, strict=True)])
        for backing in chart
    ]
    one = simulated(tuple(over[0] - over[1]), over[1], (sd, sd, sd), stretch=0.02, count=2000)
    return Fields(one.card_lab, one.vehicle_lab, one.draws, confidence_curve(one.card_lab, one.vehicle_lab, one.draws))


def test_a_red_that_hides_by_its_dark_waves_alone_is_not_read_too_kindly():
    # Dark below 600 nm at the first coat, clear above: one film for the whole of luminance says three quarters of it.
    waves, chart = np.arange(400.0, 701.0, 10.0), (RULES.chart_black, HIDING.chart_white)
    K, S = 0.01 + 3.5 / (1 + np.exp((waves - 600) / 9)), 0.18 * 550 / waves
    light = viewing().weights[:, 1]

    def contrast(thickness):
        over = [
            sum(w * hyperbolic(k / s, s * thickness, g) for k, s, w in zip(K, S, light, strict=True)) for g in chart
        ]
        return over[0] / over[1]

    hides = brentq(lambda thickness: contrast(thickness) - HIDING.contrast_ratio, 0.5, 60)
    found = judge_hiding(spectral_fields(K, S, hides / 2, chart), 2.0, Finish.SOLID, HIDING, RULES).coats
    assert found.interval[0] < 4.0 < found.interval[1]
    assert found.estimate > 3.3


def test_the_same_card_gives_the_same_coats():
    assert judged(0.45, 0.5).coats == judged(0.45, 0.5).coats


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
    hides = brentq(lambda coats: _contrast(coats * per_coat, chart) - HIDING.contrast_ratio, 0.1, 30)
    assert found.coats.interval[0] < hides < found.coats.interval[1]
    assert found.coats.estimate == pytest.approx(hides, rel=0.15)
    assert found.coats_to_cover >= math.ceil(found.coats.estimate)


def _contrast(thickness, chart):
    over = [hyperbolic(0.25, thickness, backing) for backing in chart]
    return over[0] / over[1]


def test_a_card_of_one_thin_coat_asks_for_a_second_card():
    over = [hyperbolic(0.25, 0.3, backing) for backing in (RULES.chart_black, HIDING.chart_white)]
    found = judged(*over, coats=1.0, sd=(1.0, 0.6, 0.6))
    assert "coats-wide" in [finding.code for finding in found.findings]


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
