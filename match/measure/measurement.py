"""One photo's regions become a colour difference with its uncertainty: composition only, no formulas."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from match.colorimetry import Array, SignedTerms, delta_e00, signed_terms
from match.measure.confidence import ConfidenceCurve, confidence_curve
from match.measure.finding import Finding
from match.measure.light import LightFit, LightPrior, Paint, compared_paints, fit_light
from match.measure.quality import (
    QualityLimits,
    far_apart_finding,
    left_out_findings,
    mirrored_finding,
    photo_findings,
    usable_regions,
)
from match.measure.sampling import Patch, Sample, SamplingRules, sample_region
from match.measure.tone import GreyTolerance, ToneFit, TonePrior, fit_tone, prior_curve
from match.measure.uncertainty import SOURCES, CameraErrors, Draws, best_estimate, draw
from match.photo.regions import Kind, Region


@dataclass(frozen=True)
class CameraCalibration:
    """Everything in ``calibration/camera.toml``."""

    sampling: SamplingRules
    light: LightPrior
    tone: TonePrior
    errors: CameraErrors
    quality: QualityLimits


@dataclass(frozen=True)
class Measurement:
    """Card and vehicle in CIELAB (D65, 2 degree), their difference, and how sure it is.

    ``delta_e00`` is CIEDE2000 of the two Labs as read, which noise lifts when the true difference is small;
    ``unbiased_delta_e00`` is the median of the confidence distribution, which takes that lift off. ``budget`` holds,
    for each source of error, how far (CIEDE2000) it alone would shift the difference in 68 of 100 photos.
    ``frame_px`` is the longest side of the photo.
    ``mended`` are the marks without their likeliest slip, where the photo shows one and it can be put right;
    ``if_sure`` are the marks as they are, said to be right where a person's word on them would do.
    ``other_steps`` are the reflectances that the only grey may have instead of the one stated, each with its chance;
    the draws hold them too.
    ``parts`` are the named parts marked in the photo, for which nothing else here counts.
    """

    card_lab: Array
    vehicle_lab: Array
    delta_lab_sd: Array
    delta_e00: float
    unbiased_delta_e00: float
    interval: tuple[float, float]
    terms: SignedTerms
    confidence: ConfidenceCurve
    draws: Draws
    budget: dict[str, float]
    findings: tuple[Finding, ...]
    samples: tuple[Sample, ...]
    light: LightFit
    tone: ToneFit
    frame_px: float
    mended: tuple[Region, ...] = ()
    if_sure: tuple[Region, ...] = ()
    other_steps: tuple[tuple[float, float], ...] = ()
    parts: tuple[PartReading, ...] = ()


@dataclass(frozen=True)
class PartReading:
    """A named part in the photo of a card: the ``card`` against it, and it against the ``car`` as its panel shows it.

    ``findings`` are of its own marks. See :mod:`match.measure.parts`.
    """

    name: str
    card: Measurement
    car: Measurement
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Procedure:
    """How the marks of one photo are measured.

    ``frame_px`` is the photo's longest side; ``grey_tolerance`` says how well the grey of a reflectance is known;
    ``scene_linear`` whether the file was decoded to light without a tone curve (camera raw); ``seed`` and ``count``
    are the Monte-Carlo's seed and its number of draws.
    """

    frame_px: float
    grey_tolerance: Callable[[float], GreyTolerance]
    scene_linear: bool
    calibration: CameraCalibration
    seed: int
    count: int


def measure_cards(patches: Sequence[Patch], procedure: Procedure) -> tuple[Measurement, ...]:
    """Measure every card against the vehicle in one photo, in the order of their marks; no named part counts.

    All cards are fitted and drawn together: the same row of two cards' draws is one and the same light, grey and
    camera. A card that cannot be read is measured by itself, so that it spoils no other.

    ``patches`` are the marked regions: at least one grey, one region for each card, at least one vehicle.
    """
    marked = tuple(
        sample_region(patch, procedure.calibration.sampling) for patch in patches if not patch.region.is_part
    )
    used = usable_regions(marked, procedure.calibration.quality)

    def together(chosen: Sequence[Sample]) -> dict[Region, Measurement]:
        return _together(marked, chosen, procedure)

    measured = together(used)
    for card in (sample for sample in marked if sample.region.kind is Kind.CARD and sample not in used):
        measured |= together([card, *(sample for sample in used if sample.region.kind is not Kind.CARD)])
    return tuple(measured[sample.region] for sample in marked if sample.region.kind is Kind.CARD)


def _together(
    marked: Sequence[Sample],
    samples: Sequence[Sample],
    procedure: Procedure,
) -> dict[Region, Measurement]:
    """Measure the cards among ``samples``; ``marked`` are all that were marked, usable or not."""
    fit = fit_paints(samples, procedure)
    cards = [sample.region for sample in samples if sample.region.kind is Kind.CARD]

    def without_others(card: Region, of: Sequence[Sample]) -> tuple[Sample, ...]:
        return tuple(each for each in of if each.region.kind is not Kind.CARD or each.region == card)

    return {
        card: _one_card(fit, index, without_others(card, marked), without_others(card, samples), procedure)
        for index, card in enumerate(cards)
    }


@dataclass(frozen=True)
class PaintsFit:
    """All paints of a photo in one light: the fit, the camera's tone, and draws of every card and part in one world.

    ``draws`` and each list in ``alone`` (the draws of each source of error by itself) are in the order of ``paints``.
    """

    paints: tuple[Paint, ...]
    light: LightFit
    tone: ToneFit
    greys: tuple[GreyTolerance, ...]
    draws: tuple[Draws, ...]
    alone: dict[str, tuple[Draws, ...]]


def fit_paints(samples: Sequence[Sample], procedure: Procedure) -> PaintsFit:
    """Fit light and tone to the samples and draw all their paints together; as :func:`measure_cards`."""
    calibration, count = procedure.calibration, procedure.count
    light = fit_light(samples, procedure.frame_px, calibration.light)
    greys = tuple(procedure.grey_tolerance(reflectance) for reflectance in light.reflectances)
    level_sd = np.sqrt(np.stack([np.diag(c)[light.cards + 1 :] for c in light.covariance], axis=-1))
    tone = fit_tone(
        light.grey_levels,
        level_sd,
        light.reflectances,
        greys,
        prior_curve(calibration.tone, procedure.scene_linear),
        calibration.tone.gain_tolerance,
    )
    rng = np.random.default_rng(procedure.seed)
    paints = compared_paints(sample.region for sample in samples)
    car = [sample for sample in samples if not sample.region.is_part]
    empty = np.array([*(_emptiest_of(samples, paint) for paint in paints), emptiest(car, Kind.VEHICLE)])
    parts = tuple(place for place, (kind, _) in enumerate(paints) if kind is Kind.VEHICLE)
    drawn = partial(draw, light, tone, greys, calibration.errors, rng, empty_share=empty, parts=parts)
    draws = drawn(count)
    few = max(count // 8, 200)
    alone = {source: drawn(few, only=source) for source in SOURCES}
    return PaintsFit(paints, light, tone, greys, draws, alone)


def _emptiest_of(samples: Sequence[Sample], paint: Paint) -> Array:
    kind, label = paint
    return emptiest([each for each in samples if each.region.label == label], kind)


def _one_card(
    fit: PaintsFit,
    index: int,
    marked: tuple[Sample, ...],
    samples: tuple[Sample, ...],
    procedure: Procedure,
) -> Measurement:
    """Return the measurement of the card or part at a place of the fit against the vehicle, both in ``samples``."""
    light, tone, draws = fit.light.of_card(index), fit.tone, fit.draws[index]
    card, vehicle = best_estimate(light, tone, fit.greys, procedure.calibration.errors)
    alone = {source: drawn[index] for source, drawn in fit.alone.items()}
    found = (
        *far_apart_finding(float(delta_e00(card, vehicle)), procedure.calibration.quality),
        *photo_findings(samples, light, tone, procedure.calibration.quality, procedure.scene_linear),
        *mirrored_finding(float(vehicle[0]), procedure.calibration.quality),
        *left_out_findings(marked, samples),
    )
    return measurement_of((card, vehicle), draws, alone, found, samples, light, tone, procedure)


def measurement_of(
    colours: tuple[Array, Array],
    draws: Draws,
    alone: Mapping[str, Draws],
    findings: tuple[Finding, ...],
    samples: tuple[Sample, ...],
    light: LightFit,
    tone: ToneFit,
    procedure: Procedure,
) -> Measurement:
    """Return what two paints' best ``colours`` and their draws amount to, with what was found of them and the photo."""
    card, vehicle = colours
    confidence = confidence_curve(card, vehicle, draws)
    return Measurement(
        card_lab=card,
        vehicle_lab=vehicle,
        delta_lab_sd=(draws.card_lab - draws.vehicle_lab).std(axis=0),
        delta_e00=float(delta_e00(card, vehicle)),
        unbiased_delta_e00=confidence.median,
        interval=confidence.interval(0.95),
        terms=signed_terms(card, vehicle),
        confidence=confidence,
        draws=draws,
        budget=_budget(alone, card, vehicle),
        findings=findings,
        samples=samples,
        light=light,
        tone=tone,
        frame_px=procedure.frame_px,
    )


def emptiest(samples: Sequence[Sample], kind: Kind) -> Array:
    """Return the largest share of empty pixels in each channel (3,) over the regions of a kind."""
    return np.asarray(np.max([each.empty_share for each in samples if each.region.kind is kind], axis=0))


def _budget(alone: Mapping[str, Draws], card: Array, vehicle: Array) -> dict[str, float]:
    """Return how far (CIEDE2000) 68 % of the draws of each source stay within of the best; far strays do not count."""
    shifts = np.stack([drawn.card_lab - drawn.vehicle_lab - (card - vehicle) for drawn in alone.values()])
    sizes = delta_e00(vehicle + shifts, np.broadcast_to(vehicle, shifts.shape))
    return dict(zip(alone, np.quantile(sizes, 0.6827, axis=1).tolist(), strict=True))
