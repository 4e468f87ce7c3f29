"""A check's document: what the command line prints, the page saves, the history keeps, and planning and tinting read.

One writer, :func:`document`, and one reader, :func:`read_saved`. A document holds more than is read here; keys that
this version does not know stay where they are.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from match.check.cards import CardsAnswer
from match.check.result import CheckResult
from match.check.table_reader import TableReader, Triple
from match.check.verdict import Finish, Junction, Thresholds, Verdict
from match.check.words import DOUBTS
from match.errors import RegionError, SavedCheckError
from match.measure.confidence import ConfidenceCurve
from match.photo.region_table import read_region, region_table
from match.photo.regions import EVERY_QUESTION, Region
from match.record import plain
from match.words import shown

FORMAT = "spray-out-check"
VERSION = 4
"""Version 1 was written before documents named their format, version 2 knows no parts, and up to version 3 a person's
word on a mark said only that it is right, not what had been asked; all are read as well."""

WITHOUT_WORD = 3
WITHOUT_PARTS = 2
"""What a check is still written as where it holds nothing newer, so that an earlier program reads it."""

ROUNDING = 0.01
"""CIELAB units by which ``delta_lab`` and the two colours, rounded each by itself, may disagree."""

WRITE_ONE = "write one with `check PHOTO --json`, or save one on the check page"


@dataclass(frozen=True)
class CheckedPhoto:
    """A photo that a check rests on: its file's name and SHA-256, and its marks in pixels of the upright photo."""

    name: str
    sha256: str
    regions: tuple[Region, ...]


@dataclass(frozen=True)
class SavedFinding:
    """A warning of a saved check, in the words of that day."""

    code: str
    text: str
    remedy: str
    spoils: bool


@dataclass(frozen=True)
class SavedAngle:
    """One angle of several photos: its name, its colours, the covariance of their difference, and how large it is."""

    angle: str
    card_lab: Triple
    vehicle_lab: Triple
    delta_lab_covariance: tuple[Triple, ...]
    delta_e00: float
    confidence: ConfidenceCurve | None


@dataclass(frozen=True)
class SavedSet:
    """What several photos say together: every angle, the one that governs, and those that the finish still needs."""

    angles: tuple[SavedAngle, ...]
    worst_angle: str
    missing_angles: tuple[str, ...]


@dataclass(frozen=True)
class SavedCard:
    """One card of several in a saved check: its name, and the chance that it is the nearest, where it was compared."""

    name: str
    chance_nearest: float | None


@dataclass(frozen=True)
class SavedPart:
    """A named part of a saved check: the card against it, and it against the car, by angle.

    ``figures_hold`` says whether its own marks are sound.
    """

    name: str
    card: tuple[SavedAngle, ...]
    car: tuple[SavedAngle, ...]
    figures_hold: bool


@dataclass(frozen=True)
class SavedCheck:
    """A check's document, read.

    Attributes
    ----------
    name : of the file or photo, for sentences
    version : of the document
    verdict, finish, junction, thresholds : as decided
    delta_e00, interval : CIEDE2000, and its 95 % interval
    confidence : what the verdict was decided on; None where the document does not hold it
    card_lab, vehicle_lab, delta_lab : CIELAB, D65, 2 degrees; the last is card minus vehicle
    delta_lab_covariance : (3 rows of 3), CIELAB units squared
    card_lab_covariance : the same of ``card_lab``; None where the document does not hold it
    findings : its warnings
    figures_hold : whether the figures may be used; not where the photo itself is at fault
    photos : the photo at the front, with its marks; none in old documents of the command line
    together : of several photos, what they say together
    cards : of several cards in the photo, each, in the order of the photo
    card_name : the card that the figures are of; empty where there is only one
    parts : those with a colour of their own that were marked beside the card
    document : the whole document as it was read
    """

    name: str
    version: int
    verdict: Verdict
    finish: Finish
    junction: Junction
    thresholds: Thresholds
    delta_e00: float
    interval: tuple[float, float]
    confidence: ConfidenceCurve | None
    card_lab: Triple
    vehicle_lab: Triple
    delta_lab: Triple
    delta_lab_covariance: tuple[Triple, ...]
    card_lab_covariance: tuple[Triple, ...] | None
    findings: tuple[SavedFinding, ...]
    figures_hold: bool
    photos: tuple[CheckedPhoto, ...]
    together: SavedSet | None
    cards: tuple[SavedCard, ...]
    card_name: str
    parts: tuple[SavedPart, ...]
    document: Mapping[str, Any] = field(repr=False)


def document(
    result: CheckResult,
    photo: CheckedPhoto,
    photos: Sequence[CheckedPhoto] = (),
    together: Mapping[str, Any] | None = None,
    cards: CardsAnswer | None = None,
) -> dict[str, Any]:
    """Return a check as it is saved, printed and kept.

    Parameters
    ----------
    result : the verdict and all it rests on; of several cards, that of the card at the front
    photo : the photo measured; of several, the one whose angle governs
    photos, together : every photo of several, and what they say together
    cards : of several cards in the photo, what it says of each and of all
    """
    told = result.as_dict()
    head = {"format": FORMAT, "version": _written_as(told, (photo, *photos)), **_photo_table(photo)}
    several = {} if together is None else {"photos": [_photo_table(each) for each in photos], "together": together}
    each = {}
    if cards is not None:
        each = {"card_name": cards.front_card.name, "cards": cards.as_list(), "comparison": cards.comparison()}
    whole: dict[str, Any] = plain({**head, **told, **several, **each})
    return whole


def _written_as(told: Mapping[str, Any], photos: Sequence[CheckedPhoto]) -> int:
    """Return the earliest version that knows all that is written."""
    if any(region.sure and EVERY_QUESTION not in region.sure for photo in photos for region in photo.regions):
        return VERSION
    return WITHOUT_WORD if "parts" in told else WITHOUT_PARTS


def _photo_table(photo: CheckedPhoto) -> dict[str, Any]:
    regions = [region_table(region) for region in photo.regions]
    return {"photo": photo.name, "photo_sha256": photo.sha256, "regions": regions}


def read_saved(parsed: object, name: str) -> SavedCheck:
    """Return the check in a parsed document.

    Raises :class:`SavedCheckError` when it is not a check, is of a version not known, or a figure is missing, not
    finite or not one.

    Parameters
    ----------
    parsed : the document, of any version up to :data:`VERSION`
    name : what the check is called in sentences
    """
    version = _version(parsed, name)
    read = _Reader(parsed, name)  # type: ignore[arg-type]
    verdict = read.choice("verdict", Verdict)
    findings = read.findings()
    check = SavedCheck(
        name=name,
        version=version,
        verdict=verdict,
        finish=read.choice("finish", Finish),
        junction=read.choice("junction", Junction),
        thresholds=read.thresholds(),
        delta_e00=read.size("delta_e00"),
        interval=read.interval("delta_e00_interval"),
        confidence=read.confidence(),
        card_lab=read.colour("card_lab"),
        vehicle_lab=read.colour("vehicle_lab"),
        delta_lab=read.colour("delta_lab"),
        delta_lab_covariance=read.covariance("delta_lab_covariance"),
        card_lab_covariance=read.covariance("card_lab_covariance") if "card_lab_covariance" in read.table else None,
        findings=findings,
        figures_hold=read.said("figures_hold", True) and not any(map(_is_fault, findings)),
        photos=read.photos(),
        together=read.together(),
        cards=read.cards(),
        card_name=str(read.table.get("card_name", "")),
        parts=read.parts(),
        document=read.table,
    )
    apart = np.subtract(np.subtract(check.card_lab, check.vehicle_lab), check.delta_lab)
    if np.abs(apart).max() > ROUNDING:
        raise read.fault("its delta_lab is not card_lab less vehicle_lab")
    return check


def of_card(check: SavedCheck, name: str) -> SavedCheck:
    """Return the same check with another of its cards at the front.

    Raises :class:`SavedCheckError` when it holds no card of this name.
    """
    tables = check.document.get("cards", ())
    for card, table in zip(check.cards, tables, strict=True):
        if card.name == name:
            return read_saved({**check.document, **table, "card_name": name}, check.name)
    known = ", ".join(card.name for card in check.cards)
    raise SavedCheckError(
        f"{check.name} holds no card called {shown(name)}: "
        + (f"choose one of {known}" if known else "it is of one card alone, so leave the name out")
    )


def usable(check: SavedCheck) -> SavedCheck:
    """Return a check whose figures may be planned or tinted from.

    Raises :class:`SavedCheckError` when its photo is at fault: the figures of such a check are no measurement.
    """
    if check.figures_hold:
        return check
    faults = [f"{found.text} {found.remedy}".strip() for found in check.findings if _is_fault(found)]
    why = next(filter(None, faults), "its figures do not hold: take the photo again")
    raise SavedCheckError(f"the photo of {check.name} cannot be relied on: {why}")


def _is_fault(finding: SavedFinding) -> bool:
    return finding.spoils and finding.code not in DOUBTS


def _version(parsed: object, name: str) -> int:
    if not isinstance(parsed, Mapping) or not ("format" in parsed or {"verdict", "card_lab"} & parsed.keys()):
        raise SavedCheckError(f"{name} is not a saved check: {WRITE_ONE}", begins_with=name)
    if "format" not in parsed:
        return 1
    if parsed["format"] != FORMAT:
        raise SavedCheckError(
            f"{name} is not a saved check but {shown(parsed['format'])}: {WRITE_ONE}", begins_with=name
        )
    version = parsed.get("version")
    if isinstance(version, bool) or not isinstance(version, int) or not 1 <= version <= VERSION:
        raise SavedCheckError(
            f"the check {name} is of version {shown(version)}, and this program knows versions 1 to {VERSION}: "
            "bring the program up to date, or check the photo again"
        )
    return version


class _Reader(TableReader):
    """What only a check's document holds: its findings, photos, angles and cards."""

    def findings(self) -> tuple[SavedFinding, ...]:
        found = []
        for within in self.tables("warnings", self.value("warnings")):
            spoils, code, table = within.said("spoils", False), within.value("code"), within.table
            found.append(SavedFinding(str(code), str(table.get("text", "")), str(table.get("remedy", "")), spoils))
        return tuple(found)

    def together(self) -> SavedSet | None:
        if self.table.get("together") is None:
            return None
        together = self.table_of("together")
        effect, angles = together.table_of("effect"), together.table_of("angles")
        read = tuple(angles.angle(name) for name in angles.table)
        worst, missing = effect.value("worst_angle"), effect.value("missing_angles")
        if worst not in [each.angle for each in read]:
            raise self.wrong("worst_angle", worst, "one of " + ", ".join(each.angle for each in read))
        if not isinstance(missing, list | tuple):
            raise self.wrong("missing_angles", missing, "a list")
        return SavedSet(read, worst, tuple(str(each) for each in missing))

    def cards(self) -> tuple[SavedCard, ...]:
        """Return the cards of several; a card's own figures are read when it is brought to the front."""
        return tuple(within.card() for within in self.tables("cards", self.table.get("cards") or []))

    def card(self) -> SavedCard:
        name, chance = self.value("name"), self.table.get("chance_nearest")
        if not isinstance(name, str):
            raise self.wrong("name", name, "text")
        return SavedCard(name, None if chance is None else self.size("chance_nearest", chance, 0.0, 1.0))

    def parts(self) -> tuple[SavedPart, ...]:
        """Return the named parts, none where the document holds none."""
        return tuple(within.part() for within in self.tables("parts", self.table.get("parts") or []))

    def part(self) -> SavedPart:
        name = self.value("name")
        if not isinstance(name, str):
            raise self.wrong("name", name, "text")
        card, car = (self.table_of(key) for key in ("card", "car"))
        if not card.table or card.table.keys() != car.table.keys():
            raise self.fault(f"its part {shown(name)} has not both pairs at each angle")
        pairs = [tuple(within.angle(angle) for angle in within.table) for within in (card, car)]
        return SavedPart(name, pairs[0], pairs[1], self.said("figures_hold", True))

    def angle(self, name: str) -> SavedAngle:
        within = self.table_of(name)
        covariance = within.covariance("delta_lab_covariance")
        colours = within.colour("card_lab"), within.colour("vehicle_lab")
        return SavedAngle(name, *colours, covariance, within.size("delta_e00"), within.confidence())

    def photos(self) -> tuple[CheckedPhoto, ...]:
        """Return the photo at the front, then all of several; none where the document does not name any."""
        if "photo" not in self.table:
            return ()
        return tuple(within.photo() for within in (self, *self.tables("photos", self.table.get("photos", []))))

    def photo(self) -> CheckedPhoto:
        tables = self.value("regions")
        if not isinstance(tables, list | tuple):
            raise self.wrong("regions", tables, "a list of tables")
        try:
            regions = tuple(read_region(table, f"region {n}", None) for n, table in enumerate(tables, start=1))
        except RegionError as error:
            raise self.fault(str(error)) from None
        return CheckedPhoto(str(self.value("photo")), str(self.value("photo_sha256")), regions)
