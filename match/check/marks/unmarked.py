"""Does the photo show a card that no mark lies on? Then the card's mark may lie on something else.

A card is a rectangle of nearly the car's colour, held on the car where the photo shows it whole. Whoever marks it lays
the mark on it; where the mark lies on the car, the next panel or anything else, the card stands there unmarked.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from match.check.marks.borders import Heights, closed
from match.check.marks.outline import rectangle_about
from match.check.marks.rules import UnmarkedRules
from match.colorimetry import Array
from match.photo.regions import Region

INSIDE = 0.6
"""Side of a square in the middle of a rectangle, in its shorter side: 0.7 still lies within, however it is turned."""

Rotated = tuple[tuple[float, float], tuple[float, float], float]
"""A rectangle as OpenCV has it: its middle, its sides, and by how many degrees it is turned."""


def unmarked_card(
    land: Heights, place: int, own_step: float, paints: Iterable[Array], rules: UnmarkedRules
) -> Region | None:
    """Return the card's mark put on the largest unmarked surface that looks like a card; None where there is none.

    Surfaces are those that the card's mark (its ``place``) tells apart by its own steps; ``paints`` (3,) are what the
    car's marks show; ``own_step`` is as for ``borders.passes``.
    """
    least, ratio = rules.rectangle
    near = np.array(rules.alike)[[0, 1, 1]]
    cars, found = list(paints), dict[float, Region]()
    for surface in _unmarked(land, place, own_step, rules):
        filled, rectangle = rectangle_about(closed(surface))
        if filled < least or min(rectangle[1]) < ratio * max(rectangle[1]) or _holds_a_mark(land, rectangle):
            continue
        colour = np.median(land.land.logs[surface], axis=0)
        if any((np.abs(colour - car) < near).all() for car in cars):
            found[float(np.prod(rectangle[1]))] = _put_on(rectangle, land, land.regions[place])
    return found[max(found)] if found else None


def _put_on(rectangle: Rotated, land: Heights, mark: Region) -> Region:
    """Return a card's mark, square and upright, in the middle of a rectangle of the terrain however that is turned."""
    (x, y), sides, _ = rectangle
    side, scale = INSIDE * min(sides), land.land.scale
    left, top = (round((middle - 0.5 * side) / each) for middle, each in zip((x, y), scale, strict=True))
    return replace(mark, x=left, y=top, width=round(side / scale[0]), height=round(side / scale[1]), sure=())


def _unmarked(land: Heights, place: int, own_step: float, rules: UnmarkedRules) -> Iterator[NDArray[np.bool_]]:
    """Return the surfaces (h, w) of a card's size on which no mark lies and which the photo shows whole."""
    labels, _ = land.surfaces(place, own_step)
    share = np.bincount(labels.ravel()) / labels.size
    for each in (*(labels[inside] for inside in land.inside), labels[[0, -1]], labels[:, [0, -1]], np.zeros(1, int)):
        share[np.unique(each)] = 0.0
    least, most = rules.size
    for label in np.flatnonzero((share > least) & (share < most)):
        yield labels == label


def _holds_a_mark(land: Heights, rectangle: Rotated) -> bool:
    """Say whether the middle of a mark lies within: the rim of what is marked is no thing of its own."""
    corners = cv2.boxPoints(rectangle)
    middles = [tuple(0.5 * (part.start + part.stop) for part in inside[::-1]) for inside in land.inside]
    return any(cv2.pointPolygonTest(corners, middle, False) >= 0.0 for middle in middles)
