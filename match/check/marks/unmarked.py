"""Does the photo show a card that no mark lies on? Then the card's mark may lie on something else.

A card is a rectangle of nearly the car's colour, held on the car where the photo shows it whole. Whoever marks it lays
the mark on it; where the mark lies on the car, the next panel or anything else, the card stands there unmarked.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from match.check.marks.borders import Heights
from match.check.marks.outline import rectangle_about
from match.check.marks.rules import UnmarkedRules
from match.colorimetry import Array

SPECK = 5
"""Pixels of the terrain: noise leaves holes of this size in a surface, which are no border."""


def closed(own: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return a surface (h, w) without specks of noise in it."""
    square = np.ones((SPECK, SPECK), np.uint8)
    return np.asarray(cv2.morphologyEx(own.astype(np.uint8), cv2.MORPH_CLOSE, square) > 0)


def shows_another_card(
    land: Heights, place: int, own_step: float, paints: Iterable[Array], rules: UnmarkedRules
) -> bool:
    """Say whether an unmarked surface looks like a card, by the steps that a card's mark (its ``place``) tells apart.

    ``paints`` (3,) are what the car's marks show; ``own_step`` is as for ``borders.passes``.
    """
    least, ratio = rules.rectangle
    near = np.array(rules.alike)[[0, 1, 1]]
    cars = list(paints)
    for surface in _unmarked(land, place, own_step, rules):
        filled, rectangle = rectangle_about(closed(surface))
        if filled < least or min(rectangle[1]) < ratio * max(rectangle[1]) or _holds_a_mark(land, rectangle):
            continue
        colour = np.median(land.land.logs[surface], axis=0)
        if any((np.abs(colour - car) < near).all() for car in cars):
            return True
    return False


def _unmarked(land: Heights, place: int, own_step: float, rules: UnmarkedRules) -> Iterator[NDArray[np.bool_]]:
    """Return the surfaces (h, w) of a card's size on which no mark lies and which the photo shows whole."""
    labels, _ = land.surfaces(place, own_step)
    share = np.bincount(labels.ravel()) / labels.size
    for each in (*(labels[inside] for inside in land.inside), labels[[0, -1]], labels[:, [0, -1]], np.zeros(1, int)):
        share[np.unique(each)] = 0.0
    least, most = rules.size
    for label in np.flatnonzero((share > least) & (share < most)):
        yield labels == label


def _holds_a_mark(land: Heights, rectangle: tuple[tuple[float, float], tuple[float, float], float]) -> bool:
    """Say whether the middle of a mark lies within: the rim of what is marked is no thing of its own."""
    corners = cv2.boxPoints(rectangle)
    middles = [tuple(0.5 * (part.start + part.stop) for part in inside[::-1]) for inside in land.inside]
    return any(cv2.pointPolygonTest(corners, middle, False) >= 0.0 for middle in middles)
