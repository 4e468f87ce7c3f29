"""Do the greys fit what is said of them? Their order and spacing, and what they imply for the rest of the frame."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from match.check.marks.rules import FrameRules, GreyRules, normal
from match.colorimetry import Array
from match.measure.tone import ToneFit, integrated_knots
from match.photo.encoding import srgb_to_linear

CLIPPED = 0.97
"""Share of full scale from which the lightest thing may be any amount lighter: half of it is burnt out."""

SAME_LEVEL = 0.12
"""Log units within which the frame's lightest hundredth and a mark are one and the same: noise and a little light."""

GAIN_SD = 10.0
"""Log units: exposure is as good as unknown, as for :data:`match.measure.light.UNKNOWN`."""


@dataclass(frozen=True)
class FrameLight:
    """Log decoded levels of the frame: its lightest hundredth, its mean, and whether the former is burnt out."""

    lightest: float
    mean: float
    clipped: bool


def frame_light(preview: NDArray[np.uint8]) -> FrameLight:
    """Return how light the frame is, from a small sRGB picture (h, w, 3)."""
    few = preview[::5, ::5].reshape(-1, 3)
    luminance = np.asarray(srgb_to_linear(few / 255.0)) @ np.array([0.2126, 0.7152, 0.0722])
    lightest = float(np.percentile(luminance, 99.0))
    return FrameLight(
        float(np.log(max(lightest, 1e-4))), float(np.log(max(luminance.mean(), 1e-4))), lightest > CLIPPED
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

    ``marked_is_lightest`` where nothing in the frame is lighter than the lightest mark.
    """

    lightest: float
    mean: float
    paints: tuple[float, ...]
    clipped: bool
    marked_is_lightest: bool
    spread: float

    def log_density(self, shift: float, rules: FrameRules) -> float:
        """Return how usual such a frame is, were the greys' true log reflectance higher by ``shift``."""
        total = np.log(self._lightest(self.lightest + shift, rules))
        usual = normal(self.mean + shift, rules.mean[0], float(np.hypot(rules.mean[1], self.spread)))
        close_up = normal(self.mean, float(np.mean(self.paints)), rules.close_up[1])
        total += np.log((1.0 - rules.close_up[0]) * usual + rules.close_up[0] * close_up)
        both = [_paint(value + shift, rules, self.spread) for value in self.paints]
        return float(total + np.mean(np.log(both)))

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


def _paint(value: float, rules: FrameRules, spread: float) -> float:
    """Return the density of a paint's log reflectance: even between the darkest and the lightest paint, soft-edged."""
    dark, light = rules.paint_darkest, rules.paint_lightest
    above = 1.0 / (1.0 + np.exp(-(value - dark[0]) / np.hypot(dark[1], spread)))
    below = 1.0 / (1.0 + np.exp(-(light[0] - value) / np.hypot(light[1], 0.5 * spread)))
    return float(above * below / (light[0] - dark[0]) + 1e-6)


def implied(
    frame: FrameLight, paints: Sequence[float], greys: Array, gain: float, curve: ToneFit, rules: FrameRules
) -> Implied:
    """Return what the greys, at log levels (g,) and with their ``gain``, imply for the frame."""

    def reflects(level: float) -> float:
        return gain + float((integrated_knots(np.array([level])) @ curve.mean)[0])

    spread = rules.tone * abs(frame.lightest - float(np.mean(greys)))
    own = frame.lightest < max(*paints, *greys) + SAME_LEVEL
    painted = tuple(map(reflects, paints))
    return Implied(reflects(frame.lightest), reflects(frame.mean), painted, frame.clipped, own, spread)
