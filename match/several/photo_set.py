"""The one model of several photos: what each is for, its marks, and what was measured in it by what calibration."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

from match.check.calibration_files import Calibration
from match.errors import EvidenceError
from match.measure.measurement import Measurement
from match.photo.regions import Region


class Angle(StrEnum):
    """From where the pair was photographed, under one lamp."""

    NEAR_GLARE = "near-glare"
    FACE = "face"
    FLOP = "flop"


class Role(StrEnum):
    """What was done with the card: laid down, laid again in its place, or moved to the other side of the car paint."""

    FIRST = "first"
    REPEAT = "repeat"
    SWAP = "swap"


USUAL_LIGHT = "one light"
"""The name of the lamp where none is given."""


@dataclass(frozen=True)
class PhotoUse:
    """What one photo is for; ``mid_coats`` are those on this step of a let-down card, None for an ordinary card."""

    angle: Angle = Angle.FACE
    role: Role = Role.FIRST
    light: str = USUAL_LIGHT
    mid_coats: float | None = None


@dataclass(frozen=True)
class Tilt:
    """How far off straight on a photo was taken, by the capture sheet in it: degrees, and their standard deviation."""

    degrees: float
    sd: float


@dataclass(frozen=True)
class MarkedPhoto:
    """One photo before it is measured: what it is called, its use, and its grey, card and vehicle regions.

    ``tilt`` is known where the photo shows the capture sheet and was looked at for it.
    """

    name: str
    use: PhotoUse
    regions: tuple[Region, ...]
    tilt: Tilt | None = field(default=None, kw_only=True)


@dataclass(frozen=True)
class MeasuredPhoto(MarkedPhoto):
    """The same photo measured, by which calibration (its camera may have its own), and what to say of it.

    :meth:`match.camera.own.PhotoCalibration.measured` makes it.
    """

    measurement: Measurement
    calibration: Calibration
    notes: tuple[str, ...] = ()


def answered(photos: Sequence[MarkedPhoto], measured: Iterable[MeasuredPhoto]) -> tuple[MarkedPhoto, ...]:
    """Return the photos with a person's word on all that is asked of their marks; as they are where nothing is asked.

    ``measured`` may hold each photo several times, once for each of its cards.
    """
    words: dict[tuple[str, Region], tuple[str, ...]] = {}
    for photo in measured:
        for region in photo.measurement.if_sure:
            place = (photo.name, region.unsaid)
            words[place] = (*words.get(place, ()), *region.sure)

    def said(photo: MarkedPhoto, region: Region) -> Region:
        given = words.get((photo.name, region.unsaid), ())
        return replace(region, sure=tuple(dict.fromkeys((*region.sure, *given))))

    return tuple(replace(photo, regions=tuple(said(photo, each) for each in photo.regions)) for photo in photos)


def is_let_down(photos: Sequence[MarkedPhoto]) -> bool:
    """Return whether the photos show a let-down card."""
    return any(photo.use.mid_coats is not None for photo in photos)


def check_uses(photos: Sequence[MarkedPhoto]) -> None:
    """Raise :class:`EvidenceError` where there is no photo, one is listed twice, or their uses do not fit together."""
    if not photos:
        raise EvidenceError("the photo set holds no photo: list at least one under [[photos]]")
    names = [photo.name for photo in photos]
    for name in names:
        if names.count(name) > 1:
            raise EvidenceError(
                f"{name} is listed {names.count(name)} times: a photo counts once, so take another one or remove a line"
            )
    roles: dict[tuple[float | None, str, Angle], list[MarkedPhoto]] = {}
    for photo in photos:
        roles.setdefault((photo.use.mid_coats, photo.use.light, photo.use.angle), []).append(photo)
    for (_, light, angle), members in roles.items():
        if all(photo.use.role is not Role.FIRST for photo in members):
            raise EvidenceError(
                f"{members[0].name} is called a {members[0].use.role.value}, but no photo at the {angle.value} angle "
                f"under {light!r} is called first: call it first, or correct its angle, light or mid_coats"
            )
    if is_let_down(photos):
        _check_steps(photos)


def _check_steps(photos: Sequence[MarkedPhoto]) -> None:
    for photo in photos:
        if photo.use.mid_coats is None:
            raise EvidenceError(
                f"{photo.name} does not say how many mid-coats its card carries, and others do: give mid_coats for each"
            )
    if len({photo.use.mid_coats for photo in photos}) < 2:
        raise EvidenceError("a let-down card needs at least two steps: photograph cards with other numbers of coats")
