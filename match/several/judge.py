"""Several photos of one card and one car become one verdict: composition only, no formulas and no page."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from match.check.calibration_files import Calibration
from match.check.check import errors_of, surer
from match.check.next_step import NextStep
from match.check.result import CheckResult
from match.check.settings import CheckSettings
from match.check.verdict import Decision, Finish, Thresholds, Verdict, allowed, decide, odds_words, thresholds
from match.check.words import NOT_KNOWN, faulty_reading, figures_hold
from match.measure.confidence import ConfidenceCurve
from match.measure.finding import Finding, findings_for_json
from match.measure.measurement import Measurement
from match.measure.words import difference_words, off_by
from match.several.angles import EffectVerdict, effect_verdict, largest_of
from match.several.combine import CombiningRules
from match.several.combined import Combined, with_confidence
from match.several.flake import shows_flake_best
from match.several.groups import Group, angles_under, combine_groups
from match.several.lights import LightCheck, compare_lights
from match.several.parts import parts_of_set
from match.several.photo_set import USUAL_LIGHT, Angle, MeasuredPhoto, Role
from match.several.rules import SeveralRules
from match.several.texture import TextureComparison
from match.several.travel import ANGLE_WORDS

SECOND_LIGHT = "the second lamp"
_LIGHT_NAMES = {USUAL_LIGHT: "the first lamp"}
_SEVERITY = (Verdict.GO, Verdict.BLEND, Verdict.RETINT)


Flake = Callable[[MeasuredPhoto], TextureComparison | str]
"""Compares flake in one of the photos, whose pixels the caller has: :func:`match.several.flake.flake_in`."""

Luck = Callable[[ConfidenceCurve], ConfidenceCurve]
"""Counts the luck of a pair taken from several: :func:`match.measure.nearest.best_of_several`."""


@dataclass(frozen=True)
class SetAnswer:
    """What the photos say together.

    ``by_angle`` holds the differences under the first photo's lamp, ``governing`` is the index of the first photo at
    the angle that governs. ``texture`` is an effect finish's comparison of flake, or a sentence that says why there is
    none.
    """

    photos: tuple[MeasuredPhoto, ...]
    by_angle: dict[Angle, Combined]
    effect: EffectVerdict
    lights: tuple[LightCheck, ...]
    unpaired: tuple[str, ...]
    governing: int
    texture: TextureComparison | str | None = None

    @property
    def flake_sentences(self) -> tuple[str, ...]:
        """How the card's flake compares with the car's; nothing for a solid."""
        if isinstance(self.texture, TextureComparison):
            return self.texture.sentences
        return (self.texture,) if self.texture else ()

    def as_dict(self) -> dict[str, Any]:
        """Return the answer for JSON."""
        return {
            "photos": [
                {
                    "name": photo.name,
                    "angle": photo.use.angle.value,
                    "role": photo.use.role.value,
                    "light": photo.use.light,
                    "delta_e00": round(photo.measurement.delta_e00, 4),
                    "findings": findings_for_json(photo.measurement.findings),
                }
                for photo in self.photos
            ],
            "angles": {angle.value: combined.as_dict() for angle, combined in self.by_angle.items()},
            "effect": self.effect.as_dict(),
            "lights": [each.as_dict() for each in self.lights],
            "texture": self.texture.as_dict() if isinstance(self.texture, TextureComparison) else self.texture,
        }


def judge_set(
    photos: Sequence[MeasuredPhoto],
    settings: CheckSettings,
    rules: SeveralRules,
    flake: Flake,
    luck: Luck | None = None,
) -> tuple[CheckResult, SetAnswer]:
    """Combine the photos of one pair and decide: the worst angle governs, and a match must hold under every lamp.

    Parameters
    ----------
    photos : at least one; the first one's lamp is the one the verdict rests on, and its calibration gives the limits
    settings : as for :func:`match.check.check.judge`
    rules : ``calibration/several.toml``
    flake : compares flake in one of the photos; asked for effect finishes only
    luck : of a pair that was taken from several, what its confidence becomes with its luck counted

    Returns
    -------
    The verdict in the form of a single photo's, its figures those of the angle that governs; and all that lies behind.
    """
    rng = np.random.default_rng(settings.seed)
    calibration = photos[0].calibration
    limits = thresholds(calibration.tolerances, settings.junction)
    main = photos[0].use.light
    groups = combine_groups(photos, rules.combining, rng)
    if luck is not None:
        groups = {group: with_confidence(found, luck(found.confidence)) for group, found in groups.items()}
    by_angle = angles_under(groups, main)
    tilts = {photo.name: photo.tilt for photo in photos if photo.tilt is not None and photo.use.light == main}
    effect = effect_verdict(
        by_angle, settings.finish, limits, calibration.tolerances, rules.technique, rules.angles, tilts
    )
    lights, unpaired = _lights(groups, main, limits, rules, rng)
    governing = next(
        index for index, photo in enumerate(photos) if photo.use.light == main and photo.use.angle is effect.worst
    )
    texture = None if settings.finish is Finish.SOLID else flake(shows_flake_best(photos))
    answer = SetAnswer(tuple(photos), by_angle, effect, lights, unpaired, governing, texture)
    return _result(answer, groups, settings, calibration, limits, rules.combining), answer


def _lights(
    groups: Mapping[Group, Combined],
    main: str,
    limits: Thresholds,
    rules: SeveralRules,
    rng: np.random.Generator,
) -> tuple[tuple[LightCheck, ...], tuple[str, ...]]:
    """Return the comparison with every other lamp at the same angle, and a sentence for each that has no partner."""
    checks, unpaired = [], []
    for (mid_coats, light, angle), other in groups.items():
        if light == main:
            continue
        first = groups.get(Group(mid_coats, main, angle))
        if first is None:
            unpaired.append(
                f"{other.names[0]} was taken {ANGLE_WORDS[angle]} under {_called(light)}, and none of the photos under "
                f"{_called(main)} was: it does not count yet."
            )
        else:
            pair = ((_called(main), first), (_called(light), other))
            checks.append(compare_lights(*pair, limits, rules.lights, rng))
    return tuple(checks), tuple(unpaired)


def _called(light: str) -> str:
    return _LIGHT_NAMES.get(light, light)


def _result(
    answer: SetAnswer,
    groups: Mapping[Group, Combined],
    settings: CheckSettings,
    calibration: Calibration,
    limits: Thresholds,
    combining: CombiningRules,
) -> CheckResult:
    effect, tolerances = answer.effect, calibration.tolerances
    worst = answer.by_angle[effect.worst]
    light_findings = tuple(found for each in answer.lights for found in each.findings)
    warnings = (*effect.findings, *light_findings)
    confidence = largest_of([each.confidence for each in answer.by_angle.values()])
    joint = decide(confidence, limits, tolerances)
    broken = next((found for found in light_findings if found.spoils), None)
    verdict = _under_every_lamp(effect.verdict, broken, groups, limits, calibration)
    reasons = _reasons(answer, worst, joint, limits, tolerances.junctions[settings.junction.value].place)
    ways: tuple[str, ...] | None = off_by(worst.card_lab, worst.vehicle_lab, worst.delta_lab_sd)
    seen = calibration.meaning(worst.delta_e00)
    governing = _governing_measurement(answer, worst)
    if verdict is Verdict.RETAKE and not figures_hold(warnings):
        reasons, ways, seen = (faulty_reading(worst.delta_e00),), None, NOT_KNOWN
    return CheckResult(
        verdict=verdict,
        because=broken if broken and verdict is not effect.verdict else effect.because,
        reasons=reasons,
        next_steps=(broken,) if broken and verdict is not effect.verdict else effect.next_steps,
        warnings=warnings,
        notes=tuple(dict.fromkeys(note for photo in answer.photos for note in photo.notes)),
        ways=ways,
        meaning=seen,
        measurement=governing,
        confidence=confidence,
        decision=joint,
        thresholds=limits,
        settings=settings,
        tolerances_version=tolerances.version,
        calibration_fingerprint=calibration.fingerprint,
        photos=len(answer.photos),
        better=_better(answer, governing, settings, calibration, limits),
        parts=parts_of_set(answer.photos, combining, allowed(tolerances).panel_gap, settings.seed),
    )


def _better(
    answer: SetAnswer, governing: Measurement, settings: CheckSettings, calibration: Calibration, limits: Thresholds
) -> tuple[NextStep, ...]:
    """Return what would make the angle that governs surer; a missing angle comes before any of it."""
    if answer.effect.missing:
        return ()
    main = answer.photos[answer.governing].use
    roles = [each.use.role for each in answer.photos if (each.use.angle, each.use.light) == (main.angle, main.light)]
    there = roles.count(Role.SWAP)
    errors = errors_of(governing, calibration, len(roles) - there, there)
    decision = decide(governing.confidence, limits, calibration.tolerances)
    return surer(errors, decision, limits, calibration, settings)


def _reasons(answer: SetAnswer, worst: Combined, joint: Decision, limits: Thresholds, place: str) -> tuple[str, ...]:
    where = f", {ANGLE_WORDS[answer.effect.worst]}" if len(answer.by_angle) > 1 else ""
    return (
        f"{difference_words(worst.delta_e00, worst.interval)}{where}.",
        *answer.effect.reasons,
        *(each.sentence for each in answer.lights),
        limits.sentence(place),
        f"The true difference at its largest calls for: {odds_words(joint)}.",
    )


def _governing_measurement(answer: SetAnswer, worst: Combined) -> Measurement:
    """Return the first photo's measurement at the angle that governs, with what all photos at that angle say."""
    return replace(
        answer.photos[answer.governing].measurement,
        card_lab=worst.card_lab,
        vehicle_lab=worst.vehicle_lab,
        delta_lab_sd=worst.delta_lab_sd,
        delta_e00=worst.delta_e00,
        unbiased_delta_e00=worst.unbiased_delta_e00,
        interval=worst.interval,
        terms=worst.terms,
        confidence=worst.confidence,
        draws=worst.draws,
        findings=answer.effect.findings,
    )


def _under_every_lamp(
    verdict: Verdict,
    broken: Finding | None,
    groups: Mapping[Group, Combined],
    limits: Thresholds,
    calibration: Calibration,
) -> Verdict:
    """Return what the worst lamp calls for where a match breaks under one; a broken match is at least a blend."""
    if broken is None or verdict is not Verdict.GO:
        return verdict
    decided = [decide(each.confidence, limits, calibration.tolerances).verdict for each in groups.values()]
    return max([Verdict.BLEND, *(each for each in decided if each in _SEVERITY)], key=_SEVERITY.index)
