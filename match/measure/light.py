"""The light across the frame, and what each paint would read in one and the same light.

A region of one paint is its own flat field: the slope inside it is the light's. All regions of a photo are fitted
together by Bayesian linear regression (Bishop 2006, Pattern Recognition and Machine Learning, section 3.3),

    log level = paint + light field (plane and quadratic over the frame) + region's own slope and offset + noise,

where every term but the paints has a Gaussian prior. How strong the light field is, and how far the slope inside a
region is to be trusted as the light's (a curved panel or metallic flop makes a slope of its own), are hyperparameters;
they are weighed for each photo by their marginal likelihood, so a photo whose regions disagree about the light is
corrected less and reported less sure. The greys have a hyperparameter of their own: they are matte and lie apart, so
what they see of the light may differ from what card and car, lying together, see alike.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Self

import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity
from match.colorimetry import Array
from match.measure.sampling import Sample, surface_terms
from match.photo.regions import Kind, Region

TO_COMPONENTS = np.array([[0.25, 0.5, 0.25], [1.0, -1.0, 0.0], [0.0, -1.0, 1.0]])
"""Log level (R, G, B) -> (brightness, red against green, blue against green): light varies in the first far more."""

FROM_COMPONENTS = np.linalg.inv(TO_COMPONENTS)

UNKNOWN = 10.0
"""Prior standard deviation of a paint's log level: as good as unknown, e to the power of +-10."""


@dataclass(frozen=True)
class LightPrior:
    """What is known of light before the photo is looked at; see ``calibration/camera.toml``."""

    field_sd: tuple[float, ...] = quantity("log units per frame")
    own_slope_sd: tuple[float, ...] = quantity("log units per frame")
    grey_slope_sd: tuple[float, ...] = quantity("log units per frame")
    colour_share: float = quantity("fraction")
    own_offset_share: float = quantity("fraction")
    least_offset_sd: float = quantity("log units")
    part_offset_sd: float = quantity("log units")
    lean_shift: float = quantity("frames")
    block_correlation: float = quantity("blocks")


@dataclass(frozen=True)
class LightFit:
    """Log levels that every paint would show in one light, as a joint normal distribution a component.

    The paints are the ``cards`` cards and named parts of the car in the order of their regions, the vehicle, then
    the greys in the order of ``reflectances``. ``mean`` is (3, paints), ``covariance`` (3, paints, paints), in the
    components of :data:`TO_COMPONENTS`. ``gradient`` is the change of brightness across the regions (log units,
    largest minus smallest field value); ``own_slope`` the size of slopes that are not the light's. ``field`` (3, 5)
    are the light field's most likely terms about ``centre`` (pixels).
    """

    reflectances: tuple[float, ...]
    mean: Array
    covariance: Array
    gradient: float
    own_slope: float
    field: Array
    centre: Array
    cards: int = 1

    def of_card(self, index: int, against: int | None = None) -> Self:
        """Return the fit of one card, the vehicle and the greys, as the fit of all cards together has them.

        The paint at the place ``against`` stands in the vehicle's stead where it is given.
        """
        vehicle = self.cards if against is None else against
        chosen = [index, vehicle, *range(self.cards + 1, self.mean.shape[1])]
        covariance = self.covariance[:, chosen][:, :, chosen]
        return replace(self, mean=self.mean[:, chosen], covariance=covariance, cards=1)

    @property
    def grey_levels(self) -> Array:
        """The most likely log levels of the greys (greys, 3), R, G, B."""
        return self.mean_log_level[self.cards + 1 :]

    def field_at(self, position_px: Array, frame_px: float) -> Array:
        """Return (n, 3) the light field's log levels (R, G, B) at places (n, 2), up to a constant."""
        terms = surface_terms((position_px - self.centre) / frame_px)[:, 1:]
        return np.asarray(terms @ self.field.T @ FROM_COMPONENTS.T)

    def with_levels(self, log_level: Array, covariance: Array, reflectances: tuple[float, ...]) -> Self:
        """Return the fit with other paints: log levels (paints, 3), R, G, B, and covariance (3, paints, paints)."""
        return replace(self, reflectances=reflectances, mean=TO_COMPONENTS @ log_level.T, covariance=covariance)

    def draws(self, rng: np.random.Generator, count: int) -> Array:
        """Return (count, paints, 3) log levels (R, G, B) drawn from the fit."""
        parts = [
            rng.multivariate_normal(mean, covariance, size=count, method="cholesky")
            for mean, covariance in zip(self.mean, self.covariance, strict=True)
        ]
        return np.asarray(np.stack(parts, axis=-1) @ FROM_COMPONENTS.T)

    @property
    def mean_log_level(self) -> Array:
        """The most likely log levels (paints, 3), R, G, B."""
        return np.asarray(self.mean.T @ FROM_COMPONENTS.T)


def fit_light(samples: Sequence[Sample], frame_px: float, prior: LightPrior) -> LightFit:
    """Fit paints and light to the block means of all regions; ``frame_px`` is the photo's longest side."""
    reflectances = tuple(
        dict.fromkeys(s.region.reflectance for s in samples if s.region.reflectance is not None).keys()
    )
    cards = compared_paints(s.region for s in samples) or ((Kind.CARD, ""),)
    design = _design(samples, cards, reflectances, frame_px)
    log_level = np.concatenate([np.log(np.maximum(s.level, 1e-6)) for s in samples]) @ TO_COMPONENTS.T
    noise = np.concatenate([_noise(s, frame_px, prior) for s in samples])
    rounding = np.sqrt(np.array([s.rounding_sd for s in samples]) ** 2 @ (TO_COMPONENTS**2).T)
    paints = design.paints
    means, covariances, fields = [], [], []
    gradient = own_slope = 0.0
    for component in range(3):
        share = 1.0 if component == 0 else prior.colour_share
        values = log_level[:, component]
        shifted = np.hypot(rounding[:, component], _leaning(design, values, noise[:, component], prior))
        weighed = _weigh_hyperparameters(design, values, noise[:, component], shifted, prior, share)
        means.append(weighed.mean[:paints])
        covariances.append(weighed.covariance[:paints, :paints])
        fields.append(weighed.mean[design.field])
        if component == 0:
            field = design.matrix[:, design.field] @ weighed.mean[design.field]
            gradient = float(np.ptp(field))
            own_slope = weighed.own_slope
    return LightFit(
        reflectances,
        np.array(means),
        np.array(covariances),
        gradient,
        own_slope,
        np.array(fields),
        _centre(samples),
        len(cards),
    )


Paint = tuple[Kind, str]
"""A paint that is compared with the vehicle's: a card or a part of the car, and its name."""


def compared_paints(regions: Iterable[Region]) -> tuple[Paint, ...]:
    """Return the cards and named parts among regions, in the order of their first ones."""
    return tuple(dict.fromkeys((r.kind, r.label) for r in regions if r.kind is Kind.CARD or r.is_part))


@dataclass(frozen=True)
class _Design:
    matrix: Array
    paints: int
    field: slice
    own_slopes: slice
    own_offsets: slice
    region: NDArray[np.int_]
    region_size: Array
    is_grey: NDArray[np.bool_]
    is_card: NDArray[np.bool_]
    is_part: NDArray[np.bool_]


def _design(
    samples: Sequence[Sample], cards: tuple[Paint, ...], reflectances: tuple[float, ...], frame_px: float
) -> _Design:
    centre = _centre(samples)
    paints, count = len(cards) + 1 + len(reflectances), len(samples)
    rows = []
    for index, sample in enumerate(samples):
        position = (sample.position_px - centre) / frame_px
        inside = position - position.mean(axis=0)
        n = len(position)
        paint = np.zeros((n, paints))
        paint[:, _paint_index(sample, cards, reflectances)] = 1.0
        slopes, offsets = np.zeros((n, 2 * count)), np.zeros((n, count))
        slopes[:, 2 * index : 2 * index + 2] = inside
        offsets[:, index] = 1.0
        rows.append(np.hstack([paint, surface_terms(position)[:, 1:], slopes, offsets]))
    size = np.array([np.sqrt(s.region.width * s.region.height) / frame_px for s in samples])
    after_field = paints + 5
    after_slopes = after_field + 2 * count
    return _Design(
        np.vstack(rows),
        paints,
        slice(paints, after_field),
        slice(after_field, after_slopes),
        slice(after_slopes, after_slopes + count),
        np.repeat(np.arange(count), [len(sample.position_px) for sample in samples]),
        size,
        np.array([s.region.kind is Kind.GREY for s in samples]),
        # a part lies in another plane than the panel, as a card may: it leans in the light by its own amount
        np.array([s.region.kind is Kind.CARD or s.region.is_part for s in samples]),
        np.array([s.region.is_part for s in samples]),
    )


def _centre(samples: Sequence[Sample]) -> Array:
    return np.asarray(np.concatenate([s.position_px for s in samples]).mean(axis=0))


def _paint_index(sample: Sample, cards: tuple[Paint, ...], reflectances: tuple[float, ...]) -> int:
    if sample.region.kind is Kind.CARD or sample.region.is_part:
        return cards.index((sample.region.kind, sample.region.label))
    if sample.region.kind is Kind.VEHICLE:
        return len(cards)
    assert sample.region.reflectance is not None
    return len(cards) + 1 + reflectances.index(sample.region.reflectance)


def _noise(sample: Sample, frame_px: float, prior: LightPrior) -> Array:
    """Return (n, 3) standard deviations of the block means, from their scatter around a smooth surface.

    Neighbouring blocks share flake, film and JPEG error, so each counts as a fraction of an independent reading. The
    stairs that rounding makes of a weak gradient run through the whole region, all its blocks count as one reading:
    else a stair would be taken for the light's own bend, surely.
    """
    position = (sample.position_px - sample.position_px.mean(axis=0)) / frame_px
    values = np.log(np.maximum(sample.level, 1e-6)) @ TO_COMPONENTS.T
    terms = surface_terms(position)[:, : (6 if len(values) >= 24 else 3 if len(values) >= 6 else 1)]
    residual = values - terms @ np.linalg.lstsq(terms, values, rcond=None)[0]
    freedom = max(len(values) - terms.shape[1], 1)
    spread = np.sqrt((residual**2).sum(axis=0) / freedom * prior.block_correlation)
    stairs = np.sqrt(sample.stair_sd**2 @ (TO_COMPONENTS**2).T * len(values))
    return np.broadcast_to(np.maximum(np.hypot(spread, stairs), 1e-3), values.shape)


def _leaning(design: _Design, values: Array, noise: Array, prior: LightPrior) -> Array:
    """Return by how much a lean unseen may shift each region (log units): the card's, which is laid on by hand.

    Paint that leans shows the camera what it would show a little further across the frame: by the law of reflection the
    mirror direction turns by twice the lean. An effect finish changes across the frame far more than a solid does. The
    panel's own lean is its curvature, which the light field follows.
    """
    paint = ~design.is_grey[design.region]
    across = np.hstack([design.matrix[:, : design.paints], design.matrix[:, design.field][:, :2]])[paint]
    weighed = across / noise[paint, None]
    slope = np.linalg.lstsq(weighed, values[paint] / noise[paint], rcond=None)[0][design.paints :]
    return np.where(design.is_card, prior.lean_shift * float(np.linalg.norm(slope)), 0.0)


@dataclass(frozen=True)
class _Weighed:
    mean: Array
    covariance: Array
    own_slope: float


def _weigh_hyperparameters(
    design: _Design, values: Array, noise: Array, shifted: Array, prior: LightPrior, share: float
) -> _Weighed:
    """Average the posterior over the grid of hyperparameters, each weighed by its marginal likelihood.

    ``shifted`` is how far rounding of the file's codes and a lean may shift each region (log units); ``share`` how much
    of the light's variation this component has.
    """
    scaled = design.matrix / noise[:, None]
    gram = scaled.T @ scaled
    projection = scaled.T @ (values / noise)
    varied = np.array(list(product(prior.field_sd, prior.own_slope_sd, prior.grey_slope_sd)))
    prior_sds = _prior_sds(design, share * varied, shifted, prior, share)
    precisions = gram + prior_sds[:, :, None] ** -2.0 * np.eye(len(gram))
    covariances, sizes = np.linalg.inv(precisions), np.linalg.slogdet(precisions)[1]
    all_means = np.array([covariance @ projection for covariance in covariances])
    # log N(values; 0, noise + design prior design'), up to a constant, by the matrix determinant lemma
    evidence = [
        0.5 * (projection @ mean) - 0.5 * size - np.log(prior_sd).sum()
        for mean, size, prior_sd in zip(all_means, sizes, prior_sds, strict=True)
    ]
    weights = np.exp(np.array(evidence) - max(evidence))
    weights /= weights.sum()
    mean = weights @ all_means
    between = np.einsum("k,ki,kj->ij", weights, all_means - mean, all_means - mean)
    covariance = np.einsum("k,kij->ij", weights, covariances) + between
    return _Weighed(mean, covariance, float(weights @ varied[:, 1]))


def _prior_sds(design: _Design, varies: Array, shifted: Array, prior: LightPrior, share: float) -> Array:
    """Return the prior standard deviation (k, terms); ``varies`` (k, 3) are those of field, own and grey slopes."""
    field_sd, slope_sd, grey_sd = varies.T[:, :, None]
    sd = np.full((len(varies), design.matrix.shape[1]), UNKNOWN)
    sd[:, design.field] = field_sd
    own = np.where(design.is_grey, grey_sd, slope_sd)
    sd[:, design.own_slopes] = np.repeat(own, 2, axis=1)
    # What is laid on leans by an angle nobody sees; the panel's own lean is its curvature: the light field follows it.
    laid_on = prior.least_offset_sd * (design.is_card | design.is_grey)
    unseen = share * np.where(design.is_part, prior.part_offset_sd, laid_on)
    # A surface whose slope strays by slope_sd strays in its mean by about that slope times its own size.
    leaning = np.hypot(unseen, prior.own_offset_share * own * design.region_size)
    sd[:, design.own_offsets] = np.hypot(leaning, shifted)
    return sd
