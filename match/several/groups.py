"""From the readings of a photo set to one combined result for each step, lamp and angle: composition only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from match.errors import EvidenceError
from match.several.combine import CombiningRules, PairReading, PhotoReading, combine
from match.several.combined import Combined
from match.several.photo_set import Angle, PhotoSet


def combine_groups(
    photos: PhotoSet, readings: Sequence[PairReading], rules: CombiningRules, pair_floor: float, seed: int
) -> dict[tuple[float | None, str, Angle], Combined]:
    """Combine the photos that show the same pair in the same way.

    Parameters
    ----------
    photos, readings : the set, and one measurement for each of its photos in the same order
    rules, pair_floor : as in :func:`match.several.combine.combine`
    seed : for the draws; each group draws its own

    Returns
    -------
    Mapping from (mid-coats, lamp, angle) to the result, in the order the groups first appear.
    """
    if len(readings) != len(photos.photos):
        raise EvidenceError(
            f"the set has {len(photos.photos)} photos and {len(readings)} of them were measured: measure each once"
        )
    combined = {}
    for number, (key, members) in enumerate(photos.groups().items()):
        group = [PhotoReading(photos.photos[i].path, photos.photos[i].role, readings[i]) for i in members]
        combined[key] = combine(group, rules, pair_floor, np.random.default_rng([seed, number]))
    return combined


def angles_under(groups: Mapping[tuple[float | None, str, Angle], Combined], light: str) -> dict[Angle, Combined]:
    """Return the results under one lamp by angle, of an ordinary card (no mid-coats)."""
    return {angle: one for (coats, lamp, angle), one in groups.items() if coats is None and lamp == light}
