"""Does the photo support a verdict? Each finding says what is wrong and what to change in the next photo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from match.calibration import quantity
from match.colorimetry import Array
from match.measure.light import LightFit
from match.measure.sampling import Sample
from match.measure.tone import ToneFit
from match.photo.regions import Kind


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


@dataclass(frozen=True)
class Finding:
    """One weakness of the photo; ``spoils`` means that no verdict may rest on it."""

    code: str
    text: str
    remedy: str
    spoils: bool


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
    return (
        Finding(
            "far-apart",
            f"Card and car differ by {difference:.0f}, more than a card mixed for this car would.",
            "Look at the marks: one of them may lie on a lamp's reflection, a shadow, bare card or another part.",
            True,
        ),
    )


def mirrored_finding(lightness: float, limits: QualityLimits) -> tuple[Finding, ...]:
    """Return a warning when the paint's L* is as dark as a veil can be bright."""
    if lightness > limits.mirrored:
        return ()
    return (
        Finding(
            "mirrors",
            "The paint is so dark that what it mirrors can count as much as its own colour.",
            "Hold something black and matt where card and car mirror it, keep walls and the sky out, and say so.",
            False,
        ),
    )


def left_out_findings(samples: Sequence[Sample], used: Sequence[Sample]) -> tuple[Finding, ...]:
    """Return one warning for each region that was marked but not used."""
    return tuple(
        Finding(
            "left-out",
            f"{_capital(sample.region.name)} is burnt out, black or mirrored, and was left out.",
            "The others of its kind were used; expose so that it can be read too.",
            False,
        )
        for sample in samples
        if sample not in used
    )


def photo_findings(
    samples: Sequence[Sample], light: LightFit, tone: ToneFit, limits: QualityLimits, scene_linear: bool
) -> tuple[Finding, ...]:
    """Return everything wrong with the photo, the spoiling findings first."""
    found: list[Finding] = []
    for sample in samples:
        found += _region_findings(sample, limits)
    found += _light_findings(light, limits)
    found += _grey_on_paint(light, limits)
    if len(light.reflectances) > 1 and tone.misfit > limits.grey_misfit:
        found.append(
            Finding(
                "greys-disagree",
                "The grey steps do not fit one tone curve.",
                "Check the reflectance given for each grey, wipe them clean, and switch HDR and night mode off.",
                True,
            )
        )
    if len(light.reflectances) == 1 and not scene_linear:
        found.append(
            Finding(
                "one-grey",
                "With one grey in the frame the camera's contrast is not known, so the difference is known less well.",
                "Put two more grey steps, one lighter and one darker, beside the first.",
                False,
            )
        )
    return tuple(sorted(found, key=lambda finding: not finding.spoils))


def _region_findings(sample: Sample, limits: QualityLimits) -> list[Finding]:
    found = []
    name = sample.region.name
    if sample.clipped_share > limits.clipped_share:
        found.append(
            Finding(
                "clipped",
                f"{_capital(name)} is burnt out in {100.0 * sample.clipped_share:.0f} % of its pixels.",
                "Tap the bright part to expose for it, lower the exposure, or turn the lamp's reflection away.",
                True,
            )
        )
    if sample.dark_share > limits.dark_share:
        found.append(
            Finding(
                "near-black",
                f"{_capital(name)} is nearly black in {100.0 * sample.dark_share:.0f} % of its pixels.",
                "Bring more light, or raise the exposure as far as the grey allows.",
                True,
            )
        )
    if sample.region.kind is not Kind.GREY and sample.empty_share.max() > limits.empty_share:
        found.append(
            Finding(
                "beyond-file",
                f"{_capital(name)} is a stronger colour than this photo file can hold: one channel is empty.",
                "Take the photo as HEIC or camera raw (a wide-gamut setting), which hold stronger colours than a JPEG.",
                False,
            )
        )
    if sample.region.kind is not Kind.GREY and sample.glare_share > limits.glare_warning:
        spoils = sample.glare_share > limits.glare_share
        found.append(
            Finding(
                "glare",
                f"A reflection covers {100.0 * sample.glare_share:.0f} % of {name}.",
                "Move the lamp or yourself until no lamp is mirrored there, or mark a part without it.",
                spoils,
            )
        )
    if sample.region.width * sample.region.height < limits.least_pixels:
        found.append(
            Finding(
                "small",
                f"{_capital(name)} holds only {sample.region.width} x {sample.region.height} pixels.",
                "Go closer, or draw the mark larger.",
                True,
            )
        )
    if sample.region.kind is Kind.GREY:
        found += _grey_findings(sample, limits)
    return found


def _grey_findings(sample: Sample, limits: QualityLimits) -> list[Finding]:
    found = []
    log_level = np.log(np.maximum(sample.level, 1e-6))
    cast = float(np.ptp(log_level.mean(axis=0)))
    if cast > limits.grey_cast_warning:
        far = cast > limits.grey_cast
        found.append(
            Finding(
                "grey-cast",
                f"{_capital(sample.region.name)} is {'far from' if far else 'not'} neutral in the photo.",
                "Mark the grey card itself, and use white light: a coloured lamp cannot be corrected.",
                far,
            )
        )
    uneven = _slope_across(sample, log_level[:, 1])
    if uneven > limits.grey_unevenness:
        found.append(
            Finding(
                "grey-uneven",
                f"{_capital(sample.region.name)} is lit unevenly, or the mark is not all grey card.",
                "Mark only the grey, lay it flat beside the card and keep your shadow off it.",
                True,
            )
        )
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
    return [
        Finding(
            "gradient",
            f"The light changes by {100.0 * (times - 1.0):.0f} % across the marks."
            if times < 2.0
            else f"The light is {times:.1f} times as strong at one end of the marks as at the other.",
            "Turn the panel or the lamp so that card, car and grey get the same light, or mark the car on both sides.",
            light.gradient > limits.gradient,
        )
    ]


def _grey_on_paint(light: LightFit, limits: QualityLimits) -> list[Finding]:
    """Return a warning when a grey reads just like card or car in every channel: its mark may lie on the paint."""
    levels = light.mean_log_level
    apart = np.abs(levels[2:, None] - levels[None, :2]).max(axis=-1)
    if apart.min(initial=np.inf) > limits.grey_like_paint:
        return []
    return [
        Finding(
            "grey-on-paint",
            "The grey mark reads exactly like the paint.",
            "Look whether it lies on the grey card; the paint itself cannot be its own reference.",
            False,
        )
    ]


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def findings_for_json(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Return findings as dictionaries."""
    return [{"code": f.code, "text": f.text, "remedy": f.remedy, "spoils": f.spoils} for f in findings]
