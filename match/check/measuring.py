"""A photo's marked regions are measured, and the marks themselves judged."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Protocol

import numpy as np

from match.check.calibration_files import Calibration
from match.check.marks.box import look
from match.check.marks.evidence import evidence
from match.check.marks.judgement import MarkJudgement, conclude, told_of, weigh
from match.check.marks.paint_slips import across
from match.check.marks.terrain import PREVIEW_SIDE_PX
from match.check.settings import CheckSettings
from match.measure.finding import Finding
from match.measure.measurement import Measurement, PartReading, Procedure, measure_cards
from match.measure.parts import measure_parts
from match.measure.photo_code import PhotoCode
from match.measure.sampling import Patch, log_step
from match.measure.tone import prior_curve
from match.photo.regions import MOST_CARDS, Kind, Region, check_regions, without_parts

MOST_PIXELS = 100_000
"""A region with more pixels than this is thinned: its mean is then known far better than its light."""

SAID_BY_MARKS = (
    PhotoCode.GREY_ON_PAINT,
    PhotoCode.FAR_APART,
    PhotoCode.GREYS_DISAGREE,
    PhotoCode.GREY_CAST,
    PhotoCode.GREY_UNEVEN,
)
"""Findings of a photo's quality that a wrong mark brings with it: not said twice."""


class CropLike(Protocol):
    """One region's pixels (see :class:`match.photo.load.Crop`)."""

    @property
    def linear(self) -> Any:
        """(h, w, 3) linear light in sRGB primaries."""

    @property
    def code(self) -> Any:
        """(h, w, 3) encoded values as fractions of full scale."""


class PhotoLike(Protocol):
    """What a check needs of a photo (see :class:`match.photo.load.Photo`)."""

    @property
    def width(self) -> int:
        """Pixels, upright."""

    @property
    def height(self) -> int:
        """Pixels, upright."""

    @property
    def scene_linear(self) -> bool:
        """Whether the file was decoded to light without a tone curve."""

    @property
    def code_step(self) -> float:
        """Quantisation step of the file's codes, full scale being 1."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What the user should know of the file."""

    def crop(self, x: int, y: int, width: int, height: int, step: int = 1) -> CropLike:
        """Return every ``step``-th pixel of one rectangle, upright."""

    def preview(self, longest_side_px: int) -> Any:
        """Return the upright picture in sRGB codes, (h, w, 3) of whole numbers to 255, at most that long."""


def measure_photo(
    photo: PhotoLike, regions: Sequence[Region], settings: CheckSettings, calibration: Calibration
) -> Measurement:
    """Measure the marked regions of one photo, and judge the marks themselves.

    Raises :class:`match.errors.RegionError` when a region is missing, outside, too small, or overlaps another kind.
    """
    check_regions(regions, photo.width, photo.height)
    (measurement,) = _judged(photo, regions, settings, calibration)
    return measurement


def measure_regions(
    photo: PhotoLike, regions: Sequence[Region], settings: CheckSettings, calibration: Calibration
) -> Measurement:
    """Measure regions whose marks are not to be judged: two places that may well be of one surface."""
    check_regions(regions, photo.width, photo.height)
    (measurement,) = measure_cards(_read(photo, regions), _procedure(photo, settings, calibration))
    return measurement


def measure_photo_cards(
    photo: PhotoLike, regions: Sequence[Region], settings: CheckSettings, calibration: Calibration
) -> tuple[Measurement, ...]:
    """Measure every card of one photo together, in the order of their marks; raises as :func:`measure_photo` does."""
    check_regions(regions, photo.width, photo.height, most_cards=MOST_CARDS)
    return _judged(photo, regions, settings, calibration)


def _judged(
    photo: PhotoLike, regions: Sequence[Region], settings: CheckSettings, calibration: Calibration
) -> tuple[Measurement, ...]:
    """Return each card's measurement with what is doubtful of its marks, and the named parts beside it.

    Where a grey's figure rests on a person's word alone, all is measured for every step that it may be.
    """
    patches, procedure = _read(photo, regions), _procedure(photo, settings, calibration)
    measured = measure_cards(patches, procedure)
    doubts = _doubts(measured, patches, photo, calibration)
    others = max((each.other_steps for each in doubts), key=_likely)
    if others:
        procedure = _procedure(photo, settings, calibration, others)
        measured = tuple(replace(card, other_steps=others) for card in measure_cards(patches, procedure))
    told = tuple(
        _told(card, each, [patch.region for patch in patches]) for card, each in zip(measured, doubts, strict=True)
    )
    return _with_parts(told, patches, photo, regions, procedure, calibration)


def _likely(other_steps: Sequence[tuple[float, float]]) -> float:
    """Return the chance that a grey is one of these steps; cards of one photo stand beside different paints."""
    return sum(chance for _, chance in other_steps)


def _with_parts(
    measured: tuple[Measurement, ...],
    known: Sequence[Patch],
    photo: PhotoLike,
    regions: Sequence[Region],
    procedure: Procedure,
    calibration: Calibration,
) -> tuple[Measurement, ...]:
    """Return each card's measurement with the named parts beside it; it is itself left as it was.

    ``known`` are the patches of the other marks, which are not read again.
    """
    parts = tuple(region for region in regions if region.is_part)
    if not parts:
        return measured
    others = iter(known)
    patches = [read_patch(photo, region) if region.is_part else next(others) for region in regions]
    read = measure_parts(patches, procedure)
    slips = [slip for patch in patches if patch.region.is_part for slip in across([look(patch)], calibration.marks)]
    doubts = told_of(conclude(slips, calibration.tolerances.costs.go.when_blend, calibration.marks))
    return tuple(
        replace(
            card,
            mended=(*card.mended, *parts) if card.mended else (),
            if_sure=_with_word(regions, card.if_sure),
            parts=tuple(_doubted(part, doubts) for part in mine),
        )
        for card, mine in zip(measured, read, strict=True)
    )


def _with_word(regions: Sequence[Region], if_sure: Sequence[Region]) -> tuple[Region, ...]:
    """Return all marks, parts too and in their own order, with the word that is asked for; none where none is."""
    said = {region.unsaid: region for region in if_sure}
    return tuple(said.get(region.unsaid, region) for region in regions) if if_sure else ()


def _doubted(part: PartReading, doubts: Sequence[Finding]) -> PartReading:
    own = tuple(doubt for doubt in doubts if doubt.regions[0].label == part.name)
    return replace(part, findings=own + part.findings)


def _procedure(
    photo: PhotoLike,
    settings: CheckSettings,
    calibration: Calibration,
    other_steps: tuple[tuple[float, float], ...] = (),
) -> Procedure:
    return Procedure(
        float(max(photo.width, photo.height)),
        lambda reflectance: calibration.greys.tolerance(reflectance, other_steps),
        photo.scene_linear,
        calibration.camera,
        settings.seed,
        settings.draws,
    )


def _read(photo: PhotoLike, regions: Sequence[Region]) -> list[Patch]:
    return [read_patch(photo, region) for region in without_parts(regions)]


def _doubts(
    measured: Sequence[Measurement], patches: Sequence[Patch], photo: PhotoLike, calibration: Calibration
) -> list[MarkJudgement]:
    """Return the judgement of each card's marks."""
    rules, cost = calibration.marks, calibration.tolerances.costs.go.when_blend
    seen = evidence(patches, np.asarray(photo.preview(PREVIEW_SIDE_PX)), (photo.width, photo.height), rules)
    curve = prior_curve(calibration.camera.tone, photo.scene_linear)
    tolerance = max(
        calibration.greys.tolerance(r.reflectance).relative for r in seen.regions if r.reflectance is not None
    )
    judged = []
    for card, measurement in zip(seen.of_kind(Kind.CARD), measured, strict=True):
        slips = weigh(seen.of_card(card, _greys_left_out(measurement)), curve, tolerance, measurement.delta_e00, rules)
        judged.append(conclude(slips, cost, rules))
    return judged


def _greys_left_out(measurement: Measurement) -> set[Region]:
    """Return the greys by which nothing was measured: burnt out, their level says nothing of their figure."""
    left_out = (found.regions[0] for found in measurement.findings if found.code is PhotoCode.LEFT_OUT)
    return {region for region in left_out if region.kind is Kind.GREY}


def _told(measurement: Measurement, doubts: MarkJudgement, regions: Sequence[Region]) -> Measurement:
    """Return a card's measurement with what is doubtful of its marks; quality says nothing of the same slip."""
    findings = told_of(doubts)
    if not findings:
        return measurement
    said = SAID_BY_MARKS if doubts.slips else ()
    kept = tuple(found for found in measurement.findings if found.code not in said)
    one_card = sum(region.kind is Kind.CARD for region in regions) == 1
    mended = doubts.slips[0].mend if doubts.slips and one_card else ()
    if mended:  # marks that no evidence was taken of are not to be lost for it
        left_out = _greys_left_out(measurement)
        mended = (*mended, *(region for region in regions if region in left_out))
    sure = tuple(doubts.with_word(region) for region in regions) if doubts.asked else ()
    return replace(measurement, findings=findings + kept, mended=mended, if_sure=sure)


def read_patch(photo: PhotoLike, region: Region) -> Patch:
    """Return the pixels of one region, thinned where there are more than :data:`MOST_PIXELS`."""
    step = max(1, round(np.sqrt(region.width * region.height / MOST_PIXELS)))
    crop = photo.crop(region.x, region.y, region.width, region.height, step)
    code = np.asarray(crop.code)
    rounding = log_step(code, photo.code_step, photo.scene_linear)
    if photo.scene_linear:
        code = np.sqrt(np.maximum(code, 0.0))  # limits for clipping and darkness are meant for encoded values
    return Patch(region, np.asarray(crop.linear, dtype=np.float64), code, step, rounding)
