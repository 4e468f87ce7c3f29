"""Named parts of the car in the photo of a card: each against the card, and against the panel that it lies beside.

A part is fitted and drawn together with card, car and greys, so that light, grey and camera are the same in every draw
and cancel in each of the three differences as far as they are shared. It is measured beside the card's own measurement
and never in it: what a part shows moves no verdict on the card.
"""

from collections.abc import Sequence

from match.measure.finding import Finding
from match.measure.light import Paint
from match.measure.measurement import Measurement, PaintsFit, PartReading, Procedure, fit_paints, measurement_of
from match.measure.photo_code import PhotoCode
from match.measure.quality import QualityLimits, left_out_findings, region_findings, usable_regions
from match.measure.sampling import Patch, Sample, sample_region
from match.measure.uncertainty import Draws, best_estimate
from match.photo.regions import Kind, parts_in


def measure_parts(patches: Sequence[Patch], procedure: Procedure) -> tuple[tuple[PartReading, ...], ...]:
    """Measure every named part against every card, and against the car.

    ``patches`` as for :func:`match.measure.measurement.measure_cards`; a part may have several regions.

    Returns
    -------
    For each card, in the order of their marks, its parts in the order of theirs.
    """
    names = parts_in([patch.region for patch in patches])
    marked = [sample_region(patch, procedure.calibration.sampling) for patch in patches]
    panel = [sample for sample in marked if not sample.region.is_part]
    used = usable_regions(panel, procedure.calibration.quality)
    of_card = {(Kind.CARD, sample.region.label): sample for sample in panel if sample.region.kind is Kind.CARD}
    found: dict[Paint, list[PartReading]] = {card: [] for card in of_card}
    for name in names:
        mine = [sample for sample in marked if sample.region.is_part and sample.region.label == name]
        kept = usable_regions(mine, procedure.calibration.quality)
        together = fit_paints([*used, *kept], procedure)
        for card, sample in of_card.items():
            # a card that cannot be read is fitted by itself, so that it spoils no other
            fit = together if sample in used else fit_paints([sample, *_others(used), *kept], procedure)
            found[card].append(_reading(fit, card, name, (mine, kept), procedure))
    return tuple(tuple(each) for each in found.values())


def _others(samples: Sequence[Sample]) -> list[Sample]:
    return [sample for sample in samples if sample.region.kind is not Kind.CARD]


def _reading(
    fit: PaintsFit, card: Paint, name: str, samples: tuple[Sequence[Sample], Sequence[Sample]], procedure: Procedure
) -> PartReading:
    """Return what a fit says of a part beside one card; ``samples`` are all that were marked of it, and those used."""
    marked, used = samples
    first, part = fit.paints.index(card), fit.paints.index((Kind.VEHICLE, name))
    against_car = _pair(fit, part, None, tuple(used), procedure)
    against_card = _pair(fit, first, part, tuple(used), procedure)
    quality = procedure.calibration.quality
    findings = [each for sample in used for each in region_findings(sample, quality)]
    findings += _far_apart(against_card.delta_e00, used[0], quality)
    return PartReading(name, against_card, against_car, (*findings, *left_out_findings(marked, used)))


def _far_apart(difference: float, of: Sample, limits: QualityLimits) -> tuple[Finding, ...]:
    if difference <= limits.farthest:
        return ()
    return (Finding(PhotoCode.PART_FAR_APART, True, (of.region,), {"difference": round(difference)}),)


def _pair(
    fit: PaintsFit, first: int, second: int | None, samples: tuple[Sample, ...], procedure: Procedure
) -> Measurement:
    """Return a paint of the fit against another, or against the car where ``second`` is None."""
    light = fit.light.of_card(first, second)
    card, vehicle = best_estimate(fit.light.of_card(first), fit.tone, fit.greys, procedure.calibration.errors)
    if second is not None:
        vehicle, _ = best_estimate(fit.light.of_card(second), fit.tone, fit.greys, procedure.calibration.errors)
    drawn = _between(fit.draws, first, second)
    alone = {source: _between(draws, first, second) for source, draws in fit.alone.items()}
    return measurement_of((card, vehicle), drawn, alone, (), samples, light, fit.tone, procedure)


def _between(draws: Sequence[Draws], first: int, second: int | None) -> Draws:
    """Return the draws of one paint against another: in each row both stand in one light, grey and camera."""
    one = draws[first]
    if second is None:
        return one
    other = draws[second]
    return Draws(
        one.card_lab,
        other.card_lab,
        one.null_difference - other.null_difference,
        one.of_pigments - other.of_pigments,
    )
