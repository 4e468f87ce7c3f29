"""The path a three-stage colour takes through CIELAB as mid-coats are laid on, from a few measured steps.

Each coat hides or filters a further share of what lies under it, so the colour runs towards that of endless coats and
slows down on the way: in each component, for one angle of view,

    difference(n) = A + B exp(-n / depth) + smooth remainder + noise,

with one depth for the three components. A, B are Gaussian, the depth is weighed over a grid by its evidence, and the
remainder is a Gaussian process (Rasmussen and Williams 2006, Gaussian Processes for Machine Learning, chapter 2) for
what the exponential leaves out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from match.calibration import quantity
from match.colorimetry import Array, psd_root

KNOT_STEP = 0.25
"""Coats between the knots at which the path is found; a spline joins them, and the path is far smoother than this."""


@dataclass(frozen=True)
class PathRules:
    """Table ``let_down.path`` of ``calibration/coats.toml``."""

    depths: tuple[float, ...] = quantity("coats")
    span_sd: float = quantity("CIELAB")
    remainder_share: float = quantity("fraction of the path's length")
    remainder_floor: float = quantity("CIELAB")
    remainder_length: float = quantity("coats")


@dataclass(frozen=True)
class PathFit:
    """The posterior of the path on a grid of coats, for one angle.

    Attributes
    ----------
    coats : (m,) the grid
    knots : (q,) coats of the knots between which a spline runs
    mean : (d, q, 3) posterior mean at the knots for each depth
    coat_roots, component_root : (d, q, q) and (3, 3): roots of the covariance at one depth, which is a product of both
    weight : (d,) posterior probability of each depth
    """

    coats: Array
    knots: Array
    mean: Array
    coat_roots: Array
    component_root: Array
    weight: Array

    @property
    def best(self) -> Array:
        """The most likely path (m, 3)."""
        return self._joined(np.einsum("d,dqc->qc", self.weight, self.mean))

    def draws(self, rng: np.random.Generator, count: int) -> Array:
        """Return (count, m, 3) paths drawn from the posterior."""
        chosen = rng.choice(self.weight.size, size=count, p=self.weight)
        noise = rng.standard_normal((count, self.knots.size, 3)) @ self.component_root.T
        for index, root in enumerate(self.coat_roots):
            taken = chosen == index
            noise[taken] = self.mean[index] + root @ noise[taken]
        return self._joined(noise)

    def _joined(self, at_knots: Array) -> Array:
        """Return (..., m, 3) from values at the knots (..., q, 3)."""
        return np.asarray(CubicSpline(self.knots, at_knots, axis=-2)(self.coats))


def fit_path(
    steps: Sequence[float] | Array, differences: Array, covariances: Array, grid: Array, rules: PathRules
) -> PathFit:
    """Fit one angle's path.

    Parameters
    ----------
    steps : (k,) mid-coats of the measured steps, at least two of them different
    differences : (k, 3) card minus vehicle at each step, CIELAB
    covariances : (k, 3, 3) of what is each step's own
    grid : (m,) coats at which the path is wanted
    rules : ``calibration/coats.toml``, table ``let_down.path``

    Notes
    -----
    The steps' noise is taken as one covariance shape (their mean) times a size for each step, so that the three
    components separate once they are whitened by it.
    """
    n = np.asarray(steps, dtype=np.float64)
    shape = covariances.mean(axis=0)
    sizes = np.trace(covariances, axis1=1, axis2=2) / np.trace(shape)
    root = psd_root(shape + 1e-8 * np.eye(3))
    unwhiten, whiten = root, np.linalg.inv(root)
    values = differences @ whiten.T
    scale = float(np.sqrt(np.trace(shape) / 3.0))
    reach = float(np.linalg.norm(differences[:, None] - differences[None], axis=2).max())
    remainder = np.hypot(rules.remainder_share * reach, rules.remainder_floor) / scale
    knots = np.linspace(grid[0], grid[-1], max(int(np.ceil((grid[-1] - grid[0]) / KNOT_STEP)), 3) + 1)
    span = rules.span_sd / scale
    parts = [_at_depth(n, values, sizes, knots, depth, span, remainder, rules) for depth in rules.depths]
    means, covariance, evidence = (np.array(column) for column in zip(*parts, strict=True))
    weight = np.exp(evidence - evidence.max())
    return PathFit(
        coats=grid,
        knots=knots,
        mean=means @ unwhiten.T,
        coat_roots=psd_root(covariance),
        component_root=unwhiten,
        weight=weight / weight.sum(),
    )


def _at_depth(
    n: Array,
    values: Array,
    sizes: Array,
    grid: Array,
    depth: float,
    span: float,
    remainder: float,
    rules: PathRules,
) -> tuple[Array, Array, float]:
    """Return the path's mean (m, 3) and covariance (m, m) in whitened units, and the log evidence, at one depth.

    The exponential is scaled to run over one unit across the measured steps, so that one prior serves every depth.
    """

    def basis(at: Array) -> Array:
        low, high = np.exp(-n.max() / depth), np.exp(-n.min() / depth)
        return np.column_stack([np.ones_like(at), (np.exp(-at / depth) - low) / (high - low) - 0.5])

    def kernel(one: Array, two: Array) -> Array:
        off = (one[:, None] - two[None, :]) / rules.remainder_length
        return np.asarray(span**2 * basis(one) @ basis(two).T + remainder**2 * np.exp(-0.5 * off**2))

    total = kernel(n, n) + np.diag(sizes)
    across = kernel(grid, n)
    gain = np.linalg.solve(total, across.T).T
    covariance = kernel(grid, grid) - gain @ across.T
    _, log_det = np.linalg.slogdet(total)
    evidence = -0.5 * (3 * log_det + float(np.einsum("kc,kc->", values, np.linalg.solve(total, values))))
    return gain @ values, 0.5 * (covariance + covariance.T), evidence
