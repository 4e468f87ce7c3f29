"""Do the greys fit what is said of them? Their order and spacing, and what they imply for the rest of the frame."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from match.check.marks.rules import FrameRules, GreyRules, SurroundRules, normal
from match.colorimetry import Array
from match.measure.light import FROM_COMPONENTS, TO_COMPONENTS
from match.measure.tone import ToneFit, integrated_knots
from match.photo.encoding import srgb_to_linear

PLACES = ("standard", "light", "dark", "between", "other")
"""Kinds of steps, in the order of the shares in ``calibration/marks.toml``."""

GAIN_SD = 10.0
"""Log units: exposure is as good as unknown, as for :data:`match.measure.light.UNKNOWN`."""


@dataclass(frozen=True)
class FrameLight:
    """Log decoded levels of the frame: its lightest hundredth, its mean, and whether the former is burnt out."""

    lightest: float
    mean: float
    clipped: bool


def frame_light(preview: NDArray[np.uint8], burnt_out: float) -> FrameLight:
    """Return how light the frame is, from a small sRGB picture (h, w, 3) and the level that counts as burnt out."""
    few = preview[::5, ::5].reshape(-1, 3)
    luminance = np.asarray(srgb_to_linear(few / 255.0)) @ np.array([0.2126, 0.7152, 0.0722])
    lightest = float(np.percentile(luminance, 99.0))
    return FrameLight(
        float(np.log(max(lightest, 1e-4))), float(np.log(max(luminance.mean(), 1e-4))), lightest > burnt_out
    )


@dataclass(frozen=True)
class Fit:
    """How well stated reflectances fit the levels under one account of them."""

    log_density: float
    gain: float


def tone_fit(
    levels: Array, reflectances: Sequence[float], curve: ToneFit, noise_sd: Array, slope_sd: float = 0.0
) -> Fit:
    """Return the log density of the greys' log reflectances, given their levels (g,), and the gain they imply.

    log reflectance = gain + h(level) + noise, as in :mod:`match.measure.tone`, with the gain as good as unknown;
    ``slope_sd`` widens the prior of the slope.
    """
    basis = integrated_knots(levels)
    target = np.log(np.asarray(reflectances)) - basis @ curve.mean
    widened = curve.covariance + slope_sd**2
    covariance = basis @ widened @ basis.T + np.diag(noise_sd**2)
    total = covariance + GAIN_SD**2
    _, size = np.linalg.slogdet(total)
    density = -0.5 * (target @ np.linalg.solve(total, target) + size + len(target) * np.log(2.0 * np.pi))
    weights = np.linalg.solve(covariance, np.ones(len(target)))
    return Fit(float(density), float(weights @ target / weights.sum()))


@dataclass(frozen=True)
class Account:
    """Another account of what the greys are: its share of its kind, and how it fits.

    ``kind`` is swapped, stray or ladder; ``order`` says which stated reflectance each grey really has, ``stray`` which
    grey is something else.
    """

    kind: str
    share: float
    log_density: float
    order: tuple[int, ...] = ()
    stray: int = -1


def robust(fit: Fit, wide: Fit, tail: float) -> float:
    """Return the log density of right marks: mostly as the tone prior says, rarely a camera twice as far from it."""
    return float(np.logaddexp(np.log(1.0 - tail) + fit.log_density, np.log(tail) + wide.log_density))


def accounts(
    levels: Array, reflectances: Sequence[float], curve: ToneFit, noise_sd: Array, rules: GreyRules
) -> Iterator[Account]:
    """Return the other accounts of several greys: two swapped or all turned round, one astray, another step card."""
    count = len(reflectances)
    rank = np.argsort(np.argsort(reflectances))
    upside_down = tuple(int(i) for i in np.argsort(reflectances)[::-1][rank])
    orders = [order for order in permutations(range(count)) if _swaps(order)] if count <= 4 else []
    for order in dict.fromkeys([*orders, upside_down]):
        if order == tuple(range(count)):
            continue
        meant = [reflectances[i] for i in order]
        yield Account("swapped", 1.0 / max(len(orders), 1), tone_fit(levels, meant, curve, noise_sd).log_density, order)
    for one in range(count):
        wide = noise_sd.copy()
        wide[one] = rules.stray
        yield Account("stray", 1.0 / count, tone_fit(levels, reflectances, curve, wide).log_density, stray=one)
    loose = np.hypot(noise_sd, rules.other_tolerance)
    yield Account("ladder", 1.0, tone_fit(levels, reflectances, curve, loose, rules.other_slope).log_density)


def _swaps(order: tuple[int, ...]) -> bool:
    return sum(i != place for i, place in enumerate(order)) == 2


@dataclass(frozen=True)
class Implied:
    """Log reflectances that the greys imply: of the frame's lightest hundredth, its mean, and the marked paints.

    ``mean_level`` is the mean as the file has it; ``paints`` are of the three channels (R, G, B);
    ``marked_is_lightest`` where nothing in the frame is lighter than the lightest mark.
    """

    lightest: float
    mean: float
    mean_level: float
    paints: tuple[Array, ...]
    clipped: bool
    marked_is_lightest: bool
    spread: float

    def log_density(self, shift: float, rules: FrameRules) -> float:
        """Return how usual such a frame is, were the greys' true log reflectance higher by ``shift``."""
        total = np.log(self._lightest(self.lightest + shift, rules))
        usual = normal(self.mean + shift, rules.mean[0], float(np.hypot(rules.mean[1], self.spread)))
        paint = float(np.mean(np.array(self.paints) @ TO_COMPONENTS[0]))
        close_up = normal(self.mean, paint, rules.close_up[1])
        total += np.log((1.0 - rules.close_up[0]) * usual + rules.close_up[0] * close_up)
        total += np.log(self._exposed(shift, rules))
        both = [_paint(value + shift, rules, self.spread) for value in self.paints]
        return float(total + np.mean(np.log(both)))

    def gain_of_white(self, rules: FrameRules) -> float:
        """Return by how much (log) the frame would be more usual if something white were laid in it.

        Nothing where something in it is white, by what the greys are said to be, or where the file cannot tell.
        """
        middle, sd = rules.lightest
        if self.clipped or self.lightest > middle - sd:
            return 0.0
        white = replace(self, lightest=middle, marked_is_lightest=False)
        return float(np.log(white._lightest(middle, rules) / self._lightest(self.lightest, rules)))

    def _exposed(self, shift: float, rules: FrameRules) -> float:
        """Return how usual it is that a camera shows such a frame so light."""
        middle, sd = rules.exposed
        usual = middle + rules.exposed_left * (self.mean + shift - middle)
        return normal(self.mean_level, usual, float(np.hypot(sd, self.spread)))

    def _lightest(self, value: float, rules: FrameRules) -> float:
        parts = (rules.lightest, rules.lightest_dull, rules.lightest_lamp)
        z = [(value - part[0]) / float(np.hypot(part[1], self.spread)) for part in parts]
        if self.marked_is_lightest:  # then all that is known is that nothing else is lighter
            return float(np.dot(rules.lightest_shares, ndtr(z)))
        value = max(value, rules.lightest[0]) if self.clipped else value
        return sum(
            share * normal(value, part[0], float(np.hypot(part[1], self.spread)))
            for share, part in zip(rules.lightest_shares, parts, strict=True)
        )


def _paint(channels: Array, rules: FrameRules, spread: float) -> float:
    """Return the density of a paint's log reflectances: even between the darkest and the lightest paint, soft-edged.

    No channel is darker than what paint mirrors or lighter than a perfect white, as far as the camera's colours go.
    """
    light = np.exp(channels)
    error = rules.channel_error * float(light.max() - light.min())
    low, high = np.log(light.min() + error), np.log(light.max() - error)
    dark, white = rules.paint_darkest, rules.paint_lightest
    above = 1.0 / (1.0 + np.exp(-(low - dark[0]) / np.hypot(dark[1], spread)))
    below = 1.0 / (1.0 + np.exp(-(white[0] - high) / np.hypot(white[1], 0.5 * spread)))
    return float(above * below / (white[0] - dark[0]) + 1e-6)


def implied(frame: FrameLight, paints: Array, greys: Array, gain: float, curve: ToneFit, rules: FrameRules) -> Implied:
    """Return what the greys imply for the frame, with their ``gain``.

    ``paints`` (p, 3) and ``greys`` (g, 3) are log levels in the components of
    :data:`match.measure.light.TO_COMPONENTS`; the greys' colour is taken for the white balance.
    """
    levels = np.append((paints - [0.0, *greys[:, 1:].mean(axis=0)]) @ FROM_COMPONENTS.T, [[frame.lightest, frame.mean]])
    reflects = gain + integrated_knots(levels) @ curve.mean
    spread = rules.tone * abs(frame.lightest - float(greys[:, 0].mean()))
    own = frame.lightest < max(*paints[:, 0], *greys[:, 0]) + rules.same_level
    painted = tuple(reflects[:-2].reshape(-1, 3))
    return Implied(float(reflects[-2]), float(reflects[-1]), frame.mean, painted, frame.clipped, own, spread)


def beside_density(
    reflectance: float, beside: Sequence[float], seen: float, greys: GreyRules, rules: SurroundRules
) -> float:
    """Return how likely the only grey marked, of this reflectance, has these steps beside it.

    ``beside`` is by how much each is lighter (log units); ``seen`` is the share that have any.
    """
    if not beside:
        return 1.0 - seen
    ends = {"light": rules.light_end, "dark": rules.dark_end}.get(_end_of(reflectance, greys), rules.middle)
    lighter, darker = max(beside) > 0.0, min(beside) < 0.0
    return seen * ends[2 if lighter and darker else int(lighter)]


def only_grey_ratios(
    stated: float, steps: Array, beside: Sequence[float], rules: GreyRules, surround: SurroundRules
) -> Array:
    """Return the ratio (s,) of the only grey's being each step, under a wrong figure, to its being what is stated.

    From which grey people own and what figure they leave, and from the steps seen beside the mark: the figure that the
    app begins with is left on a step of a step card, any other is put on a card of its own.
    """
    place = PLACES.index(_place_of(stated, rules))
    standard = np.abs(np.log(steps / rules.standard)) < rules.same_step
    by_default = place == 0
    right, wrong = surround.steps_beside
    of_step = [beside_density(float(step), beside, wrong if by_default else right, rules, surround) for step in steps]
    if by_default:
        shares = dict(zip(("dark", "between", "light"), rules.left_standing, strict=True))
        truth = np.array([shares[_end_of(float(step), rules)] for step in steps])
        truth /= truth.sum()
    else:
        truth = np.where(standard, rules.is_standard, (1.0 - rules.is_standard) / max(int((~standard).sum()), 1))
    ratio = rules.stated_wrong[place] / rules.stated_right[place]
    return np.asarray(ratio * truth * np.array(of_step) / beside_density(stated, beside, right, rules, surround))


def _place_of(reflectance: float, rules: GreyRules) -> str:
    """Return which kind of step this is, one of :data:`PLACES`."""
    if abs(np.log(reflectance / rules.standard)) < rules.same_step:
        return "standard"
    if min(abs(np.log(reflectance / step)) for step in rules.steps) > rules.same_step:
        return "other"
    return _end_of(reflectance, rules)


def _end_of(reflectance: float, rules: GreyRules) -> str:
    """Return whether a step is the light or the dark end of its card, or lies between."""
    dark, light = rules.ends
    return "light" if reflectance >= light else "dark" if reflectance <= dark else "between"
