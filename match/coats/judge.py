"""How many coats: does the card hide its own chart, and which step of a let-down card is nearest to the car.

Composition only: photos become measurements, measurements the judgements of this step.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from match.check.calibration_files import Calibration
from match.check.measuring import PhotoLike
from match.check.pair import called_in_pair, measure_pair
from match.check.settings import CheckSettings
from match.check.verdict import Finish, Thresholds, thresholds
from match.coats.hiding import HidingResult, Shows, judge_hiding
from match.coats.let_down import LetDownStep, NearestCoats, judge_let_down
from match.coats.rules import CoatsRules
from match.errors import EvidenceError
from match.measure.finding import Finding, findings_for_json
from match.measure.measurement import Measurement
from match.measure.photo_code import PhotoCode
from match.photo.regions import Region
from match.several.combined import Combined
from match.several.groups import Group, angles_under, combine_groups
from match.several.photo_set import MeasuredPhoto, check_uses, is_let_down
from match.several.travel import ANGLE_WORDS

FIELDS = ("the field over black", "the field over white")
FIELD_NAMES = called_in_pair(FIELDS)


@dataclass(frozen=True)
class CardHiding:
    """Whether the card hides, with what is wrong with the photo itself."""

    result: HidingResult
    photo_findings: tuple[Finding, ...]

    @property
    def must_retake(self) -> bool:
        """Whether the photo is too poor to say anything."""
        return any(found.spoils for found in self.photo_findings)

    @property
    def is_valid_for_match(self) -> bool:
        """Whether the card's colour may be compared with the car: its chart does not show, in a usable photo."""
        return not self.must_retake and self.result.shows is not Shows.SHOWS

    @property
    def headline(self) -> str:
        """The answer in a few words."""
        if self.must_retake:
            return "Take the photo again"
        return {
            Shows.NO_TRACE_SEEN: "The card hides its chart",
            Shows.UNSURE: "The chart may still show",
            Shows.SHOWS: "Not hiding: no valid match",
        }[self.result.shows]

    def as_dict(self) -> dict[str, Any]:
        """Return the answer for JSON."""
        return {
            "headline": self.headline,
            "valid_for_match": self.is_valid_for_match,
            "retake": self.must_retake,
            **self.result.as_dict(),
            "photo": findings_for_json(self.photo_findings, FIELD_NAMES),
        }


def measure_fields(
    photo: PhotoLike, greys: Sequence[Region], over_black: Region, over_white: Region, calibration: Calibration
) -> Measurement:
    """Measure the card's paint over the black and the white of its chart; raises ``RegionError`` as a check does."""
    return measure_pair(photo, greys, (over_black, over_white), FIELDS, CheckSettings(), calibration)


def judge_card(fields: Measurement, coats_sprayed: float | None, finish: Finish, rules: CoatsRules) -> CardHiding:
    """Judge a measurement of :func:`measure_fields`; the number of coats may be unknown."""
    result = judge_hiding(fields, coats_sprayed, finish, rules.film, rules.card.hiding)
    # A thin coat over black and white differs by as much as it likes: that is the answer here, not a wrong mark.
    return CardHiding(result, tuple(found for found in fields.findings if found.code is not PhotoCode.FAR_APART))


@dataclass(frozen=True)
class StepsAnswer:
    """The best number of mid-coats, the limits it was judged by, what is wrong with the photos, and their notes.

    ``place`` is where the limits come from, in words.
    """

    result: NearestCoats
    limits: Thresholds
    place: str
    photo_findings: tuple[Finding, ...]
    notes: tuple[str, ...] = ()

    @property
    def must_retake(self) -> bool:
        """Whether a step rests on a spoiled photo alone."""
        return any(found.spoils for found in self.photo_findings)

    @property
    def limits_sentence(self) -> str:
        """The limits in a sentence, as a check says them."""
        return self.limits.sentence(self.place)

    def as_dict(self) -> dict[str, Any]:
        """Return the answer for JSON."""
        return {
            "retake": self.must_retake,
            "thresholds": self.limits.as_dict(),
            "limits": self.limits_sentence,
            **self.result.as_dict(),
            "photo": findings_for_json(self.photo_findings),
        }


def judge_steps(photos: Sequence[MeasuredPhoto], settings: CheckSettings, rules: CoatsRules) -> StepsAnswer:
    """Find the number of mid-coats nearest to the car, under the first photo's lamp and by its calibration's limits.

    Raises :class:`EvidenceError` when the set is no let-down card, has too few steps, or its steps were taken at
    different angles.

    Parameters
    ----------
    photos : each step of a let-down card, measured
    settings : the junction decides the limits, the seed the draws
    rules : ``calibration/coats.toml``
    """
    check_uses(photos)
    if not is_let_down(photos):
        raise EvidenceError("no photo says how many mid-coats its card carries: give mid_coats for each")
    tolerances = photos[0].calibration.tolerances
    limits = thresholds(tolerances, settings.junction)
    groups = combine_groups(photos, rules.combining, np.random.default_rng(settings.seed))
    result = judge_let_down(
        let_down_steps(groups, photos[0].use.light),
        limits,
        tolerances,
        rules.card.let_down,
        rules.combining.light_share,
        np.random.default_rng(settings.seed),
    )
    notes = tuple(dict.fromkeys(note for photo in photos for note in photo.notes))
    place = tolerances.junctions[settings.junction.value].place
    return StepsAnswer(result, limits, place, _photo_findings(groups), notes)


def let_down_steps(groups: Mapping[Group, Combined], light: str) -> tuple[LetDownStep, ...]:
    """Return the steps of a let-down card under one lamp, in rising number of mid-coats."""
    steps = sorted({group.mid_coats for group in groups if group.mid_coats is not None and group.light == light})
    return tuple(LetDownStep(coats, angles_under(groups, light, coats)) for coats in steps)


def _photo_findings(groups: Mapping[Group, Combined]) -> tuple[Finding, ...]:
    """Return what is wrong with the photos of each step, those that spoil first; one that all share is said once."""
    shared: dict[Finding, list[tuple[str, Finding]]] = {}
    for (coats, _, angle), combined in groups.items():
        for found in combined.findings:
            if found.code is PhotoCode.FAR_APART:  # a step far from the car is one that will not do, not a wrong mark
                continue
            step = f"{coats:g} mid-coats, {ANGLE_WORDS[angle]}"
            shared.setdefault(replace(found, photo="", spoils=False), []).append((step, found))
    findings = []
    for members in shared.values():
        step, found = members[0]
        of = found.of if len(members) > 1 else (step, *found.of)
        findings.append(replace(found, of=of, spoils=any(each.spoils for _, each in members)))
    return tuple(sorted(findings, key=lambda found: not found.spoils))
