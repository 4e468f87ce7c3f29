"""The camera's tone curve and white balance, from the grey references in the photo.

A phone does not write sRGB: it bends light into a tone curve of its own for every photo. Between the logarithm of the
decoded level v and the logarithm of the true light there is a monotone function h, the same for the three channels, and
a gain for each channel:

    log reflectance of a grey = gain_c + h(v_c).

h is described by its slope at evenly spaced knots, linear between them. The slopes have a Gaussian-process prior
(Rasmussen and Williams 2006, Gaussian Processes for Machine Learning, chapter 2) that says how far phones stray from
sRGB: in which direction (shadows steepened, highlights compressed, as camera makers' picture styles do), and by how
much either way; grey steps narrow it. With one grey only the gains are found, and the slope keeps the prior's whole
uncertainty.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from match.calibration import quantity
from match.colorimetry import Array

KNOTS = np.arange(-7.0, 1.01, 0.5)
"""Log decoded level (natural logarithm, 0 = full scale) of the knots; outside them the slope is held."""

LEAST_SLOPE = 0.25
"""Draws are held above this: a tone curve is monotone, and a slope near zero would be clipping."""


@dataclass(frozen=True)
class TonePrior:
    """How far a camera's local slope strays from the decoded curve; see ``calibration/camera.toml``.

    ``bend_slope`` is by how much a camera's own picture style makes the slope steeper at the decoded levels
    ``bend_level`` than at mid grey; ``bend_mean`` how much of that a phone does, give or take ``bend_sd``.
    """

    slope_mean: float = quantity("log true per log decoded")
    slope_sd: float = quantity("log true per log decoded")
    common_share: float = quantity("fraction of variance")
    correlation_length: float = quantity("log units")
    gain_tolerance: float = quantity("log units")
    bend_level: tuple[float, ...] = quantity("log decoded level")
    bend_slope: tuple[float, ...] = quantity("log true per log decoded")
    bend_mean: float = quantity("fraction")
    bend_sd: float = quantity("fraction")


@dataclass(frozen=True)
class GreyTolerance:
    """How well a grey reference is known, as standard deviations.

    ``relative`` is that of its reflectance, ``neutral`` (log units) how far one channel strays from the others beyond
    what every grey does. ``others`` are by how much (log units) its reflectance may be another altogether, each with
    its chance: that of another step, where only a person's word speaks for the one stated.
    """

    relative: float
    neutral: float = 0.0
    others: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class ToneFit:
    """The slopes at :data:`KNOTS`: ``mean`` (k,) and ``covariance`` (k, k).

    ``misfit`` is how far the greys' channels disagree, in units of what was expected of them (1 = as expected).
    """

    mean: Array
    covariance: Array
    misfit: float

    def draws(self, rng: np.random.Generator, count: int) -> Array:
        """Return (count, k) slope curves drawn from the fit, each monotone."""
        drawn = rng.multivariate_normal(self.mean, self.covariance, size=count, method="eigh")
        return np.asarray(np.maximum(drawn, LEAST_SLOPE))

    def fixed(self) -> ToneFit:
        """Return the same curve taken as certain."""
        return ToneFit(self.mean, np.zeros_like(self.covariance), self.misfit)

    def slope_at(self, level: float) -> tuple[float, float]:
        """Return the fitted slope and its standard deviation at a log decoded level."""
        hat = np.maximum(0.0, 1.0 - np.abs(np.clip(level, KNOTS[0], KNOTS[-1]) - KNOTS) / (KNOTS[1] - KNOTS[0]))
        return float(hat @ self.mean), float(np.sqrt(max(hat @ self.covariance @ hat, 0.0)))


def integrated_knots(level: Array) -> Array:
    """Return (..., k): the integral from the first knot to ``level`` of each knot's hat function.

    ``integrated_knots(v) @ slopes`` is h(v), exactly quadratic between knots; beyond them the end slope goes on.
    """
    step = KNOTS[1] - KNOTS[0]
    inside = np.clip(level, KNOTS[0], KNOTS[-1])[..., None]
    u = np.clip((inside - KNOTS) / step, -1.0, 1.0)
    outer = 0.5 * np.square(1.0 - np.abs(u)) * step  # under the hat, between ``level`` and the nearer of its ends
    area = np.where(u <= 0.0, outer, step - outer)
    area[..., 0] = np.where(u[..., 0] <= 0.0, 0.0, area[..., 0] - 0.5 * step)  # the first hat has no left half
    beyond = level - np.clip(level, KNOTS[0], KNOTS[-1])
    area[..., 0] += np.minimum(beyond, 0.0)
    area[..., -1] += np.maximum(beyond, 0.0)
    return np.asarray(area)


def integrated_slopes(level: Array, slopes: Array) -> Array:
    """Return h(level) (n, ...) of n curves with slopes (n, k): ``integrated_knots(level) @ slopes``, quicker."""
    step = KNOTS[1] - KNOTS[0]
    flat = level.reshape(len(slopes), -1)
    inside = np.clip(flat, KNOTS[0], KNOTS[-1])
    place = (inside - KNOTS[0]) / step
    cell = np.minimum(place.astype(np.intp), len(KNOTS) - 2)
    place -= cell
    passed = np.zeros_like(slopes)
    np.cumsum(0.5 * step * (slopes[:, 1:] + slopes[:, :-1]), axis=1, out=passed[:, 1:])
    curve = np.arange(len(slopes))[:, None]
    here, turn = slopes[curve, cell], (slopes[:, 1:] - slopes[:, :-1])[curve, cell]
    beyond = (flat - inside) * np.where(flat < inside, slopes[:, :1], slopes[:, -1:])
    return np.asarray((passed[curve, cell] + step * place * (here + 0.5 * place * turn) + beyond).reshape(level.shape))


def prior_curve(prior: TonePrior, scene_linear: bool) -> ToneFit:
    """Return the curve before any grey is looked at; raw files decoded linear have the identity, surely."""
    count = len(KNOTS)
    if scene_linear:
        return ToneFit(np.ones(count), np.zeros((count, count)), 1.0)
    distance = (KNOTS[:, None] - KNOTS[None, :]) / prior.correlation_length
    local = np.exp(-0.5 * distance**2)
    covariance = prior.slope_sd**2 * (prior.common_share + (1.0 - prior.common_share) * local)
    bend = np.interp(KNOTS, prior.bend_level, prior.bend_slope)
    return ToneFit(prior.slope_mean + prior.bend_mean * bend, covariance + prior.bend_sd**2 * np.outer(bend, bend), 1.0)


def fit_tone(
    grey_level: Array,
    grey_level_sd: Array,
    reflectances: Sequence[float],
    tolerances: Sequence[GreyTolerance],
    curve: ToneFit,
    gain_sd: float,
) -> ToneFit:
    """Narrow the prior ``curve`` by grey steps.

    Parameters
    ----------
    grey_level, grey_level_sd
        (g, 3) log decoded levels of the greys in one light, and their standard deviations.
    reflectances, tolerances
        (g,) luminous reflectances, and how well each is known.
    curve
        The prior, from :func:`prior_curve`.
    gain_sd
        How far the three channels may disagree about one grey (log units): greys are not perfectly neutral.

    Returns
    -------
    ToneFit
        The prior itself when there are fewer than two greys: one grey says nothing of slope.
    """
    greys = len(reflectances)
    if greys < 2 or not curve.covariance.any():
        return curve
    basis = integrated_knots(grey_level).reshape(greys * 3, -1)
    target = np.repeat(np.log(np.asarray(reflectances)), 3)
    channel = np.tile(np.eye(3), (greys, 1))
    neutral = np.repeat([each.neutral for each in tolerances], 3)
    noise = np.diag((grey_level_sd.reshape(-1) ** 2) + gain_sd**2 + neutral**2)
    relative = np.array([each.relative for each in tolerances])
    noise = noise + np.kron(np.diag(relative**2), np.ones((3, 3)))  # a wrong reflectance is wrong in all channels
    gains = 100.0 * channel @ channel.T  # gains are as good as unknown
    total = basis @ curve.covariance @ basis.T + gains + noise
    misfit = target - basis @ curve.mean
    gain = np.linalg.solve(total, basis @ curve.covariance).T
    mean = curve.mean + gain @ misfit
    covariance = curve.covariance - gain @ basis @ curve.covariance
    left = misfit - basis @ (mean - curve.mean)
    left = (left.reshape(greys, 3) - left.reshape(greys, 3).mean(axis=0)).reshape(-1)
    expected = np.sqrt(np.diag(noise))
    return ToneFit(
        np.maximum(mean, LEAST_SLOPE),
        0.5 * (covariance + covariance.T),
        float(np.sqrt(np.mean((left / expected) ** 2))),
    )
