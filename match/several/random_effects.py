"""The mean of a few vectors that differ by more than each one's own noise, and by which side they show.

The model is the random-effects one of DerSimonian and Laird (1986, Controlled Clinical Trials 7:177), for vectors::

    value_i = mean + side_i * light + between_i + own_i
    own_i ~ N(0, covariance_i)    between_i ~ N(0, (between_sd * shape)^2)    light ~ N(0, light_factor^2 * light)

with ``side_i`` +1 or -1. With a handful of values ``between_sd`` is poorly known, and the usual point estimate is often
zero and makes the mean look too sure. So it is not estimated but averaged over: each of its values on a grid is weighed
by a prior (half-Cauchy; Gelman 2006, Bayesian Analysis 1:515) times its restricted likelihood (Harville 1977, J Am
Stat Assoc 72:320), which is the few-sample shrinkage asked for, and exact.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincc

from match.colorimetry import Array, psd_root

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
        noise = rng.standard_normal((count, self.size))
        return np.asarray(self.mean[chosen] + np.einsum("nij,nj->ni", psd_root(self.covariance)[chosen], noise))

    def chance_between_above(self, limit: float) -> float:
        """Return the probability that the between sd exceeds ``limit``."""
        return float(self.weight[self.between_sd > limit].sum())


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
    tiny = SMALLEST_VARIANCE * np.eye(p)
    design = np.concatenate(
        [np.broadcast_to(np.eye(p), (k, p, p)), np.asarray(sides, dtype=np.float64)[:, None, None] * np.eye(p)], axis=2
    )
    between = (grid.between_sd[:, None] * shape) ** 2
    # At every grid point at once: (g, k, p, p), the inverse of each value's own and between covariance.
    inverse = np.linalg.inv(covariances + (between[:, None, :, None] * np.eye(p)) + tiny)
    prior_precision = np.zeros((grid.weight.size, 2 * p, 2 * p))
    prior_precision[:, p:, p:] = np.linalg.inv(light * grid.light_factor[:, None, None] ** 2 + tiny)
    shift = np.zeros(2 * p)
    if prior is not None:
        prior_precision[:, :p, :p] = np.linalg.inv(prior[1] + tiny)
        shift[:p] = prior_precision[0, :p, :p] @ prior[0]
    weighted = np.einsum("kai,gkab->gkib", design, inverse)
    precision = np.einsum("gkib,kbj->gij", weighted, design) + prior_precision
    projected = np.einsum("gkib,kb->gi", weighted, values) + shift
    covariance = np.linalg.inv(precision)
    theta = np.einsum("gij,gj->gi", covariance, projected)
    left = np.einsum("ka,gkab,kb->g", values, inverse, values) - np.einsum("gi,gi->g", projected, theta)
    log_likelihood = 0.5 * (
        np.linalg.slogdet(inverse)[1].sum(axis=1)
        + np.linalg.slogdet(prior_precision[:, p:, p:])[1]
        - np.linalg.slogdet(precision)[1]
        - left
    )
    log_weight = np.log(grid.weight) + log_likelihood
    weight = np.exp(log_weight - log_weight.max())
    return GroupFit(theta, covariance, grid.between_sd, weight / weight.sum(), log_likelihood)


def surprise(value: Array, covariance: Array, side: float, shape: Array, others: GroupFit) -> float:
    """Return the probability that one more value would lie as far from the others as this one (chi-square, p terms)."""
    p = value.size
    design = np.hstack([np.eye(p), side * np.eye(p)])
    off = value - others.joint_mean @ design.T
    between = (others.between_sd[:, None] * shape) ** 2 + SMALLEST_VARIANCE
    expected = covariance + between[:, :, None] * np.eye(p) + design @ others.joint_covariance @ design.T
    distance = np.einsum("gi,gi->g", off, np.linalg.solve(expected, off[..., None])[..., 0])
    return float(others.weight @ gammaincc(0.5 * p, 0.5 * distance))


def positive(covariance: Array) -> Array:
    """Return the nearest covariance without negative variances (a difference of two estimates may have some)."""
    root = psd_root(covariance)
    return np.asarray(root @ root.T)
