"""What a plan takes over from a check, of this visit or saved: colours at every angle, how sure they are, and doubts.

The colours of a saved check are drawn again from its covariance, all of it taken for noise: widths move by a few per
cent, and a close call between two verdicts can fall the other way than it does with the check itself.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from match.blend.need import Range
from match.blend.parts import MeasuredPart
from match.blend.room import SAMPLING_SEED, measured_pair, pair_as_saved, part_as_saved, samples_from
from match.blend.viewing import ColourPair
from match.check.result import CheckResult
from match.check.saved import SavedAngle, SavedCheck, SavedPart
from match.check.verdict import Finish, Junction
from match.colorimetry import Array, triple
from match.errors import SavedCheckError
from match.measure.confidence import ConfidenceCurve, confidence_curve
from match.measure.measurement import Measurement
from match.measure.uncertainty import Draws
from match.several.combined import Combined
from match.several.judge import SetAnswer
from match.several.photo_set import Angle
from match.several.travel import ANGLE_WORDS

ROOM_DECIDES = ("undecided", "angles-missing")
"""Warnings of a single photo that its junction's limits gave, in whose place a room puts its own."""


class Warned(Protocol):
    """A warning in words (see :class:`match.check.saved.SavedFinding`)."""

    @property
    def code(self) -> str:
        """What is wrong."""

    @property
    def text(self) -> str:
        """The same in a sentence."""

    @property
    def remedy(self) -> str:
        """What to do about it."""

    @property
    def spoils(self) -> bool:
        """Whether no verdict may rest on the photo."""


@dataclass(frozen=True)
class Checked:
    """What a plan takes over from a check.

    Attributes
    ----------
    pairs : the colours at every angle photographed, the one that governs first; the widest need of them wins
    delta_e00, interval : of the angle that governs (CIEDE2000), as read, and its 95 % interval
    confidence : that the true difference, at its largest over the angles, is at most a size
    junction : what sides that nobody describes count as
    finish, angles_seen : the kind of paint, and whether it was seen from every angle that it must be seen from
    warnings : what the photos warn of, those left out that the room decides itself
    card_lab, vehicle_lab : the two colours as read, at the angle that governs (CIELAB, D65, 2 degrees)
    parts : with a colour of their own, as far as they were marked beside the card
    card_name : of several cards, the one that the plan is for; empty where there is only one
    """

    pairs: tuple[ColourPair, ...]
    delta_e00: float
    interval: tuple[float, float]
    confidence: ConfidenceCurve
    junction: Junction
    finish: Finish
    angles_seen: bool
    warnings: tuple[Warned, ...]
    card_lab: tuple[float, float, float]
    vehicle_lab: tuple[float, float, float]
    parts: tuple[MeasuredPart, ...] = ()
    card_name: str = ""

    @property
    def where(self) -> str:
        """The angle of figures that are of one angle of several, ", at the flop"; else nothing."""
        return f", {self.pairs[0].label}" if len(self.pairs) > 1 else ""

    @property
    def is_whole(self) -> bool:
        """Whether nothing is left to be seen or doubted that a *go* waits for."""
        return (self.finish is Finish.SOLID or self.angles_seen) and not any(each.spoils for each in self.warnings)


def checked_now(
    result: CheckResult, together: SetAnswer | None, warnings: Sequence[Warned], card_name: str = ""
) -> Checked:
    """Return what a plan takes over from a verdict.

    ``together`` of several photos, ``warnings`` its own in words, ``card_name`` of several cards the one it is of.
    """
    measurement = result.measurement
    governing = together.effect.worst if together else Angle.FACE
    read: dict[Angle, Measurement | Combined] = {governing: measurement}
    if together:
        read |= {angle: each for angle, each in together.by_angle.items() if angle is not governing}
    angles_seen = together is not None and not together.effect.missing
    return Checked(
        pairs=tuple(pair_as_saved(ANGLE_WORDS[angle], each) for angle, each in read.items()),
        delta_e00=measurement.delta_e00,
        interval=measurement.interval,
        confidence=result.confidence,
        junction=result.settings.junction,
        finish=result.settings.finish,
        angles_seen=angles_seen,
        warnings=_lasting(warnings, several=together is not None),
        card_lab=triple(measurement.card_lab),
        vehicle_lab=triple(measurement.vehicle_lab),
        card_name=card_name,
        parts=tuple(
            part_as_saved(each, _is_whole(result.settings.finish, angles_seen, each.card, read))
            for each in result.parts
        ),
    )


def _is_whole(finish: Finish, angles_seen: bool, part: Collection[str], check: Collection[str]) -> bool:
    """Return whether a part was seen from every angle that a *go* needs; ``part`` and ``check`` are their angles."""
    return finish is Finish.SOLID or (angles_seen and set(check) <= set(part))


def checked_before(saved: SavedCheck) -> Checked:
    """Return what a plan takes over from a saved check (see :func:`match.check.saved.usable`)."""
    together = saved.together
    governing = _angle(together.worst_angle, saved) if together else Angle.FACE
    angles = together.angles if together else ()
    at_front = next((each for each in angles if _angle(each.angle, saved) is governing), None)
    pairs = [_read_pair(governing, saved, at_front.confidence if at_front else saved.confidence, saved.delta_e00)]
    for each in angles:
        if (angle := _angle(each.angle, saved)) is not governing:
            pairs.append(_read_pair(angle, each, each.confidence, each.delta_e00))
    angles_seen = together is not None and not together.missing_angles
    needed = {each.angle for each in angles}
    return Checked(
        pairs=tuple(pairs),
        delta_e00=saved.delta_e00,
        interval=saved.interval,
        confidence=saved.confidence or _curve(saved, _samples(saved)),
        junction=saved.junction,
        finish=saved.finish,
        angles_seen=angles_seen,
        warnings=_lasting(saved.findings, several=together is not None),
        card_lab=saved.card_lab,
        vehicle_lab=saved.vehicle_lab,
        card_name=saved.card_name,
        parts=tuple(
            _part(each, saved, _is_whole(saved.finish, angles_seen, [seen.angle for seen in each.card], needed))
            for each in saved.parts
        ),
    )


def _part(part: SavedPart, saved: SavedCheck, is_whole: bool) -> MeasuredPart:
    pairs = tuple(_read_pair(_angle(each.angle, saved), each, each.confidence, each.delta_e00) for each in part.card)
    worst = max(part.car, key=lambda each: each.delta_e00)
    low, high = (worst.confidence or _curve(worst, _samples(worst))).interval(0.95)
    already = Range(worst.delta_e00, low, high)
    return MeasuredPart(part.name, pairs, already, part.figures_hold, is_whole)


def _samples(read: SavedCheck | SavedAngle) -> tuple[Array, Array]:
    colours = np.array(read.card_lab), np.array(read.vehicle_lab), np.array(read.delta_lab_covariance)
    return samples_from(*colours, SAMPLING_SEED)


def _curve(read: SavedCheck | SavedAngle, samples: tuple[Array, Array]) -> ConfidenceCurve:
    """Return the curve of a check that was saved without one.

    What equal colours would show is then not known apart from the rest: near a match, where it decides, it is nearly
    all.
    """
    card, vehicle = np.array(read.card_lab), np.array(read.vehicle_lab)
    return confidence_curve(card, vehicle, _drawn(read, samples))


def _drawn(read: SavedCheck | SavedAngle, samples: tuple[Array, Array]) -> Draws:
    return Draws(*samples, samples[0] - samples[1] - np.subtract(read.card_lab, read.vehicle_lab))


def _read_pair(
    angle: Angle, read: SavedCheck | SavedAngle, confidence: ConfidenceCurve | None, delta_e00: float
) -> ColourPair:
    samples = _samples(read)
    curve = confidence or _curve(read, samples)
    return measured_pair(ANGLE_WORDS[angle], _drawn(read, samples), curve, delta_e00)


def _angle(name: str, saved: SavedCheck) -> Angle:
    try:
        return Angle(name)
    except ValueError:
        known = ", ".join(Angle)
        raise SavedCheckError(
            f"the check {saved.name} is damaged (no angle is called {name!r}, only {known})"
        ) from None


def _lasting(warnings: Sequence[Warned], several: bool) -> tuple[Warned, ...]:
    return tuple(each for each in warnings if several or each.code not in ROOM_DECIDES)
