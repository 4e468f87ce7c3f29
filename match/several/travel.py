"""How much a paint changes from angle to angle, card against car, and what that says of flake and toner.

A photo is not a goniometer: its angles are loose and its highlights end, so no published flop index is computed and
nothing here is compared with one. Card and car in one photo share the angle, so their *difference* of travel holds.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np

from match.calibration import quantity
from match.measure.words import SURE_SD
from match.record import Record, by_name
from match.several.combined import Combined
from match.several.photo_set import Angle

ANGLE_WORDS = {Angle.NEAR_GLARE: "near the glare", Angle.FACE: "face-on", Angle.FLOP: "at the flop"}

HOW_TO_TAKE = {
    Angle.NEAR_GLARE: "Stand opposite the lamp and move until its reflection lies just beside card and car.",
    Angle.FACE: "Look straight at the panel, with the one lamp halfway up to your side.",
    Angle.FLOP: "Stand on the lamp's own side, low over the panel, where the paint looks darkest.",
}

CALLED = {Angle.NEAR_GLARE: "near the glare", Angle.FACE: "face-on", Angle.FLOP: "flop"}
"""What a photo of each angle is called."""

ANGLE_NOUNS = {Angle.NEAR_GLARE: "near glare", Angle.FACE: "face", Angle.FLOP: "flop"}


class Cause(StrEnum):
    """What the signs of the lightness difference point to."""

    ORIENTATION = "flake orientation"
    TONER = "toner"
    NONE_SEEN = "no cause seen"


@dataclass(frozen=True)
class Technique:
    """One change of gun technique; see ``calibration/several.toml``."""

    meaning: str
    words: str
    exception: str
    source: str


@dataclass(frozen=True)
class TechniqueRules:
    """Table ``technique`` of ``calibration/several.toml``."""

    caution: str
    wetter: Technique
    drier: Technique
    like_size: float = quantity("ratio")


@dataclass(frozen=True)
class Travel:
    """How much more the card changes than the car from ``start`` to ``end``.

    ``lightness`` is card minus car of the fall in L* between the two angles, above zero when the card falls further;
    ``lightness_sd`` its standard deviation.
    """

    start: Angle
    end: Angle
    lightness: float
    lightness_sd: float

    @property
    def sentence(self) -> str:
        """The travel in one sentence."""
        way = f"from {ANGLE_NOUNS[self.start]} to {ANGLE_NOUNS[self.end]}"
        if abs(self.lightness) <= SURE_SD * self.lightness_sd:
            return f"Card and car darken alike {way}, as far as these photos can tell."
        more = "more" if self.lightness > 0 else "less"
        return (
            f"The card darkens {abs(self.lightness):.1f} L* {more} than the car {way} "
            f"(give or take {SURE_SD * self.lightness_sd:.1f})."
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the travel for JSON."""
        said = by_name(self, "lightness", "lightness_sd", "sentence")
        return {"from": self.start.value, "to": self.end.value, **said}


@dataclass(frozen=True)
class Signature(Record):
    """What the signs at face and flop point to, and the advice that follows."""

    cause: Cause
    sentence: str
    advice: tuple[str, ...]


def travels(by_angle: Mapping[Angle, Combined]) -> tuple[Travel, ...]:
    """Return the travel from each lighter angle present to the flop, and from near the glare to the face.

    The two photos' errors are taken as independent; what the camera shares between them partly cancels, so the standard
    deviation errs on the large side where the differences have one sign.
    """
    pairs = ((Angle.FACE, Angle.FLOP), (Angle.NEAR_GLARE, Angle.FLOP), (Angle.NEAR_GLARE, Angle.FACE))
    return tuple(
        Travel(
            start,
            end,
            float(by_angle[start].delta_lab[0] - by_angle[end].delta_lab[0]),
            float(np.hypot(by_angle[start].delta_lab_sd[0], by_angle[end].delta_lab_sd[0])),
        )
        for start, end in pairs
        if start in by_angle and end in by_angle
    )


def signature(by_angle: Mapping[Angle, Combined], technique: TechniqueRules) -> Signature:
    """Read the signs of the lightness difference on the lamp's side (face, near the glare) and at the flop.

    Opposite signs mean the flake lies differently, so the gun comes before any toner; the same sign, at a like size,
    means lighter or darker paint, so toner. The rule is common practice; it is applied only where both signs are sure.
    """
    bright = [angle for angle in (Angle.FACE, Angle.NEAR_GLARE) if angle in by_angle]
    if not bright or Angle.FLOP not in by_angle:
        return Signature(Cause.NONE_SEEN, "Two angles are needed to tell flake from toner.", ())
    flop = _sure_sign(by_angle[Angle.FLOP])
    against = [angle for angle in bright if _sure_sign(by_angle[angle]) * flop < 0]
    if against:
        return _orientation(max(against, key=lambda angle: abs(by_angle[angle].delta_lab[0])), -flop, technique)
    where = bright[0]
    if _sure_sign(by_angle[where]) * flop == 0:
        return Signature(
            Cause.NONE_SEEN,
            f"Lightness does not differ surely both {ANGLE_WORDS[where]} and at the flop: it points neither to flake "
            "nor to toner.",
            (),
        )
    sizes = sorted(abs(float(by_angle[angle].delta_lab[0])) for angle in (where, Angle.FLOP))
    if sizes[0] < technique.like_size * sizes[1]:
        return Signature(
            Cause.NONE_SEEN,
            "Lightness differs at one angle far more than at the other: flake and toner both do that.",
            (),
        )
    word = "lighter" if flop > 0 else "darker"
    return Signature(
        Cause.TONER,
        f"The card is {word} than the car both {ANGLE_WORDS[where]} and at the flop: that is the paint, so toner.",
        (),
    )


def _orientation(where: Angle, sign: int, technique: TechniqueRules) -> Signature:
    """Return the advice for a card lighter (+1) or darker (-1) than the car at ``where``, the reverse at the flop."""
    way = technique.wetter if sign > 0 else technique.drier
    here, there = ("lighter", "darker") if sign > 0 else ("darker", "lighter")
    sentence = (
        f"The card is {here} than the car {ANGLE_WORDS[where]} and {there} at the flop: the flake on the card lies "
        f"{way.meaning}, so change the gun before any toner."
    )
    return Signature(Cause.ORIENTATION, sentence, (way.words, way.exception, technique.caution))


def _sure_sign(combined: Combined) -> int:
    lightness, sd = combined.delta_lab[0], combined.delta_lab_sd[0]
    return int(np.sign(lightness)) if abs(lightness) > SURE_SD * sd else 0
