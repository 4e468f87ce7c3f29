"""The mean of a few vectors that differ by more than each one's own noise, and by which side they show.

The model is the random-effects one of DerSimonian and Laird (1986, Controlled Clinical Trials 7:177), for vectors::

    value_i = mean + side_i * light + between_i + own_i
    own_i ~ N(0, covariance_i)    between_i ~ N(0, (between_sd * shape)^2)    light ~ N(0, light_factor^2 * light)

with ``side_i`` +1 or -1. With a handful of values ``between_sd`` is poorly known, and the usual point estimate is often
zero and makes the mean look too sure. So it is not estimated but averaged over: each of its values on a grid is weighed
by a prior (half-Cauchy; Gelman 2006, Bayesian Analysis 1:515) times its restricted likelihood (Harville 1977, J Am
Stat Assoc 72:320), which is the few-sample shrinkage asked for, and exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

Array = NDArray[np.float64]

SMALLEST_VARIANCE = 1e-10
"""Added to variances so that an input without any noise is no special case."""


@dataclass(frozen=True)
class Grid:
    """Values of the two unknown sizes and the prior probability of each pair, all (g,)."""

    between_sd: Array
    light_factor: Array
    weight: Array


def spread_grid(between_sd: Sequence[float], scale: float, light_factor: Sequence[float] = (1.0,)) -> Grid:
    """Return a grid with a half-Cauchy prior of this ``scale`` on the between sd, and light factors equally likely.

    Each grid value stands for the stretch halfway to its neighbours.
    """
    steps = np.asarray(between_sd, dtype=np.float64)
    edges = np.concatenate([[0.0], 0.5 * (steps[1:] + steps[:-1]), [np.inf]])
    mass = np.diff(np.arctan(edges / scale))
    pairs = [(sd, factor, weight) for sd, weight in zip(steps, mass, strict=True) for factor in light_factor]
    sd, factor, weight = (np.array(column) for column in zip(*pairs, strict=True))
    return Grid(sd, factor, weight / weight.sum())


@dataclass(frozen=True)
class GroupFit:
    """The posterior, for each grid point a Gaussian of (common mean, light's part) together.

    Attributes
    ----------
    joint_mean, joint_covariance : (g, 2p) and (g, 2p, 2p)
    between_sd : (g,) the grid's values
    weight : (g,) posterior probability of each grid point
    log_likelihood : (g,) restricted log likelihood, up to a constant
    """

    joint_mean: Array
    joint_covariance: Array
    between_sd: Array
    weight: Array
    log_likelihood: Array

    @property
    def size(self) -> int:
        """Components of a value, p."""
        return int(self.joint_mean.shape[1]) // 2

    @property
    def mean(self) -> Array:
        """The common mean at each grid point (g, p)."""
        return self.joint_mean[:, : self.size]

    @property
    def covariance(self) -> Array:
        """Its covariance at each grid point (g, p, p)."""
        return self.joint_covariance[:, : self.size, : self.size]

    @property
    def centre(self) -> Array:
        """The posterior mean (p,)."""
        return np.asarray(self.weight @ self.mean)

    @property
    def spread(self) -> Array:
        """The posterior covariance (p, p)."""
        off = self.mean - self.centre
        within = np.einsum("g,gij->ij", self.weight, self.covariance)
        return np.asarray(within + np.einsum("g,gi,gj->ij", self.weight, off, off))

    @property
    def expected_between_sd(self) -> float:
        """Root of the posterior mean of the between variance."""
        return float(np.sqrt(self.weight @ self.between_sd**2))

    def draws(self, rng: np.random.Generator, count: int) -> Array:
        """Return (count, p) draws of the mean, tails as heavy as the unknown sizes make them."""
        chosen = rng.choice(self.weight.size, size=count, p=self.weight)
        root = np.array([psd_root(covariance) for covariance in self.covariance])
        noise = rng.standard_normal((count, self.size))
        return np.asarray(self.mean[chosen] + np.einsum("nij,nj->ni", root[chosen], noise))


def fit_group(
    values: Array,
    covariances: Array,
    sides: Array,
    light: Array,
    shape: Array,
    grid: Grid,
    prior: tuple[Array, Array] | None = None,
) -> GroupFit:
    """Fit the model of this module.

    Parameters
    ----------
    values, covariances : (k, p) and (k, p, p), k >= 1
    sides : (k,) +1 or -1; 0 where the light has no side
    light : (p, p) prior covariance of the light's part
    shape : (p,) between-values sd of each component, relative
    grid : from :func:`spread_grid`
    prior : mean (p,) and covariance (p, p) of the common mean before any value is seen; flat when not given
    """
    k, p = values.shape
    design = np.concatenate(
        [np.broadcast_to(np.eye(p), (k, p, p)), np.asarray(sides, dtype=np.float64)[:, None, None] * np.eye(p)], axis=2
    )
    parts = [
        _given(values, covariances, design, light * factor**2, np.diag((sd * shape) ** 2), prior)
        for sd, factor in zip(grid.between_sd, grid.light_factor, strict=True)
    ]
    theta, covariance, log_likelihood = (np.array(column) for column in zip(*parts, strict=True))
    log_weight = np.log(grid.weight) + log_likelihood
    weight = np.exp(log_weight - log_weight.max())
    return GroupFit(
        joint_mean=theta,
        joint_covariance=covariance,
        between_sd=grid.between_sd,
        weight=weight / weight.sum(),
        log_likelihood=log_likelihood,
    )


def _given(
    values: Array,
    covariances: Array,
    design: Array,
    light: Array,
    between: Array,
    prior: tuple[Array, Array] | None,
) -> tuple[Array, Array, float]:
    """Return mean and covariance of (common mean, light), and the restricted log likelihood, at one grid point."""
    p = values.shape[1]
    tiny = SMALLEST_VARIANCE * np.eye(p)
    inverse = np.linalg.inv(covariances + between + tiny)
    prior_precision = np.zeros((2 * p, 2 * p))
    prior_precision[p:, p:] = np.linalg.inv(light + tiny)
    shift = np.zeros(2 * p)
    if prior is not None:
        prior_precision[:p, :p] = np.linalg.inv(prior[1] + tiny)
        shift[:p] = prior_precision[:p, :p] @ prior[0]
    precision = np.einsum("kai,kab,kbj->ij", design, inverse, design) + prior_precision
    projected = np.einsum("kai,kab,kb->i", design, inverse, values) + shift
    covariance = np.linalg.inv(precision)
    theta = covariance @ projected
    left = np.einsum("ka,kab,kb->", values, inverse, values) - projected @ theta
    if prior is not None:
        left += prior[0] @ shift[:p]
    log_likelihood = 0.5 * (
        np.linalg.slogdet(inverse)[1].sum()
        + np.linalg.slogdet(prior_precision[p:, p:])[1]
        - np.linalg.slogdet(precision)[1]
        - left
    )
    return theta, covariance, float(log_likelihood)


def surprise(value: Array, covariance: Array, side: float, shape: Array, others: GroupFit) -> float:
    """Return the probability that one more value would lie as far from the others as this one (chi-square, p terms)."""
    p = value.size
    design = np.hstack([np.eye(p), side * np.eye(p)])
    chances = []
    for mean, joint, sd in zip(others.joint_mean, others.joint_covariance, others.between_sd, strict=True):
        off = value - design @ mean
        expected = covariance + np.diag((sd * shape) ** 2 + SMALLEST_VARIANCE) + design @ joint @ design.T
        chances.append(float(chi2.sf(off @ np.linalg.solve(expected, off), p)))
    return float(others.weight @ np.array(chances))


def psd_root(covariance: Array) -> Array:
    """Return a root A with A A' = covariance, for a covariance that may be singular."""
    values, vectors = np.linalg.eigh(0.5 * (covariance + covariance.T))
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def positive(covariance: Array) -> Array:
    """Return the nearest covariance without negative variances (a difference of two estimates may have some)."""
    root = psd_root(covariance)
    return np.asarray(root @ root.T)
