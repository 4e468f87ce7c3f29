"""The best next mix, and the best addition, by the model of the whole mix.

Both are one bounded least-squares problem: over draws of what is not known, the mean squared W (colour - car) is least,
with W from :func:`match.colorimetry.metric_root`. Its two parts, how far the mean lands from the car and how far the
draws spread about it, are traded off by that alone: a step is as long as it is worth its doubt.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from match.colorimetry import CIE_EPSILON, Array, delta_e00
from match.tint.pigment import opaque_reflectance, surface_reflectance
from match.tint.viewing import lab_from_reflectance, viewing
from match.tint.whole_mix import MixBelief, WholeMix, spectra

SEARCH_DRAWS = 32  # a power of two, as Sobol points want
JUDGE_DRAWS = 256
SEED = 20
PULL = 1e-3  # squared CIEDE2000 that a change by one unit of a toner must gain: decides between mixes of one colour
MOST_STEPS = 25
CLOSE = 1e-4  # squared CIEDE2000, and share of it, that no further step need gain
STILL = 1e-9
DAMPING, MOST_DAMPING = 1e-4, 1e4  # share of the squared slopes; falls tenfold with each step that helps, else rises
STEEP = 30.0  # CIEDE2000 for each share by weight beyond the limit on all additions


@dataclass(frozen=True, eq=False)
class Drawn:
    """Draws of what is not known.

    Attributes
    ----------
    K, S : (d, n, 31) spectra of the toners
    shift : (d, 3) CIELAB
    car : (3,) CIELAB
    W : (3, 3) CIELAB to CIEDE2000 about the car
    model : the toners
    """

    K: Array
    S: Array
    shift: Array
    car: Array
    W: Array
    model: WholeMix

    def labs(self, parts: Array) -> Array:
        """Return (d, 3) card CIELAB of a mix in parts by weight (n,)."""
        R = opaque_reflectance(parts @ self.K, parts @ self.S)
        return lab_from_reflectance(surface_reflectance(R, self.model.optics)) + self.shift

    def misses(self, parts: Array) -> Array:
        """Return (3 d,) W (colour - car) / sqrt(d): its squares add up to the mean squared miss."""
        missed = (self.labs(parts) - self.car) @ self.W.T
        return np.asarray(missed.ravel() / np.sqrt(len(missed)))

    def slopes(self, parts: Array) -> Array:
        """Return (3 d, n) derivative of :meth:`misses` by the parts."""
        K, S = parts @ self.K, parts @ self.S
        Q = K / S
        R = opaque_reflectance(K, S)
        optics = self.model.optics
        by_R = (1 - optics.k1) * (1 - optics.k2) / (1 - optics.k2 * R) ** 2
        by_Q = by_R * -R / np.sqrt(np.maximum(Q * (Q + 2), 1e-12))
        view = viewing()
        t = (surface_reflectance(R, optics) @ view.weights) / view.white
        by_t = np.where(t > CIE_EPSILON, 1 / (3 * np.cbrt(np.maximum(t, 1e-12)) ** 2), (29 / 6) ** 2 / 3) / view.white
        by_parts = (by_Q / S)[:, None, :] * (self.K - Q[:, None, :] * self.S)
        f = (by_parts @ view.weights) * by_t[:, None, :]
        lab = np.stack([116 * f[..., 1], 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)
        missed = np.swapaxes(lab @ self.W.T, 1, 2) / np.sqrt(len(lab))
        return np.asarray(missed.reshape(-1, parts.size))

    def differences(self, parts: Array) -> Array:
        """Return (d,) CIEDE2000 of a mix from the car."""
        labs = self.labs(parts)
        return delta_e00(labs, np.broadcast_to(self.car, labs.shape))


@dataclass(frozen=True, eq=False)
class Freedom:
    """What may be poured.

    Attributes
    ----------
    base : (n,) parts that stay, by toner; zeros for a fresh can
    pours : (k, n) parts of each toner in one unit of each thing that may be poured, such as a toner or untinted paint
    first : (k,) units to start the search from
    most : (k,) largest units
    toner : (k,) parts of toner that count towards ``total`` in one unit of each
    total : most parts of toner poured together
    """

    base: Array
    pours: Array
    first: Array
    most: Array
    toner: Array
    total: float

    def parts(self, units: Array) -> Array:
        """Return (n,) parts by toner after pouring ``units``."""
        return np.asarray(self.base + units @ self.pours)


def draw(model: WholeMix, belief: MixBelief, car: Array, W: Array, count: int) -> Drawn:
    """Return ``count`` draws, the same ones for the same belief (Sobol points and their mirror images)."""
    if not np.any(belief.covariance):  # nothing in doubt: with many toners its eigenvectors would take a second
        unknowns = np.tile(belief.mean, (count, 1))
    else:
        values, vectors = np.linalg.eigh(belief.covariance)
        points = _points(model.size, count // 2)
        unknowns = belief.mean + (points * np.sqrt(np.maximum(values, 0.0))) @ vectors.T
    K, S = spectra(model, unknowns)
    return Drawn(K, S, unknowns[:, :3], car, W, model)


@cache
def _points(size: int, count: int) -> Array:
    """Return (2 count, size) standard normal Sobol points and their mirror images."""
    points = qmc.MultivariateNormalQMC(np.zeros(size), seed=np.random.default_rng(SEED)).random(count)
    return np.concatenate([points, -points])


def best_units(drawn: Drawn, freedom: Freedom) -> Array:
    """Return (k,) units, 0 to ``most``, with the least mean squared miss.

    Which of several mixes of the same colour is taken: the one with the least change, counted in units. Levenberg's
    damped Gauss-Newton, each step a small least-squares problem in a box.
    """
    free = np.flatnonzero(freedom.most > 0)
    units = np.zeros(freedom.most.size)
    most, first = freedom.most[free], freedom.first[free]
    x, damping = np.clip(first, 0.0, most), DAMPING
    units[free] = x
    r = _residual(drawn, freedom, units, free)
    for _ in range(MOST_STEPS if free.size else 0):
        J = _slopes(drawn, freedom, units, free)
        H = J.T @ J
        trial = _in_box(H + damping * np.diag(np.diag(H) + 1e-12), J.T @ r, x, most)
        units[free] = trial
        r_trial = _residual(drawn, freedom, units, free)
        gained = float(r @ r - r_trial @ r_trial)
        if gained > 0:
            x, r, damping = trial, r_trial, damping * 0.1
        else:
            units[free] = x
            damping *= 10.0
        if abs(gained) < CLOSE * (CLOSE + float(r @ r)) or damping > MOST_DAMPING:
            break
    poured = float(units @ freedom.toner)
    return units * min(1.0, freedom.total / poured) if poured > freedom.total else units


def _residual(drawn: Drawn, freedom: Freedom, units: Array, free: NDArray[np.intp]) -> Array:
    """Return the misses, the pull towards no change, and what lies beyond the limit on all additions."""
    beyond = max(0.0, float(units @ freedom.toner) - freedom.total)
    pull = np.sqrt(PULL) * (units[free] - freedom.first[free])
    return np.concatenate([drawn.misses(freedom.parts(units)), pull, [STEEP * beyond]])


def _slopes(drawn: Drawn, freedom: Freedom, units: Array, free: NDArray[np.intp]) -> Array:
    """Return the derivative of :func:`_residual` by the free units."""
    beyond = float(units @ freedom.toner) > freedom.total
    by_units = drawn.slopes(freedom.parts(units)) @ freedom.pours[free].T
    return np.vstack([by_units, np.sqrt(PULL) * np.eye(free.size), STEEP * beyond * freedom.toner[free]])


def _in_box(H: Array, g: Array, x: Array, most: Array) -> Array:
    """Return y in 0..``most`` with the least g'(y - x) + (y - x)'H(y - x)/2, by active sets."""
    at = np.zeros(x.size, dtype=int)  # -1 held at zero, 1 held at the most, 0 free
    y = x
    for _ in range(4 * x.size):
        y = np.where(at > 0, most, 0.0)
        free = at == 0
        if np.any(free):
            rest = H[np.ix_(free, ~free)] @ (y - x)[~free]
            y[free] = x[free] - np.linalg.solve(H[np.ix_(free, free)], g[free] + rest)
        outside = np.maximum(-y, y - most) / np.maximum(most, 1e-12)
        worst = int(np.argmax(outside))
        if outside[worst] > STILL:
            at[worst] = -1 if y[worst] < 0 else 1
            continue
        pushed = at * (g + H @ (y - x))
        worst = int(np.argmax(pushed))
        if pushed[worst] <= STILL:
            break
        at[worst] = 0
    return np.clip(y, 0.0, most)
