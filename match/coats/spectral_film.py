"""Which spectral films could have given a card's two colours, and how much thicker each must be to hide.

A film hides at every wavelength by its own amount: in a red that is dark below 600 nm at once and above it slowly, so
one film for the whole of luminance is read too kindly. Six numbers (the colour over black and over white) do not fix a
spectrum; the films that could stand behind them are drawn from a broad, smooth prior and pulled onto the reading, each
onto its own draw of it (randomised maximum likelihood: Kitanidis 1995, Water Resour Res 31:2411; Oliver, He and
Reynolds 1996; from memory). What the reading leaves open, such as how steep an edge is or what the clear film mirrors
back inside, stays open in the answer. Greys absorb alike at every wavelength and reds do not: the prior is a few
families of more and less coloured films, weighed by how well each explains the reading (its evidence by Laplace's
method: MacKay 2003, Information Theory, Inference and Learning Algorithms, chapter 27; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np

from match.calibration import quantity
from match.colorimetry import Array, lab_from_xyz, lab_slope, xyz_from_lab
from match.tint.pigment import WAVELENGTHS_NM, film_reflectance
from match.tint.viewing import lab_from_reflectance, viewing

LARGEST_FACTOR = 60.0
"""A film that does not hide at this many times its thickness is taken as one that never does."""

DARKEST = 1e-5
"""Reflectance that no reading falls below."""


@dataclass(frozen=True)
class FilmPrior:
    """Table ``hiding.film`` of ``calibration/coats.toml``: what films may be like before a card is looked at."""

    absorption_median: float = quantity("K X")
    absorption_level_sd: float = quantity("log units")
    absorption_shape_sds: tuple[float, ...] = quantity("log units")
    absorption_length: float = quantity("nm")
    scattering_median: float = quantity("S X")
    scattering_level_sd: float = quantity("log units")
    scattering_shape_sd: float = quantity("log units")
    scattering_length: float = quantity("nm")
    inner_reflection: float = quantity("fraction")
    inner_reflection_sd: float = quantity("fraction")
    chart_black_log_sd: float = quantity("log units")
    chart_white_sd: float = quantity("reflectance")
    mirrored_sd: float = quantity("reflectance")
    reading_sd: float = quantity("CIELAB")
    dark_sd: float = quantity("reflectance")
    least_family_weight: float = quantity("probability")
    films: float = quantity("films")
    steps: float = quantity("steps")
    most_misfit: float = quantity("standard deviations")


@dataclass(frozen=True)
class Films:
    """``n`` films that could stand behind a reading, each over its own chart.

    Attributes
    ----------
    absorption, scattering : (n, 31) K X and S X of the film as sprayed
    inner_reflection : (n, 1) share of light turned back by the surface from inside
    black, white : (n, 1) reflectance of the chart's fields
    misfit : (n,) root mean square of what each film leaves of its reading, in standard deviations
    weight : (n,) how likely each film is beside the others; sums to 1
    """

    absorption: Array
    scattering: Array
    inner_reflection: Array
    black: Array
    white: Array
    misfit: Array
    weight: Array

    def seen(self, thickness: Array, backing: Array) -> Array:
        """Return (n, 31) reflectance without gloss of the films at (n, 1) times their thickness over a backing (n, 1).

        Of several backings (b, n, 1) at once it is (b, n, 31), in little more time than of one.
        """
        inside = film_reflectance(self.absorption, self.scattering, thickness, backing)
        k2 = self.inner_reflection
        return np.asarray((1.0 - k2) * inside / (1.0 - k2 * inside))

    def contrast_ratio(self, thickness: Array) -> Array:
        """Return (n,) luminance over black by luminance over white at (n,) times the thickness sprayed."""
        weights = viewing().weights[:, 1]
        black, white = self.seen(thickness[:, None], np.stack([self.black, self.white]))
        return np.asarray((black @ weights) / (white @ weights))

    def factor_to_hide(self, wanted: float) -> Array:
        """Return (n,) how many times the thickness reaches the wanted contrast ratio; infinite where none does."""
        low = np.full(len(self.misfit), np.log(1e-3))
        high = np.full(len(self.misfit), np.log(LARGEST_FACTOR))
        hides_at_all = self.contrast_ratio(np.exp(high)) >= wanted
        for _ in range(30):
            middle = 0.5 * (low + high)
            enough = self.contrast_ratio(np.exp(middle)) >= wanted
            low, high = np.where(enough, low, middle), np.where(enough, middle, high)
        return np.where(hides_at_all, np.exp(high), np.inf)


def films_behind(
    over_black: Array, over_white: Array, chart: tuple[float, float], prior: FilmPrior, seed: int
) -> Films:
    """Return films that could stand behind a reading.

    Parameters
    ----------
    over_black, over_white : (m, 3) draws of the CIELAB over the chart's black and white, jointly; the first
        ``prior.films`` are used
    chart : nominal reflectance of black and white
    prior : table ``hiding.film``
    seed : for the draws from the prior
    """
    families = prior.absorption_shape_sds
    count = min(int(prior.films), len(over_black)) // len(families)
    rng = np.random.default_rng(seed)
    readings = np.concatenate([_shaken(over, prior.dark_sd, rng) for over in (over_black, over_white)], axis=1)
    whiten = np.linalg.inv(np.linalg.cholesky(np.cov(readings.T) + prior.reading_sd**2 * np.eye(6)))
    found, evidence = [], []
    for number, shape_sd in enumerate(families):
        model = _Model(chart, prior, shape_sd)
        wanted = readings[number :: len(families)][:count]
        wanted = wanted + prior.reading_sd * rng.standard_normal(wanted.shape)
        start = rng.standard_normal((count, model.size))
        # The last row begins at the middle of the prior, pulled onto the mean reading: the family's likeliest film.
        start, wanted = np.vstack([start, np.zeros(model.size)]), np.vstack([wanted, readings.mean(axis=0)])
        at, left, slope = _pulled_onto(start, wanted, whiten, model)
        found.append(model.films(at[:-1], np.sqrt((left[:-1] ** 2).mean(axis=1))))
        evidence.append(_log_evidence(at[-1], left[-1], slope[-1]))
    likely = np.exp(np.array(evidence) - max(evidence))
    return _together(found, np.maximum(likely / likely.sum(), prior.least_family_weight))


def _shaken(lab: Array, sd: float, rng: np.random.Generator) -> Array:
    """Return readings (m, 3) with an error of this much in each tristimulus value: little in a light colour.

    Near black a photo's last codes, its tone below the darkest grey and what each field mirrors are as large as the
    colour, and no draw of the measurement parts the two fields by them.
    """
    return lab_from_xyz(np.maximum(xyz_from_lab(lab) + sd * rng.standard_normal(lab.shape), DARKEST))


def _log_evidence(at: Array, left: Array, slope: Array) -> float:
    """Return the log of how likely the reading is in a family, but for a constant, from its likeliest film."""
    return float(-0.5 * ((left**2).sum() + (at**2).sum() + np.linalg.slogdet(np.eye(6) + slope @ slope.T)[1]))


def _together(families: list[Films], weights: Array) -> Films:
    parts = [np.concatenate([getattr(each, field.name) for each in families]) for field in fields(Films)]
    weight = np.repeat(weights, [len(each.misfit) for each in families])
    return replace(Films(*parts), weight=weight / weight.sum())


def _pulled_onto(start: Array, wanted: Array, whiten: Array, model: _Model) -> tuple[Array, Array, Array]:
    """Minimise |z - start|^2 + |whitened reading - wanted|^2 for each row by damped Gauss-Newton steps.

    Returns where each row comes to (n, p), and there the whitened misfit (n, 6) and the slope of the whitened reading
    (n, 6, p). Most of the work is in the slopes, so only rows that moved are given new ones.
    """
    at = start * 0.3  # a start near the middle of the prior: its far ends are flat and hold a search
    damping = np.full(len(at), 1.0)
    left, slope = (wanted - model.reading(at)) @ whiten.T, whiten @ model.slope(at)
    cost = _cost(at, start, left)
    for _ in range(int(model.prior.steps)):
        tried = at + _step(at, start, left, slope, damping)
        new_left = (wanted - model.reading(tried)) @ whiten.T
        new_cost = _cost(tried, start, new_left)
        better = new_cost < cost
        at[better], cost[better], left[better] = tried[better], new_cost[better], new_left[better]
        slope[better] = whiten @ model.slope(at[better])
        damping = np.where(better, damping * 0.4, damping * 4.0)
    return at, left, slope


def _step(at: Array, start: Array, left: Array, slope: Array, damping: Array) -> Array:
    """Return the Levenberg-Marquardt step (n, p); six readings, so the small system (6 x 6) is solved."""
    shrink = 1.0 / (1.0 + damping)
    back = start - at
    # (J'J + (1 + damping) I) s = J' left + back, by the matrix inversion lemma
    right = np.einsum("nkp,nk->np", slope, left) + back
    small = np.eye(6) + shrink[:, None, None] * np.einsum("nkp,nlp->nkl", slope, slope)
    inner = np.linalg.solve(small, np.einsum("nkp,np->nk", slope, right)[..., None])[..., 0]
    return np.asarray(shrink[:, None] * (right - shrink[:, None] * np.einsum("nkp,nk->np", slope, inner)))


def _cost(at: Array, start: Array, left: Array) -> Array:
    """Return (n,) what :func:`_pulled_onto` minimises."""
    return np.asarray((left**2).sum(axis=1) + ((at - start) ** 2).sum(axis=1))


@dataclass(frozen=True)
class _Model:
    """From standard normal numbers to films, for one family."""

    chart: tuple[float, float]
    prior: FilmPrior
    absorption_shape_sd: float

    @property
    def size(self) -> int:
        """How many numbers describe a film."""
        return 6 + sum(len(_shapes(nm).T) for nm in (self.prior.absorption_length, self.prior.scattering_length))

    def reading(self, z: Array) -> Array:
        """Return (n, 6) CIELAB over black and white of the films that (n, p) numbers stand for."""
        return np.concatenate([lab_from_reflectance(seen) for seen in np.maximum(self._seen(z), DARKEST)], axis=1)

    def slope(self, z: Array) -> Array:
        """Return (n, 6, p) how the reading rises with each of the (n, p) numbers.

        A number of a shape moves absorption or scattering at each wavelength by its own share of what their level does,
        so the film is looked at again for the first six numbers alone.
        """
        prior, view, little = self.prior, viewing(), 1e-6
        K_shapes, S_shapes = _shapes(prior.absorption_length), _shapes(prior.scattering_length)
        seen = self._seen(z)
        rises = np.stack([(self._seen(z + little * one) - seen) / little for one in np.eye(self.size)[:6]], axis=2)
        rises = np.where(seen[:, :, None] > DARKEST, rises, 0.0)
        by_K = rises[:, :, 0] * (self.absorption_shape_sd / prior.absorption_level_sd)
        by_S = rises[:, :, 1] * (prior.scattering_shape_sd / prior.scattering_level_sd)
        weighed = [
            (shapes[:, :, None] * view.weights[:, None]).reshape(len(shapes), -1) for shapes in (K_shapes, S_shapes)
        ]
        by_shape = [(by @ each).reshape(*by.shape[:2], -1, 3) for by, each in zip((by_K, by_S), weighed, strict=True)]
        of_xyz = np.concatenate([rises @ view.weights, *by_shape], axis=2)
        of_lab = lab_slope(np.maximum(seen, DARKEST) @ view.weights, view.white)
        return np.concatenate(np.einsum("fnlx,fnpx->fnlp", of_lab, of_xyz), axis=1)

    def _seen(self, z: Array) -> Array:
        """Return (2, n, 31) what is read over black and over white, as yet unbounded."""
        films = self.films(z, np.zeros(len(z)))
        # what a reading leaves of the light that the surface mirrors, or took too much of: in a black it is half of all
        left = self.prior.mirrored_sd * z[:, [5]]
        return films.seen(np.ones((len(z), 1)), np.stack([films.black, films.white])) + left

    def films(self, z: Array, misfit: Array) -> Films:
        """Return the films that (n, p) numbers stand for, all equally likely."""
        prior, chart = self.prior, self.chart
        K_shapes, S_shapes = _shapes(prior.absorption_length), _shapes(prior.scattering_length)
        level_K, level_S, inner, black, white = (z[:, [index]] for index in range(5))
        shape_K, shape_S = z[:, 6 : 6 + len(K_shapes.T)], z[:, 6 + len(K_shapes.T) :]
        log_K = np.log(prior.absorption_median) + prior.absorption_level_sd * level_K
        log_S = np.log(prior.scattering_median) + prior.scattering_level_sd * level_S
        log_K = log_K + self.absorption_shape_sd * (shape_K @ K_shapes.T)
        log_S = log_S + prior.scattering_shape_sd * (shape_S @ S_shapes.T)
        return Films(
            absorption=np.exp(np.clip(log_K, -14.0, 6.0)),
            scattering=np.exp(np.clip(log_S, -9.0, 6.0)),
            inner_reflection=np.clip(prior.inner_reflection + prior.inner_reflection_sd * inner, 0.0, 0.65),
            black=np.clip(chart[0] * np.exp(prior.chart_black_log_sd * black), 1e-4, 0.1),
            white=np.clip(chart[1] + prior.chart_white_sd * white, 0.4, 0.97),
            misfit=misfit,
            weight=np.full(len(z), 1.0 / len(z)),
        )


@lru_cache(maxsize=8)
def _shapes(length_nm: float) -> Array:
    """Return (31, k) smooth curves of unit variance: a Gaussian process of this length by its principal components."""
    apart = WAVELENGTHS_NM[:, None] - WAVELENGTHS_NM[None]
    values, vectors = np.linalg.eigh(np.exp(-0.5 * (apart / length_nm) ** 2))
    kept = values > 1e-3 * values.max()
    shapes = vectors[:, kept] * np.sqrt(values[kept])
    shapes.flags.writeable = False
    return np.asarray(shapes)
