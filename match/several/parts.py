"""Named parts in several photos: each part's photos under the first lamp combined, angle by angle."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from match.check.parts import CheckedPart
from match.measure.finding import Finding
from match.measure.measurement import Measurement, PartReading
from match.several.combine import CombiningRules
from match.several.combined import Combined
from match.several.groups import angles_under, combine_groups
from match.several.photo_set import Angle, MeasuredPhoto, Role


def parts_of_set(
    photos: Sequence[MeasuredPhoto], rules: CombiningRules, limit: float, seed: int
) -> tuple[CheckedPart, ...]:
    """Return the parts that photos show, in the order of their first ones.

    Parameters
    ----------
    photos : at least one; those under another lamp than the first one's say nothing of a part
    rules, limit, seed : of combining, as for :class:`match.check.parts.CheckedPart`, of the combined draws
    """
    main = [photo for photo in photos if photo.use.light == photos[0].use.light]
    read = [(photo, part) for photo in main for part in photo.measurement.parts]
    return tuple(
        _part([(photo, part) for photo, part in read if part.name == name], rules, limit, seed)
        for name in dict.fromkeys(part.name for _, part in read)
    )


def _part(
    read: Sequence[tuple[MeasuredPhoto, PartReading]], rules: CombiningRules, limit: float, seed: int
) -> CheckedPart:
    card = _by_angle([(photo, part.card, part) for photo, part in read], rules, seed)
    car = _by_angle([(photo, part.car, part) for photo, part in read], rules, seed)
    findings = dict.fromkeys(found for combined in card.values() for found in combined.findings)
    angles = {angle.value: each for angle, each in card.items()}
    return CheckedPart(read[0][1].name, angles, {angle.value: each for angle, each in car.items()}, (*findings,), limit)


def _by_angle(
    read: Sequence[tuple[MeasuredPhoto, Measurement, PartReading]], rules: CombiningRules, seed: int
) -> dict[Angle, Combined]:
    photos = [
        # a card moved to the car's other side leaves what the light does between part and panel as it was
        replace(
            photo,
            use=replace(photo.use, role=Role.REPEAT),
            measurement=replace(pair, findings=(*part.findings, *_of_the_photo(photo))),
        )
        for photo, pair, part in read
    ]
    groups = combine_groups(photos, rules, np.random.default_rng(seed))
    return angles_under(groups, photos[0].use.light)


def _of_the_photo(photo: MeasuredPhoto) -> tuple[Finding, ...]:
    """Return what spoils the whole photo: then it spoils the part's figures as well."""
    return tuple(found for found in photo.measurement.findings if found.spoils)
