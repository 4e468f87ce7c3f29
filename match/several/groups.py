"""From measured photos to one combined result for each step, lamp and angle: composition only."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from match.several.combine import CombiningRules, PhotoReading, combine
from match.several.combined import Combined
from match.several.photo_set import Angle, MeasuredPhoto


class Group(NamedTuple):
    """What photos have in common that may be averaged."""

    mid_coats: float | None
    light: str
    angle: Angle


def combine_groups(
    photos: Sequence[MeasuredPhoto], rules: CombiningRules, rng: np.random.Generator
) -> dict[Group, Combined]:
    """Combine the photos that show the same pair in the same way.

    Parameters
    ----------
    photos : at least one; the first one's calibration says what the camera's own error is
    rules : as in :func:`match.several.combine.combine`
    rng : for the draws of groups of more than one photo

    Returns
    -------
    Mapping from group to result, in the order the groups first appear.
    """
    members: dict[Group, list[PhotoReading]] = {}
    for photo in photos:
        group = Group(photo.use.mid_coats, photo.use.light, photo.use.angle)
        members.setdefault(group, []).append(PhotoReading(photo.name, photo.use.role, photo.measurement))
    floor = photos[0].calibration.camera.errors.pair_floor
    return {group: combine(readings, rules, floor, rng) for group, readings in members.items()}


def angles_under(groups: Mapping[Group, Combined], light: str, mid_coats: float | None = None) -> dict[Angle, Combined]:
    """Return the results under one lamp by angle, of an ordinary card or of one step of a let-down card."""
    keys = {angle: Group(mid_coats, light, angle) for angle in Angle}
    return {angle: groups[key] for angle, key in keys.items() if key in groups}
