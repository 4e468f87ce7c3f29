"""The first look at a photo that has just come in: what it shows of itself, and what already speaks against it.

Told while the person still stands at the car with the phone in hand; the verdict's own findings come with the marks.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from match.calibration import quantity
from match.check.measuring import PhotoLike, read_patch
from match.colorimetry import Array
from match.measure.finding import Code, Finding
from match.measure.photo_code import PhotoCode
from match.measure.quality import QualityLimits, region_findings
from match.measure.sampling import SamplingRules, sample_region
from match.photo.regions import Kind, Region

_STEP_SIDE_PX = 400
"""Engineering choice: so many pixels a side of the whole frame are looked at, 160,000 in all: far finer than 5 %."""


class LookCode(Code):
    """What the first look can find besides what is wrong with a region."""

    NOTHING = (
        "nothing-recognised",
        "nothing was recognised.",
        "Look that a grey reference, the card and the car's paint are in it; then use the photo and tap each.",
    )
    NO_GREY = (
        "no-grey-seen",
        "no grey reference is seen.",
        "If one is in the photo, tap it. If not, lay the grey card beside the spray-out card and repeat the photo.",
    )
    NO_CARD = (
        "no-card-seen",
        "no card is seen.",
        "If it is in the photo, tap it; else take the photo again.",
    )
    NO_PAINT = (
        "no-paint-seen",
        "the car's paint beside the card is not seen.",
        "Tap it on both sides of the card.",
    )
    BURNT_FRAME = (
        "burnt-frame",
        "the picture is burnt out in {percent:.0f} % of its pixels.",
        "Tap the brightest part to expose for it, or turn lamps and their reflections out of the frame.",
    )
    DARK_FRAME = (
        "dark-frame",
        "the picture is black in {percent:.0f} % of its pixels.",
        "Bring more light, and tap the card to expose for it.",
    )


@dataclass(frozen=True)
class LookLimits:
    """The table ``look`` of ``calibration/network.toml``."""

    burnt_frame: float = quantity("fraction of pixels")
    dark_frame: float = quantity("fraction of pixels")


@dataclass(frozen=True)
class FirstLook:
    """The kinds of region that were seen, and the findings, those that spoil a verdict first."""

    seen: tuple[Kind, ...]
    findings: tuple[Finding, ...]


def first_look(
    photo: PhotoLike, regions: Sequence[Region], rules: SamplingRules, quality: QualityLimits, limits: LookLimits
) -> FirstLook:
    """Return what the photo shows of itself; ``regions`` are those found in it, in pixels."""
    seen = tuple(kind for kind in Kind if any(region.kind is kind for region in regions))
    lacking = {Kind.GREY: LookCode.NO_GREY, Kind.CARD: LookCode.NO_CARD, Kind.VEHICLE: LookCode.NO_PAINT}
    found = [Finding(code, True) for kind, code in lacking.items() if kind not in seen]
    if not seen:
        found = [Finding(LookCode.NOTHING, True)]  # the search misses good photos too: no cause for three alarms
    for region in regions:
        found += region_findings(sample_region(read_patch(photo, region), rules), quality)
    if not any(each.code in (PhotoCode.CLIPPED, PhotoCode.NEAR_BLACK) for each in found):
        found += _of_the_frame(_whole(photo), rules, limits)
    return FirstLook(seen, tuple(sorted(found, key=lambda finding: not finding.spoils)))


def names_by_kind(region: Region, photo: str = "") -> str:
    """Return what a found region is called where no box is shown."""
    return {Kind.GREY: "the grey", Kind.CARD: "the card", Kind.VEHICLE: "the car's paint"}[region.kind]


def _whole(photo: PhotoLike) -> Array:
    """Return the highest code of each pixel of the whole frame, thinned."""
    step = max(1, max(photo.width, photo.height) // _STEP_SIDE_PX)
    high: Array = np.asarray(photo.crop(0, 0, photo.width, photo.height, step).code).max(axis=-1)
    return np.asarray(np.sqrt(np.maximum(high, 0.0))) if photo.scene_linear else high  # as for the regions


def _of_the_frame(high: Array, rules: SamplingRules, limits: LookLimits) -> list[Finding]:
    burnt, dark = float((high >= rules.clipped_code).mean()), float((high <= rules.dark_code).mean())
    found = []
    if burnt > limits.burnt_frame:
        found.append(Finding(LookCode.BURNT_FRAME, False, values={"percent": round(100.0 * burnt)}))
    if dark > limits.dark_frame:
        found.append(Finding(LookCode.DARK_FRAME, False, values={"percent": round(100.0 * dark)}))
    return found
