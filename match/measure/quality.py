"""Does the photo support a verdict? Each finding is a code with its numbers; its words are in ``photo_code``."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from match.calibration import quantity
from match.colorimetry import Array
from match.measure.finding import Finding
from match.measure.light import LightFit
from match.measure.photo_code import PhotoCode
from match.measure.sampling import Sample
from match.measure.tone import ToneFit
from match.photo.regions import Kind, Region


@dataclass(frozen=True)
class QualityLimits:
    """Limits of a usable photo; see ``calibration/camera.toml``."""

    clipped_share: float = quantity("fraction of pixels")
    dark_share: float = quantity("fraction of pixels")
    empty_share: float = quantity("fraction of pixels")
    grey_cast: float = quantity("log units")
    grey_cast_warning: float = quantity("log units")
    grey_like_paint: float = quantity("log units")
    grey_unevenness: float = quantity("log units")
    grey_misfit: float = quantity("standard deviations")
    gradient: float = quantity("log units")
    gradient_warning: float = quantity("log units")
    glare_share: float = quantity("fraction of blocks")
    glare_warning: float = quantity("fraction of blocks")
    least_pixels: float = quantity("px")
    farthest: float = quantity("CIEDE2000")
    mirrored: float = quantity("CIELAB L*")


def usable_regions(samples: Sequence[Sample], limits: QualityLimits) -> tuple[Sample, ...]:
    """Leave out burnt-out, black or mirrored regions where another of the same kind remains to measure by."""

    def spoiled(sample: Sample) -> bool:
        return (
            sample.clipped_share > limits.clipped_share
            or sample.dark_share > limits.dark_share
            or (sample.region.kind is Kind.VEHICLE and sample.glare_share > limits.glare_share)
        )

    kept = [sample for sample in samples if not spoiled(sample)]
    kinds = {sample.region.kind for sample in kept}
    return tuple(sample for sample in samples if sample in kept or sample.region.kind not in kinds)


def far_apart_finding(difference: float, limits: QualityLimits) -> tuple[Finding, ...]:
    """Return a finding when card and vehicle differ more than any card mixed for that vehicle would."""
    if difference <= limits.farthest:
        return ()
    return (Finding(PhotoCode.FAR_APART, True, values={"difference": round(difference)}),)


def mirrored_finding(lightness: float, limits: QualityLimits) -> tuple[Finding, ...]:
    """Return a warning when the paint's L* is as dark as a veil can be bright."""
    return () if lightness > limits.mirrored else (Finding(PhotoCode.MIRRORS, False),)


def left_out_findings(samples: Sequence[Sample], used: Sequence[Sample]) -> tuple[Finding, ...]:
    """Return one warning for each region that was marked but not used."""
    return tuple(Finding(PhotoCode.LEFT_OUT, False, (each.region,)) for each in samples if each not in used)


def photo_findings(
    samples: Sequence[Sample], light: LightFit, tone: ToneFit, limits: QualityLimits, scene_linear: bool
) -> tuple[Finding, ...]:
    """Return everything wrong with the photo, the spoiling findings first."""
    found: list[Finding] = []
    for sample in samples:
        found += region_findings(sample, limits)
    found += _light_findings(light, limits)
    found += _grey_on_paint(light, limits)
    if len(light.reflectances) > 1 and tone.misfit > limits.grey_misfit:
        found.append(Finding(PhotoCode.GREYS_DISAGREE, True))
    if len(light.reflectances) == 1 and not scene_linear:
        found.append(Finding(PhotoCode.ONE_GREY, False))
    return tuple(sorted(found, key=lambda finding: not finding.spoils))


def region_findings(sample: Sample, limits: QualityLimits) -> list[Finding]:
    """Return what is wrong with one region by itself."""
    region, found = sample.region, list[Finding]()
    if sample.clipped_share > limits.clipped_share:
        found.append(_share(PhotoCode.CLIPPED, True, region, sample.clipped_share))
    if sample.dark_share > limits.dark_share:
        found.append(_share(PhotoCode.NEAR_BLACK, True, region, sample.dark_share))
    if region.kind is not Kind.GREY and sample.empty_share.max() > limits.empty_share:
        found.append(Finding(PhotoCode.BEYOND_FILE, False, (region,)))
    if region.kind is not Kind.GREY and sample.glare_share > limits.glare_warning:
        found.append(_share(PhotoCode.GLARE, sample.glare_share > limits.glare_share, region, sample.glare_share))
    if region.width * region.height < limits.least_pixels:
        size = {"width": region.width, "height": region.height}
        found.append(Finding(PhotoCode.SMALL, True, (region,), size))
    if region.kind is Kind.GREY:
        found += _grey_findings(sample, limits)
    return found


def _share(code: PhotoCode, spoils: bool, region: Region, share: float) -> Finding:
    return Finding(code, spoils, (region,), {"percent": round(100.0 * share)})


def _grey_findings(sample: Sample, limits: QualityLimits) -> list[Finding]:
    found = []
    log_level = np.log(np.maximum(sample.level, 1e-6))
    cast = float(np.ptp(log_level.mean(axis=0)))
    if cast > limits.grey_cast_warning:
        found.append(Finding(PhotoCode.GREY_CAST, cast > limits.grey_cast, (sample.region,)))
    if _slope_across(sample, log_level[:, 1]) > limits.grey_unevenness:
        found.append(Finding(PhotoCode.GREY_UNEVEN, True, (sample.region,)))
    return found


def _slope_across(sample: Sample, values: Array) -> float:
    """Return how much a plane through block values changes across the region."""
    if len(values) < 6:
        return 0.0
    position = sample.position_px - sample.position_px.mean(axis=0)
    terms = np.column_stack([np.ones(len(values)), position])
    return float(np.ptp(terms[:, 1:] @ np.linalg.lstsq(terms, values, rcond=None)[0][1:]))


def _light_findings(light: LightFit, limits: QualityLimits) -> list[Finding]:
    if light.gradient <= limits.gradient_warning:
        return []
    times = float(np.exp(light.gradient))
    size: dict[str, float] = {"percent": round(100.0 * (times - 1.0))} if times < 2.0 else {"times": round(times, 1)}
    return [Finding(PhotoCode.GRADIENT, light.gradient > limits.gradient, values=size)]


def _grey_on_paint(light: LightFit, limits: QualityLimits) -> list[Finding]:
    """Return a warning when a grey reads just like card or car in every channel: its mark may lie on the paint."""
    levels = light.mean_log_level
    apart = np.abs(light.grey_levels[:, None] - levels[None, : light.cards + 1]).max(axis=-1)
    return [] if apart.min(initial=np.inf) > limits.grey_like_paint else [Finding(PhotoCode.GREY_ON_PAINT, False)]
