"""What one photo is measured by: what is known of any camera, of its own camera, and of what its paint mirrors.

A camera that was tried out has a floor and a tone of its own, which take the place of what any camera is assumed to
have. Composition only: photos become shots (:mod:`match.camera.shots`), shots a
:class:`match.camera.trust.CameraTrust`, and that another :class:`match.check.calibration_files.Calibration`. Every
check, of one photo or of several, at a page or on the command line, begins with :func:`calibration_for`.
"""

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from match import calibration as files
from match.camera.records_file import Camera, Cameras, read_cameras, records_file
from match.camera.rules import CameraRules, load_camera_rules
from match.camera.trust import CameraTrust, judge_camera
from match.check.calibration_files import Calibration
from match.check.cards import CardsAnswer, judge_cards, load_comparing_rules
from match.check.check import Planner, judge
from match.check.mirrored import Mirrored, ViewedAngles, mirrored_note, seen_at, with_mirrored
from match.check.result import CheckResult
from match.check.settings import CheckSettings
from match.errors import MatchError
from match.measure.measurement import Measurement
from match.photo.regions import Kind, Region, of_one_card
from match.several.photo_set import Angle, MarkedPhoto, MeasuredPhoto

LEAST_TONE_SHOTS = 2
"""One photo of grey steps says nothing of how far the contrast changes from photo to photo."""


class PhotoFacts(Protocol):
    """What decides by which calibration a photo is measured (see :class:`match.photo.load.Photo`)."""

    @property
    def camera(self) -> str | None:
        """Make and model, where the photo says it."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What the user should know of the file."""


Measure = Callable[[Sequence[Region], CheckSettings, Calibration], Measurement]
"""Measures marked regions of one photo: :func:`match.check.measuring.measure_photo` of it, or what remembers that."""

MeasureCards = Callable[[Sequence[Region], CheckSettings, Calibration], tuple[Measurement, ...]]
"""The same of several cards: :func:`match.check.measuring.measure_photo_cards`."""


@dataclass(frozen=True)
class PhotoCalibration:
    """The calibration to measure one photo by; ``notes`` is what to say with every result: of file, camera, mirrors."""

    calibration: Calibration
    notes: tuple[str, ...] = ()

    def check(
        self, measure: Measure, regions: Sequence[Region], settings: CheckSettings, planner: Planner | None = None
    ) -> CheckResult:
        """Return the verdict on one photo's marks; raises as ``measure`` does."""
        measurement = measure(regions, settings, self.calibration)
        return judge(measurement, settings, self.calibration, planner, self.notes)

    def check_cards(
        self,
        measure: MeasureCards,
        regions: Sequence[Region],
        settings: CheckSettings,
        chosen: str = "",
        planner: Planner | None = None,
    ) -> CardsAnswer:
        """Return the verdicts on one photo's cards; ``chosen`` as for :func:`match.check.cards.judge_cards`."""
        found = measure(regions, settings, self.calibration)
        cards = [region for region in regions if region.kind is Kind.CARD]
        measured = dict(zip(cards, found, strict=True))
        return judge_cards(measured, settings, self.calibration, load_comparing_rules(), chosen, planner, self.notes)

    def measured_cards(
        self, measure: MeasureCards, marked: MarkedPhoto, settings: CheckSettings
    ) -> dict[str, MeasuredPhoto]:
        """Return one of several photos of the same cards, measured, as a photo of each card; raises as a check does."""
        used = _seen_from(self.calibration, marked.use.angle)
        found = measure(marked.regions, settings, used)
        cards = [region for region in marked.regions if region.kind is Kind.CARD]
        return {
            card.label: MeasuredPhoto(
                marked.name,
                marked.use,
                of_one_card(marked.regions, card),
                measurement,
                used,
                self.notes,
                tilt=marked.tilt,
            )
            for card, measurement in zip(cards, found, strict=True)
        }

    def measured(self, measure: Measure, marked: MarkedPhoto, settings: CheckSettings) -> MeasuredPhoto:
        """Return one of several photos measured; raises ``RegionError`` as a check does."""
        used = _seen_from(self.calibration, marked.use.angle)
        measurement = measure(marked.regions, settings, used)
        return MeasuredPhoto(marked.name, marked.use, marked.regions, measurement, used, self.notes, tilt=marked.tilt)


def _seen_from(calibration: Calibration, angle: Angle) -> Calibration:
    if angle is Angle.FACE:
        return calibration
    viewed = files.load(ViewedAngles, "camera", "viewed")
    degrees = viewed.flop if angle is Angle.FLOP else viewed.near_glare
    return seen_at(calibration, degrees, viewed.refractive_index)


def trust(camera: Camera, calibration: Calibration, rules: CameraRules) -> CameraTrust:
    """Judge one camera from its record; ``calibration`` is the usual one, of any camera."""
    usual = calibration.camera
    return judge_camera(
        tuple(camera.nulls.values()),
        tuple(camera.greys.values()),
        usual.errors.pair_floor,
        usual.tone,
        rules.null_test,
        rules.camera_trust,
    )


def for_camera(calibration: Calibration, judged: CameraTrust) -> Calibration:
    """Return the calibration with the camera's own floor and tone where they are known, and another fingerprint.

    The tone of a single photo is not used: see :data:`LEAST_TONE_SHOTS`.
    """
    camera = calibration.camera
    if judged.floor:
        camera = replace(camera, errors=replace(camera.errors, pair_floor=judged.floor.floor_sd))
    if judged.tone and has_tone(judged):
        tone = replace(camera.tone, slope_mean=judged.tone.slope_mean, slope_sd=judged.tone.slope_sd)
        camera = replace(camera, tone=tone)
    own = json.dumps([part.as_dict() if part else None for part in (judged.floor, judged.tone)])
    digest = hashlib.sha256((calibration.fingerprint + own).encode()).hexdigest()
    return replace(calibration, camera=camera, fingerprint=digest[:12])


def has_tone(judged: CameraTrust) -> bool:
    """Return whether enough photos of grey steps are kept for the camera's own tone to be used."""
    return judged.tone is not None and judged.tone.shots >= LEAST_TONE_SHOTS


def own_camera(calibration: Calibration, named: str | None, cameras: Cameras, rules: CameraRules) -> PhotoCalibration:
    """Return the calibration for a photo that says ``named`` of its camera: the usual one where nothing is known."""
    kept = cameras.by_name.get(named) if named else None
    if named is None or kept is None:
        return PhotoCalibration(calibration)
    judged = trust(kept, calibration, rules)
    if judged.floor is None and not has_tone(judged):
        return PhotoCalibration(calibration)
    return PhotoCalibration(for_camera(calibration, judged), (_note(named, judged),))


def calibration_for(
    photo: PhotoFacts, calibration: Calibration, place: str | None = None, mirrored: Mirrored | None = None
) -> PhotoCalibration:
    """Return what to measure a photo by.

    Parameters
    ----------
    photo : says its camera, and what is to be known of the file
    calibration : the usual one, of any camera
    place : where the cameras' records are kept; the usual place where None. Records that cannot be read are said, and
        the check goes on
    mirrored : what the paint mirrors, where somebody said it
    """
    own = _recorded(with_mirrored(calibration, mirrored), photo.camera, place)
    return replace(own, notes=(*photo.notes, *own.notes, *mirrored_note(mirrored)))


def _recorded(calibration: Calibration, named: str | None, place: str | None) -> PhotoCalibration:
    try:
        file = records_file(place)
        if not file.is_file():
            return PhotoCalibration(calibration)
        return own_camera(calibration, named, read_cameras(file), load_camera_rules())
    except MatchError as error:
        return PhotoCalibration(calibration, (f"This camera's own record was not used: {error}.",))


def _note(name: str, judged: CameraTrust) -> str:
    known = []
    if judged.floor:
        known.append(f"an error of its own of {judged.floor.floor_sd:.2f} CIELAB, which is {judged.grade.value}")
    if judged.tone and has_tone(judged):
        known.append(f"a contrast of {judged.tone.slope_mean:.2f}")
    return f"This camera's own record ({name}) was used: {' and '.join(known)}."
