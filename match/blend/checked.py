"""What a plan takes over from a check, of this visit or saved: colours at every angle, how sure they are, and doubts.

The colours of a saved check are drawn again from its covariance, all of it taken for noise: widths move by a few per
cent, and a close call between two verdicts can fall the other way than it does with the check itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from match.blend.room import samples_from, thinned
from match.blend.viewing import ColourPair
from match.check.check import CheckResult
from match.check.saved import SavedCheck
from match.check.verdict import Finish
from match.colorimetry import Array
from match.errors import SavedCheckError
from match.measure.uncertainty import ConfidenceCurve, Draws, confidence_curve
from match.several.judge import SetAnswer
from match.several.photo_set import Angle
from match.several.travel import ANGLE_WORDS

SAMPLING_SEED = 20
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
    confidence : that the true difference there is at most a size
    finish, angles_seen : the kind of paint, and whether it was seen from every angle that it must be seen from
    warnings : what the photos warn of, those left out that the room decides itself
    """

    pairs: tuple[ColourPair, ...]
    delta_e00: float
    interval: tuple[float, float]
    confidence: ConfidenceCurve
    finish: Finish
    angles_seen: bool
    warnings: tuple[Warned, ...]


def checked_now(result: CheckResult, together: SetAnswer | None, warnings: Sequence[Warned]) -> Checked:
    """Return what a plan takes over from a verdict; ``together`` of several photos, ``warnings`` its own in words."""
    measurement = result.measurement
    governing = together.effect.worst if together else Angle.FACE
    draws = {governing: measurement.draws}
    if together:
        draws |= {angle: each.draws for angle, each in together.by_angle.items() if angle is not governing}
    return Checked(
        pairs=tuple(_pair(angle, each.card_lab, each.vehicle_lab) for angle, each in draws.items()),
        delta_e00=measurement.delta_e00,
        interval=measurement.interval,
        confidence=measurement.confidence,
        finish=result.settings.finish,
        angles_seen=together is not None and not together.effect.missing,
        warnings=_lasting(warnings, several=together is not None),
    )


def checked_before(saved: SavedCheck) -> Checked:
    """Return what a plan takes over from a saved check (see :func:`match.check.saved.usable`)."""
    together = saved.together
    governing = _angle(together.worst_angle, saved) if together else Angle.FACE
    card, vehicle = np.array(saved.card_lab), np.array(saved.vehicle_lab)
    samples = samples_from(card, vehicle, np.array(saved.delta_lab_covariance), SAMPLING_SEED)
    pairs = [_pair(governing, *samples)]
    for each in together.angles if together else ():
        angle = _angle(each.angle, saved)
        if angle is not governing:
            colours = np.array(each.card_lab), np.array(each.vehicle_lab), np.array(each.delta_lab_covariance)
            pairs.append(_pair(angle, *samples_from(*colours, SAMPLING_SEED)))
    # What equal colours would show is not saved apart from the rest: near a match, where it decides, it is nearly all.
    null = samples[0] - samples[1] - (card - vehicle)
    return Checked(
        pairs=tuple(pairs),
        delta_e00=saved.delta_e00,
        interval=saved.interval,
        confidence=confidence_curve(card, vehicle, Draws(*samples, null)),
        finish=saved.finish,
        angles_seen=together is not None and not together.missing_angles,
        warnings=_lasting(saved.findings, several=together is not None),
    )


def _angle(name: str, saved: SavedCheck) -> Angle:
    try:
        return Angle(name)
    except ValueError:
        known = ", ".join(Angle)
        raise SavedCheckError(
            f"the check {saved.name} is damaged (no angle is called {name!r}, only {known})"
        ) from None


def _pair(angle: Angle, card_lab: Array, vehicle_lab: Array) -> ColourPair:
    return ColourPair(ANGLE_WORDS[angle], thinned(card_lab), thinned(vehicle_lab))


def _lasting(warnings: Sequence[Warned], several: bool) -> tuple[Warned, ...]:
    return tuple(each for each in warnings if several or each.code not in ROOM_DECIDES)
