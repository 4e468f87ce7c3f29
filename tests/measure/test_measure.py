"""The parts of one photo's measurement: sampling, light, tone curve, uncertainty, against closed forms and scipy."""

from dataclasses import replace

import numpy as np
import pytest
from coloraide import Color
from scipy.integrate import quad
from scipy.stats import lognorm, ncx2

from match.check.calibration_files import load_calibration
from match.colorimetry import delta_e00, lab_from_working, local_metric, working_from_srgb
from match.measure.confidence import ConfidenceCurve, confidence_curve, share_under
from match.measure.light import TO_COMPONENTS, LightFit, _noise, fit_light
from match.measure.sampling import Patch, log_step, sample_region
from match.measure.tone import (
    KNOTS,
    GreyTolerance,
    TonePrior,
    fit_tone,
    integrated_knots,
    integrated_slopes,
    prior_curve,
)
from match.measure.uncertainty import SOURCES, Draws, best_estimate, draw, repeated_covariance
from match.photo.regions import Kind, Region
from tests.support.synthetic import FlatScene, srgb_decode, srgb_encode

CAMERA = load_calibration().camera
PRIOR = TonePrior(
    slope_mean=1.0,
    slope_sd=0.13,
    common_share=0.5,
    correlation_length=1.2,
    gain_tolerance=0.01,
    bend_level=(-2.0, 0.0),
    bend_slope=(0.0, 1.0),
    bend_mean=0.0,
    bend_sd=0.0,
)


def _patch(linear, region=None):
    height, width = linear.shape[:2]
    return Patch(region or Region(Kind.CARD, 0, 0, width, height), linear, srgb_encode(linear))


def _noisy(rng, side=120, level=(0.2, 0.15, 0.1), spread=0.02):
    return np.array(level) * np.exp(spread * rng.standard_normal((side, side, 1)))


def _mean_level(sample):
    return sample.level.mean(axis=0)


# --- sampling ---------------------------------------------------------------------------------------------------------


def test_a_flat_region_reads_its_own_level():
    sample = sample_region(_patch(np.full((60, 60, 3), 0.18)), CAMERA.sampling)
    np.testing.assert_allclose(_mean_level(sample), 0.18, rtol=1e-9)
    assert sample.rejected_share == 0.0


def test_a_lamp_reflected_in_the_clear_coat_is_rejected():
    rng = np.random.default_rng(2)
    clean = _noisy(rng)
    y, x = np.mgrid[:120, :120]
    spot = 0.5 * np.exp(-(((x - 80) / 14.0) ** 2 + ((y - 40) / 14.0) ** 2))[..., None]
    sample = sample_region(_patch(clean + spot), CAMERA.sampling)
    np.testing.assert_allclose(
        _mean_level(sample), _mean_level(sample_region(_patch(clean), CAMERA.sampling)), rtol=0.01
    )
    assert 0.05 < sample.rejected_share < 0.4


def test_a_lamp_is_told_from_the_slope_of_the_light_that_it_lies_on():
    y, x = np.mgrid[:120, :120]
    slope = np.exp(0.8 * (x / 119.0 - 0.5))[..., None] * np.array([0.2, 0.15, 0.1])
    lamp = 0.4 * np.exp(-(((x - 70) / 9.0) ** 2 + ((y - 50) / 9.0) ** 2))[..., None]
    plain, lit = (sample_region(_patch(slope * (1.0 + each)), CAMERA.sampling) for each in (0.0 * lamp, lamp))
    assert plain.glare_share == 0.0
    assert 0.03 < lit.glare_share < 0.2
    kept = dict(zip(map(tuple, plain.position_px), plain.level, strict=True))
    for place, level in zip(map(tuple, lit.position_px), lit.level, strict=True):
        np.testing.assert_allclose(level, kept[place], rtol=0.03)


def test_dust_and_dead_pixels_are_rejected():
    rng = np.random.default_rng(3)
    clean = _noisy(rng)
    dirty = clean.copy()
    for row, column in rng.integers(0, 118, (60, 2)):
        dirty[row : row + 2, column : column + 2] = rng.choice([0.005, 0.9])
    np.testing.assert_allclose(
        _mean_level(sample_region(_patch(dirty), CAMERA.sampling)),
        working_from_srgb(clean).mean(axis=(0, 1)),
        rtol=2e-3,
    )


def test_the_honest_spread_of_flake_stays_in_the_mean():
    # the mean of a log-normal is exp(sd^2 / 2) times its median (any handbook of distributions)
    rng = np.random.default_rng(4)
    flake = _noisy(rng, side=240, spread=0.35)
    expected = np.array([0.2, 0.15, 0.1]) * np.exp(0.35**2 / 2)
    expected = working_from_srgb(expected)
    np.testing.assert_allclose(_mean_level(sample_region(_patch(flake), CAMERA.sampling)), expected, rtol=0.01)


def test_clipped_and_dark_pixels_are_counted():
    half = np.full((40, 40, 3), 0.3)
    half[:20] = 1.0
    half[20:30] = 1e-4
    sample = sample_region(_patch(half), CAMERA.sampling)
    assert sample.clipped_share == pytest.approx(0.5)
    assert sample.dark_share == pytest.approx(0.25)


def _rounded(level, noise, rng, side=48):
    """A flat patch of 8-bit codes, what one step is worth, and by how much rounding shifted its mean (log units)."""
    noisy = np.clip(srgb_encode(np.array(level)) * 255.0 + noise * rng.standard_normal((side, side, 3)), 0, 255)
    whole = np.round(noisy) / 255.0
    patch = Patch(Region(Kind.CARD, 0, 0, side, side), srgb_decode(whole), whole, 1, log_step(whole, 1 / 255, False))
    shift = np.log(patch.linear.mean(axis=(0, 1)) / srgb_decode(noisy / 255.0).mean(axis=(0, 1)))
    return patch, shift


@pytest.mark.parametrize("noise", [0.0, 0.2, 0.35, 1.0])
@pytest.mark.parametrize("middle", [0.012, 0.05, 0.4])
def test_the_shift_by_rounding_is_as_large_as_said(middle, noise):
    # Outside check: numpy rounds patches whose levels step evenly from code to code; the shift is counted.
    rng = np.random.default_rng(5)
    said, seen = [], []
    for level in middle * np.exp(np.linspace(-0.1, 0.1, 75)):
        patch, shift = _rounded(level, noise, rng)
        said.append(sample_region(patch, CAMERA.sampling).rounding_sd.mean())
        seen.append(shift.mean())
    said, seen = np.sqrt(np.mean(np.square(said))), np.sqrt(np.mean(np.square(seen)))
    # all three channels shift alike on a grey patch; noise of their own is the block means' business
    assert seen < 1.25 * said + 0.0015
    assert said < 2.5 * seen + 0.001


@pytest.mark.parametrize("rise", [0.6, 2.0])
def test_a_block_of_a_stair_strays_as_far_as_said(rise):
    """Outside check: numpy rounds noiseless ramps, and every block's mean is held against that of the ramp itself."""
    said, strays = [], []
    for phase in np.arange(10) / 10.0:
        ramp = 124.0 + phase + np.tile(np.linspace(0.0, rise, 80)[None, :, None], (80, 1, 3))
        whole = np.round(ramp) / 255.0
        patch = Patch(Region(Kind.CARD, 0, 0, 80, 80), srgb_decode(whole), whole, 1, log_step(whole, 1 / 255, False))
        shift = np.log(patch.linear / srgb_decode(ramp / 255.0)).reshape(10, 8, 10, 8, 3).mean(axis=(1, 3, 4))
        strays.append(np.square(shift).mean())
        said.append(sample_region(patch, CAMERA.sampling).stair_sd.mean())
    assert np.sqrt(np.mean(strays)) == pytest.approx(np.mean(said), rel=0.15)


def test_what_does_not_fill_a_block_is_left_out_evenly_at_both_ends():
    sample = sample_region(_patch(np.full((87, 87, 3), 0.18)), CAMERA.sampling)
    np.testing.assert_allclose(sample.position_px.mean(axis=0), 43.0, atol=0.5)


@pytest.mark.parametrize("noise", [0.0, 0.001])
@pytest.mark.parametrize("slope", [0.02, 0.047, 0.08])
def test_stairs_of_eight_bit_codes_are_not_taken_for_a_bend_of_the_light(slope, noise):
    # Without noise a weak gradient is one or two stairs, in each channel at a place of its own.
    paint = (0.5, 0.625, 0.5625)
    scene = FlatScene(card=paint, vehicle=paint, noise=noise, gradient=(slope, 0.0))
    photo = scene.photo()
    samples = []
    for region in scene.marks():
        crop = photo.crop(region.x, region.y, region.width, region.height)
        patch = Patch(region, crop.linear, crop.code, 1, log_step(crop.code, 1 / 255, False))
        samples.append(sample_region(patch, CAMERA.sampling))
    card, vehicle = fit_light(samples, 480.0, CAMERA.light).mean_log_level[:2]
    assert np.abs(card - vehicle).max() < 0.0045  # half a code


def test_a_file_of_16_bit_has_no_rounding_to_speak_of():
    code = srgb_encode(np.full((48, 48, 3), 0.01))
    patch = Patch(Region(Kind.CARD, 0, 0, 48, 48), srgb_decode(code), code, 1, log_step(code, 1 / 65535, False))
    assert sample_region(patch, CAMERA.sampling).rounding_sd.max() < 1e-4


def test_in_a_dark_channel_one_step_of_the_codes_is_no_outlier():
    rng = np.random.default_rng(6)
    patch, _ = _rounded(0.006, 0.3, rng, side=96)
    sample = sample_region(patch, CAMERA.sampling)
    assert sample.rejected_share < 0.01
    np.testing.assert_allclose(_mean_level(sample).mean(), patch.linear.mean(), rtol=0.002)


# --- light ------------------------------------------------------------------------------------------------------------


def _light(scene, both_sides=True, prior=CAMERA.light, more=()):
    photo = scene.photo()
    samples = []
    for region in (*scene.marks(both_sides), *more):
        crop = photo.crop(region.x, region.y, region.width, region.height)
        samples.append(sample_region(Patch(region, crop.linear, crop.code), CAMERA.sampling))
    return fit_light(samples, float(max(scene.size)), prior)


@pytest.mark.parametrize("gradient", [(0.3, 0.0), (0.0, -0.3), (-0.2, 0.2)])
def test_a_light_gradient_is_carried_out_of_the_comparison(gradient):
    # Equal paints, the car marked on one side only: means alone would differ by the gradient between the marks.
    levels = _light(FlatScene(gradient=gradient), both_sides=False).mean_log_level
    between_marks = abs(gradient[0]) * 130 / 480
    assert np.abs(levels[0] - levels[1]).max() < max(0.15 * between_marks, 0.004)


def test_slopes_that_disagree_are_not_trusted():
    even, odd = FlatScene(), FlatScene()
    photo = odd.photo()
    ramp = np.exp(0.6 * np.linspace(-0.5, 0.5, 100))[None, :, None]
    samples = []
    for region in odd.marks(both_sides=False):
        crop = photo.crop(region.x, region.y, region.width, region.height)
        bent = crop.linear * ramp if region.kind is Kind.VEHICLE else crop.linear
        samples.append(sample_region(Patch(region, bent, crop.code), CAMERA.sampling))
    curved = fit_light(samples, 480.0, CAMERA.light)
    flat = _light(even, both_sides=False)

    def spread(fit):
        c = fit.covariance[0]
        return float(np.sqrt(c[0, 0] + c[1, 1] - 2 * c[0, 1]))

    assert spread(curved) > 3 * spread(flat)


@pytest.mark.parametrize("slope", [0.5, 1.0, 2.0])
def test_a_card_that_leans_unseen_is_covered_where_the_paint_changes_across_the_frame(slope):
    # By the law of reflection a lean of 0.5 degree turns the mirror direction by 1 degree: a fiftieth of a frame that
    # spans 50 degrees. So the card's brightness strays by that much of the change across the frame, in log units.
    lean = CAMERA.light.lean_shift
    assert lean == pytest.approx(2 * 0.5 / 50.0)
    fitted = _light(FlatScene(gradient=(slope, 0.0)))
    level = replace(CAMERA.light, lean_shift=0.0)
    stiff = _light(FlatScene(gradient=(slope, 0.0)), prior=level)
    gained = _pair_variance(fitted) - _pair_variance(stiff)
    assert np.sqrt(gained) == pytest.approx(lean * slope, rel=0.25)


def test_a_grey_in_a_light_of_its_own_does_not_speak_against_what_card_and_car_see_alike():
    """A holder may throw a shade on the grey alone: a slope that only the greys lack is left to the greys."""
    scene = FlatScene(gradient=(0.5, 0.0))
    photo, samples = scene.photo(), []
    for region in scene.marks(both_sides=False):
        crop = photo.crop(region.x, region.y, region.width, region.height)
        flat = np.full_like(crop.linear, 0.18) if region.kind is Kind.GREY else crop.linear
        samples.append(sample_region(Patch(region, flat, crop.code), CAMERA.sampling))
    own = replace(CAMERA.light, own_slope_sd=(0.01,), grey_slope_sd=(1.0,))
    card, car = fit_light(samples, 480.0, own).mean_log_level[:2]
    assert np.abs(card - car).max() < 0.004


def test_a_photo_between_two_sizes_of_light_is_as_unsure_as_the_mixture_of_both():
    """The law of total variance: what is left in doubt within each, and by how much the two lie apart."""
    card_less_car = np.array([1.0, -1.0, 0.0])

    def read(*field_sd):
        prior = replace(CAMERA.light, field_sd=field_sd, own_slope_sd=(0.3,), grey_slope_sd=(0.3,))
        fit = _light(FlatScene(gradient=(0.6, 0.0), card=(0.3, 0.1, 0.1)), both_sides=False, prior=prior)
        return card_less_car @ fit.mean[0], card_less_car @ fit.covariance[0] @ card_less_car

    (weak, weak_left), (strong, strong_left), (mean, left) = read(0.05), read(0.5), read(0.05, 0.5)
    share = (mean - weak) / (strong - weak)
    assert 0.01 < share < 0.99
    within = share * strong_left + (1.0 - share) * weak_left
    assert left == pytest.approx(within + share * (1.0 - share) * (strong - weak) ** 2, rel=1e-6)


@pytest.mark.parametrize("blocks", [(3, 3), (5, 4), (6, 6)])
def test_an_even_slope_across_a_region_is_light_and_no_noise(blocks):
    rows, columns = blocks
    slope = (
        np.exp(np.linspace(-0.2, 0.2, 8 * columns))[None, :, None]
        * np.exp(np.linspace(0.0, 0.1, 8 * rows))[:, None, None]
    )
    sample = sample_region(_patch(0.2 * slope * np.ones(3)), CAMERA.sampling)
    assert len(sample.level) == rows * columns
    assert _noise(sample, 480.0, CAMERA.light)[0] == pytest.approx(1e-3, abs=5e-4)


def test_where_the_paint_is_alike_across_the_frame_a_lean_costs_next_to_nothing():
    without = _pair_variance(_light(FlatScene(), prior=replace(CAMERA.light, lean_shift=0.0)))
    assert _pair_variance(_light(FlatScene())) < 1.1 * without


@pytest.mark.parametrize(("one", "other", "leaning"), [(0, 1, 1), (2, 1, 1), (0, 2, 2)])
def test_card_and_grey_lean_unseen_by_as_much_each_and_the_panel_does_not(one, other, leaning):
    """Independent shifts add their variances, once for each of card (0) and grey (2) but not for the car (1)."""
    shift = 0.02
    flat = replace(CAMERA.light, field_sd=(0.05,), own_slope_sd=(0.01,), grey_slope_sd=(0.03,), least_offset_sd=0.0)
    scene = FlatScene()
    still, shifted = (_light(scene, False, replace(flat, least_offset_sd=sd)) for sd in (0.0, shift))
    for component, share in enumerate((1.0, flat.colour_share, flat.colour_share)):
        gained = _pair_variance(shifted, one, other, component) - _pair_variance(still, one, other, component)
        assert gained == pytest.approx(leaning * (share * shift) ** 2, rel=0.01)


def test_a_part_of_the_car_leans_by_more_than_what_is_laid_on():
    part = Region(Kind.VEHICLE, 40, 20, 60, 60, label="bumper")
    flat = replace(CAMERA.light, field_sd=(0.05,), own_slope_sd=(0.01,), least_offset_sd=0.0)
    still, shifted = (_light(FlatScene(), prior=replace(flat, part_offset_sd=sd), more=[part]) for sd in (0.0, 0.02))
    for paints, expected in (((1, 2), 0.02**2), ((0, 2), 0.0)):  # card, part, car
        gained = _pair_variance(shifted, *paints) - _pair_variance(still, *paints)
        assert gained == pytest.approx(expected, rel=0.02, abs=1e-9)
    assert CAMERA.light.part_offset_sd > CAMERA.light.least_offset_sd


def _pair_variance(fit, one=0, other=1, component=0):
    """Variance of card minus car, or of two other paints, in brightness or a colour component (log units)."""
    difference = np.zeros(fit.mean.shape[1])
    difference[[one, other]] = 1.0, -1.0
    return float(difference @ fit.covariance[component] @ difference)


# --- tone curve -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("level", [-9.0, -7.0, -6.3, -2.25, 0.0, 1.0, 1.4])
def test_the_tone_curve_is_the_integral_of_its_slopes(level):
    slopes = np.random.default_rng(5).uniform(0.5, 1.5, len(KNOTS))
    expected = quad(lambda v: np.interp(v, KNOTS, slopes), KNOTS[0], level, points=KNOTS[1:-1], limit=200)[0]
    assert float(integrated_knots(np.array(level)) @ slopes) == pytest.approx(expected, abs=1e-6)
    several = np.array([slopes, 2.0 * slopes])
    of_each = integrated_slopes(np.full((2, 1, 1), level), several)
    assert of_each.shape == (2, 1, 1)
    assert of_each.ravel() == pytest.approx([expected, 2.0 * expected], abs=2e-6)


def test_slopes_at_two_levels_are_correlated_as_a_squared_exponential_of_their_distance():
    """Rasmussen and Williams 2006, equation 4.9 (from memory): exp(-r^2 / 2 l^2), beside what all slopes share."""
    rising = replace(PRIOR, common_share=0.0, correlation_length=1.0)
    covariance = prior_curve(rising, scene_linear=False).covariance
    np.testing.assert_allclose(np.diag(covariance), PRIOR.slope_sd**2)
    apart = np.round((KNOTS - KNOTS[0]) / (KNOTS[1] - KNOTS[0])).astype(int)
    one, two = (int(apart[np.isclose(KNOTS - KNOTS[0], distance)][0]) for distance in (1.0, 2.0))
    assert covariance[0, one] / covariance[0, 0] == pytest.approx(np.exp(-0.5))
    assert covariance[0, two] / covariance[0, 0] == pytest.approx(np.exp(-2.0))
    shared = prior_curve(replace(rising, common_share=0.4), scene_linear=False).covariance
    assert shared[0, -1] / shared[0, 0] == pytest.approx(0.4, abs=1e-6)


def test_one_grey_leaves_the_slope_as_unsure_as_before():
    prior = prior_curve(PRIOR, scene_linear=False)
    assert fit_tone(np.full((1, 3), -1.7), np.full((1, 3), 0.01), [0.18], [GreyTolerance(0.05)], prior, 0.01) is prior


@pytest.mark.parametrize("exponent", [0.8, 1.0, 1.25])
def test_grey_steps_find_a_camera_that_writes_a_power_of_light(exponent):
    greys = np.array([0.05, 0.1, 0.18, 0.35, 0.6])
    level = np.repeat(exponent * np.log(greys)[:, None], 3, axis=1)
    fitted = fit_tone(
        level, np.full_like(level, 0.005), greys, [GreyTolerance(0.01)] * len(greys), prior_curve(PRIOR, False), 0.01
    )
    slope, sd = fitted.slope_at(float(level[2, 0]))
    assert slope == pytest.approx(1 / exponent, abs=0.03)
    assert sd < 0.05


def test_raw_files_decoded_linear_have_no_tone_curve():
    curve = prior_curve(PRIOR, scene_linear=True)
    slope, sd = curve.slope_at(-2.0)
    assert (slope, sd) == (pytest.approx(1.0), 0.0)


# --- confidence -------------------------------------------------------------------------------------------------------


def _curve(size, noise, count=40_000, seed=6):
    rng = np.random.default_rng(seed)
    vehicle = np.array([50.0, 0.0, 0.0])
    whiten = np.linalg.cholesky(local_metric(vehicle)).T
    step = np.linalg.solve(whiten, np.array([size, 0.0, 0.0]))
    null = (noise * rng.standard_normal((count, 3))) @ np.linalg.inv(whiten).T
    car = np.broadcast_to(vehicle, null.shape)
    return confidence_curve(vehicle + step, vehicle, Draws(car + step + null, car, null))


@pytest.mark.parametrize(("size", "noise"), [(1.0, 0.3), (2.0, 0.3), (0.5, 0.2)])
def test_confidence_is_the_noncentral_chi_square_of_an_isotropic_error(size, noise):
    # |d|^2 / s^2 of a normal vector in three dimensions is non-central chi-square (scipy.stats.ncx2)
    curve = _curve(size, noise)
    for true in (0.3 * size, size, 1.5 * size):
        expected = ncx2.sf((size / noise) ** 2, 3, max((true / noise) ** 2, 1e-12))
        assert np.interp(true, curve.size, curve.unbiased) == pytest.approx(expected, abs=0.03)


def test_of_next_to_nothing_the_chances_are_as_smooth_as_of_more():
    # ncx2 in three dimensions: as the reading goes to nothing, its density at a true t over that at none is
    # exp(-t^2 / 2 s^2); with as many draws as a check has
    found = [_curve(0.01, 0.5, count=2500, seed=seed).at_most(1.0) for seed in range(40)]
    assert np.mean(found) == pytest.approx(1.0 - np.exp(-2.0), abs=0.02)
    assert np.std(found) < 0.09


@pytest.mark.parametrize("threshold", [-1.0, 0.0, 0.04, 1.0, 30.0])
def test_parabolas_under_a_threshold_are_counted_as_one_by_one(threshold):
    rng = np.random.default_rng(8)
    a, half_b, c = rng.uniform(0.2, 2.0, 500), rng.normal(0.0, 1.0, 500), rng.uniform(0.0, 2.0, 500)
    half_b[:20], c[10:30] = 0.0, max(threshold, 0.0)
    t = np.linspace(0.0, 5.0, 241)[:, None]
    counted = (a * t**2 + 2.0 * half_b * t + c < threshold).mean(axis=1)
    np.testing.assert_array_equal(share_under(threshold, a, half_b, c, t[:, 0]), counted)


def test_the_interval_covers_as_often_as_it_says():
    rng = np.random.default_rng(7)
    inside = 0
    for _ in range(300):
        true = rng.uniform(0, 2)
        measured = np.linalg.norm(np.array([true, 0, 0]) + 0.3 * rng.standard_normal(3))
        low, high = _curve(measured, 0.3, count=1500).interval(0.95)
        inside += low <= true <= high
    assert inside / 300 >= 0.92  # 95 % less three standard errors of 300 trials


@pytest.mark.parametrize("scale", [0.3, 0.6])
def test_the_interval_is_the_shortest_that_holds_as_much(scale):
    # Casella and Berger 2002, Statistical Inference, theorem 9.3.2: with one peak, the density is equal at both ends
    size = np.linspace(0.0, 40.0, 40_001)
    skewed = lognorm(scale, scale=2.0)
    low, high = ConfidenceCurve(size, skewed.cdf(size), skewed.cdf(size)).interval(0.95)
    assert skewed.cdf(high) - skewed.cdf(low) == pytest.approx(0.95, abs=1e-4)
    assert skewed.pdf(low) == pytest.approx(skewed.pdf(high), rel=0.1)  # of the tails that are tried
    assert high - low < 0.97 * np.diff(skewed.ppf([0.025, 0.975]))[0]


@pytest.mark.parametrize("true", [0.0, 1.0, 2.0, 3.0, 6.0])
def test_choosing_the_shortest_costs_no_coverage(true):
    # the reading of an isotropic error is a non-central chi (scipy.stats.ncx2), so its curve is known exactly
    size, rng, inside = np.linspace(0.0, 14.0, 561), np.random.default_rng(8), 0
    for _ in range(400):
        read = np.linalg.norm(np.array([true, 0.0, 0.0]) + rng.standard_normal(3))
        smaller = ncx2.cdf(read**2, 3, np.maximum(size**2, 1e-12))
        rise = np.linspace(0.0, 1e-9, size.size)
        low, high = ConfidenceCurve(size, 1.0 - smaller + rise, 1.0 - smaller / smaller[0] + rise).interval(0.95)
        inside += low <= true <= high
    assert inside / 400 >= 0.917  # 95 % less three standard errors of 400 trials


def _read_as(card, car, scene_linear, errors=CAMERA.errors, grey=0.18, only="camera colour"):
    """Return card and car as read (two CIELAB) and their draws, from linear values in the working primaries."""
    level = np.log(np.array([card, car, (grey, grey, grey)]))
    noise = np.tile(1e-8 * np.eye(3), (3, 1, 1))
    light = LightFit((grey,), TO_COMPONENTS @ level.T, noise, 0.0, 0.0, np.zeros((3, 5)), np.zeros(2))
    tone, known = prior_curve(PRIOR, scene_linear), (GreyTolerance(0.01),)
    (drawn,) = draw(light, tone, known, errors, np.random.default_rng(4), 4000, np.zeros((2, 3)), only)
    return *best_estimate(light, tone, known, errors), drawn


def test_a_camera_s_look_is_in_doubt_only_where_the_camera_has_one():
    # Saturation moves linear light away from its own luminance along a grey of that luminance (the look's definition).
    seen = np.array([0.20, 0.24, 0.30])
    still = replace(CAMERA.errors, matrix_sd=0.0, pair_floor=0.0, veil_median=0.0)
    _, as_read, drawn = _read_as(seen, seen, scene_linear=False, errors=still)
    np.testing.assert_allclose(np.median(drawn.vehicle_lab, axis=0), as_read, atol=0.05)
    # coloraide: the luminance of Display P3's primaries
    luminance = seen @ [Color("display-p3", list(primary)).convert("xyz-d65")["y"] for primary in np.eye(3)]
    one_sd = luminance + np.exp(CAMERA.errors.saturation_log_sd) * (seen - luminance)
    expected = np.hypot(*lab_from_working(one_sd)[1:]) / np.hypot(*as_read[1:])
    assert np.log(np.hypot(*drawn.vehicle_lab.T[1:])).std() == pytest.approx(np.log(expected), rel=0.1)
    assert np.ptp(drawn.vehicle_lab[:, 0]) < 1e-6  # luminance stays
    _, raw, drawn = _read_as(seen, seen, scene_linear=True, errors=still)
    np.testing.assert_allclose(drawn.vehicle_lab, np.broadcast_to(raw, drawn.vehicle_lab.shape), atol=1e-6)


def test_a_grey_pair_keeps_its_hue_whatever_a_camera_does_to_saturation_and_colour():
    still = replace(CAMERA.errors, pair_floor=0.0, metamer_sd=0.0, other_pigments_sd=0.0)
    _, _, drawn = _read_as((0.2, 0.2, 0.2), (0.3, 0.3, 0.3), scene_linear=False, errors=still)
    assert np.abs(drawn.card_lab[:, 1:]).max() < 1e-6


def _of_one_colour(**errors):
    """Return draws of card and car of one mid grey, of whose errors none but the given ones are left."""
    none = dict.fromkeys(("matrix_sd", "pair_floor", "metamer_sd", "other_pigments_sd", "other_pigments_share"), 0.0)
    still = replace(CAMERA.errors, veil_median=0.0, grey_neutral_sd=0.0, **none | errors)
    return _read_as((0.2, 0.2, 0.2), (0.2, 0.2, 0.2), scene_linear=True, errors=still)[2]


def test_a_camera_sees_other_pigments_apart_along_one_line_and_by_as_much_as_the_calibration_says():
    """One line between green and magenta, computed of published reflectances: tests/benchmarks/camera_metamers.py."""
    drawn = _of_one_colour(metamer_sd=0.3, other_pigments_sd=0.9, other_pigments_share=0.25)
    seen = drawn.card_lab - drawn.vehicle_lab
    np.testing.assert_allclose(seen, drawn.of_pigments, atol=1e-9)
    np.testing.assert_allclose(drawn.null_difference, drawn.of_pigments, atol=1e-9)
    assert np.abs(seen[:, 0]).max() < 1e-9
    assert np.linalg.matrix_rank(seen, tol=1e-6) == 1
    # CIEDE2000 at neutral grey: a' = (1 + G) a* with G = 0.5, and S_C = S_H = 1 (CIE 142-2001)
    across = np.tan(np.deg2rad(CAMERA.errors.metamer_hue))
    np.testing.assert_allclose(seen[:, 2], 1.5 * across * seen[:, 1], rtol=1e-3)
    # a mixture of two normal spreads: their mean square, and a kurtosis above a single one's 3
    size = delta_e00(drawn.vehicle_lab + seen, drawn.vehicle_lab)
    assert np.mean(size**2) == pytest.approx(0.75 * 0.3**2 + 0.25 * 0.9**2, rel=0.15)
    assert np.mean(size**4) / np.mean(size**2) ** 2 > 4.0


@pytest.mark.parametrize("source", SOURCES)
def test_what_a_camera_makes_of_other_pigments_is_an_error_of_its_colours_alone(source):
    drawn = _read_as((0.2, 0.2, 0.2), (0.3, 0.3, 0.3), scene_linear=False, only=source)[2]
    assert drawn.of_pigments.any() == (source == "camera colour")


@pytest.mark.parametrize(
    ("own", "others", "alike"), [(0.5, 0.5, 0.5), (0.0, 0.5, 1.0), (0.3, 0.5, 1.0 - 0.5 * 0.3**2 / 0.5**2)]
)
def test_cards_of_one_photo_have_other_toners_in_common_and_shares_of_their_own(own, others, alike):
    level = np.log(np.array([[0.2] * 3] * 3 + [[0.18] * 3]))
    noise = np.tile(1e-8 * np.eye(4), (3, 1, 1))
    light = LightFit((0.18,), TO_COMPONENTS @ level.T, noise, 0.0, 0.0, np.zeros((3, 5)), np.zeros(2), cards=2)
    errors = replace(CAMERA.errors, metamer_sd=own, other_pigments_sd=others, other_pigments_share=1.0)
    straight, known = prior_curve(PRIOR, scene_linear=True), (GreyTolerance(0.01),)
    one, two = draw(light, straight, known, errors, np.random.default_rng(4), 4000, np.zeros((3, 3)))
    assert np.corrcoef(one.of_pigments[:, 1], two.of_pigments[:, 1])[0, 1] == pytest.approx(alike, abs=0.05)


def test_what_a_camera_makes_of_pigments_no_other_photo_takes_away():
    drawn = _of_one_colour(pair_floor=0.1, metamer_sd=0.4, other_pigments_sd=0.4)
    assert repeated_covariance(drawn) == pytest.approx(0.1**2 * np.eye(3), abs=2e-3)
    rows = np.array([5, 0, 5])
    taken = drawn.taken(rows)
    for name in ("card_lab", "vehicle_lab", "null_difference", "of_pigments"):
        np.testing.assert_array_equal(getattr(taken, name), getattr(drawn, name)[rows])


def test_most_photos_mirror_something_between_black_cloth_and_a_white_wall():
    # Fresnel's 4 % (n = 1.5) of black cloth (4 %) and of white paint (80 %), by common practice: 19 photos of 20
    low, high = CAMERA.errors.veil_median * np.exp(1.96 * CAMERA.errors.veil_log_sd * np.array([-1.0, 1.0]))
    assert low == pytest.approx(0.04 * 0.04, rel=0.1)
    assert high == pytest.approx(0.04 * 0.80, rel=0.1)


@pytest.mark.parametrize("mirrored", [0.0016, 0.0072, 0.0144, 0.02])
def test_two_blacks_are_covered_whatever_they_mirror(mirrored):
    # Clear coat mirrors 4 % (Fresnel, n = 1.5) of black cloth (4 %), of an average scene (18 %), of brighter ones.
    car, card, grey = 0.0043, 0.016, 0.18
    seen = np.log(np.array([card + mirrored, car + mirrored, grey]))
    level = np.repeat(seen[:, None], 3, axis=1)
    light = LightFit(
        (grey,), TO_COMPONENTS @ level.T, np.tile(1e-6 * np.eye(3), (3, 1, 1)), 0.0, 0.0, np.zeros((3, 5)), np.zeros(2)
    )
    straight = prior_curve(PRIOR, scene_linear=True)
    known = (GreyTolerance(0.01),)
    (drawn,) = draw(light, straight, known, CAMERA.errors, np.random.default_rng(3), 4000, np.zeros((2, 3)))
    low, high = confidence_curve(*best_estimate(light, straight, known, CAMERA.errors), drawn).interval(0.95)
    white = lab_from_working(np.ones((1, 3)) * np.array([[card], [car]]))
    assert low <= float(delta_e00(white[0], white[1])) <= high


@pytest.mark.parametrize("size", [0.01, 0.5, 2.0])
def test_what_is_read_off_the_curve_is_a_probability(size):
    """A distribution function never falls and lies between nothing and one; verdicts' own begins at nothing."""
    curve = _curve(size, 0.3, count=2000)
    assert curve.cautious[0] == pytest.approx(0.0, abs=1e-12)
    for each in (curve.cautious, curve.unbiased):
        assert (np.diff(each) > 0.0).all()
        assert each[0] >= 0.0
        assert each[-1] <= 1.0 + 1e-8


def test_greys_count_for_the_exposure_by_the_inverse_of_their_variance():
    """The least variance of a weighted mean (Gauss-Markov): a grey known five times as well counts 25 times as much."""
    errors, straight = replace(CAMERA.errors, veil_median=0.0), prior_curve(PRIOR, scene_linear=True)
    greys, stray = (0.18, 0.5), np.array([0.1, -0.1])  # what the two say of the exposure (log units)
    level = np.log(np.array([[0.2, 0.15, 0.1]] * 2 + [[grey] * 3 for grey in greys]))
    level[2:] -= stray[:, None]
    noise = np.tile(1e-10 * np.eye(4), (3, 1, 1))
    light = LightFit(greys, TO_COMPONENTS @ level.T, noise, 0.0, 0.0, np.zeros((3, 5)), np.zeros(2))
    known = (GreyTolerance(0.05), GreyTolerance(0.006, 0.008))
    _, car = best_estimate(light, straight, known, errors)
    expected = lab_from_working(np.exp(level[1] + (25.0 * stray[1] + stray[0]) / 26.0))
    np.testing.assert_allclose(car, expected, atol=1e-6)


@pytest.mark.parametrize("neutral", [0.001, 0.04])
def test_a_grey_that_may_have_a_cast_leaves_every_channel_in_doubt_by_as_much(neutral):
    """Car level less grey level plus the grey's log reflectance: of errors in the last alone, their own spread."""
    errors = replace(CAMERA.errors, grey_neutral_sd=0.0, veil_median=0.0)
    level = np.log(np.array([[0.2, 0.15, 0.1]] * 2 + [[0.18] * 3]))
    noise = np.tile(1e-10 * np.eye(3), (3, 1, 1))
    light = LightFit((0.18,), TO_COMPONENTS @ level.T, noise, 0.0, 0.0, np.zeros((3, 5)), np.zeros(2))
    straight, known = prior_curve(PRIOR, scene_linear=True), (GreyTolerance(0.0, neutral),)
    rng = np.random.default_rng(8)
    (drawn,) = draw(light, straight, known, errors, rng, 8000, np.zeros((2, 3)), "grey reference")
    stray = np.exp(level[1] + neutral * rng.standard_normal((8000, 3)))
    np.testing.assert_allclose(drawn.vehicle_lab.std(axis=0), lab_from_working(stray).std(axis=0), rtol=0.05, atol=1e-3)


def test_a_measurement_smaller_than_the_noise_is_not_called_a_sure_match():
    _, high = _curve(0.01, 0.3).interval(0.95)
    assert 0.3 < high < 1.0


def test_the_median_takes_off_what_noise_lifts():
    # Maxwell: a normal error alone has a mean length of 1.596 sd, so a measured 1 sd is no evidence of a difference
    assert _curve(1.0 * 0.3, 0.3).median == 0.0


# --- the whole photo --------------------------------------------------------------------------------------------------


def test_identical_flat_patches_of_the_same_paint_give_the_true_lab():
    scene = FlatScene(noise=0.0, gradient=(0.0, 0.0))
    levels = _light(scene).mean_log_level
    gain = np.log(0.18) - levels[2]
    lab = lab_from_working(np.exp(levels[1] + gain))
    truth = lab_from_working(working_from_srgb(np.array(scene.vehicle)))
    assert float(delta_e00(lab, truth)) < 0.25  # half an 8-bit step
