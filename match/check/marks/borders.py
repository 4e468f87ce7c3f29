"""Is there a border between two marks? On a small picture of the whole frame, not only inside the boxes.

Between two places of one surface there is a path that never steps over anything; around a card or a grey step lies an
edge, a shadow or another colour, whichever way one goes. The height of the lowest pass between two marks (the minimax
path, as in watershed segmentation) tells the two apart. It is measured in steps that the marked paints show inside
themselves, brightness and each colour component by its own: noise, flake and orange peel raise them, and a paint whose
colour is noisy, as a dark or a strongly coloured one's is, may still show a faint edge in its brightness.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from match.check.marks.terrain import Terrain
from match.colorimetry import Array
from match.photo.regions import Kind, Region

LEVEL = 0.06
"""Log units from one height that is tried to the next: passes are known to within this."""

LOWEST = -0.54
"""Log units below a surface's own steps at which no lower pass is looked for."""

HIGHEST = 3.0
"""Log units above a surface's own steps from which a pass is as good as none."""

LOW = 1.0
"""Log units: marks joined by a pass below this may lie on one surface, or a card's edge may be seen in part only."""

THIN = 0.3
"""Share of a straight way between two marks that a line and its shadow may take; a thing between takes more."""

SPECK = 5
"""Pixels of the terrain: noise leaves holes of this size in a surface, which are no border."""

ABOVE_PASS = 0.5
"""Log units above the lowest pass where a surface is whole, and no longer full of holes from noise."""

WAY = 120
"""Places that are looked at along a straight way: at least one a pixel of the terrain between neighbouring marks."""


@dataclass(frozen=True, eq=False)
class Passes:
    """What lies between marks.

    Attributes
    ----------
    between : (n, n) log of the lowest pass between two marks over the steps inside the two; near 0 on one surface, and
        the highest that was asked for where there is none below it; nothing is said of two greys or two cards
    lines : (n, n) for a card and a car mark joined by a low pass: log height of the line that every straight way
        between them crosses, over the same steps, -inf where the ways cross another surface; NaN for all others
    sides : (n,) how many sides of the frame a grey mark's own surface reaches, as far as no step is above what it shows
        inside
    """

    between: Array
    lines: Array
    sides: NDArray[np.intp]


def passes(each: Sequence[Heights], own_step: float, asked: tuple[float, float] = (LOWEST, HIGHEST)) -> Passes:
    """Return the passes of the terrain that shows each border best, and the sides that the smaller surface reaches.

    ``own_step`` is how far a surface's steps lie above its median one; below the first log height of ``asked``, and
    from the second on, it is all one how high a pass is.
    """
    regions, highest = each[0].regions, max(asked[1], LOW)  # lines are looked for by what lies above LOW, or below
    between = np.full((len(regions), len(regions)), highest)
    np.fill_diagonal(between, 0.0)
    for one, other in _asked(regions):
        if all(land.has_pass(one, other, highest) for land in reversed(each)):
            lowest = asked[0]
            for land in reversed(each):  # the coarse one costs a quarter; what lies below its pass is not asked for
                lowest = land.lowest_pass(one, other, lowest)
            between[one, other] = between[other, one] = lowest
    lines = np.full(between.shape, np.nan)
    for one, other in _asked(regions):
        if {regions[one].kind, regions[other].kind} == {Kind.CARD, Kind.VEHICLE} and between[one, other] < LOW:
            lines[one, other] = lines[other, one] = _line([land.line(one, other) for land in each])
    sides = [min(land.sides(place, own_step) for land in each) for place in range(len(regions))]
    return Passes(between, lines, np.array(sides, dtype=np.intp))


def _asked(regions: Sequence[Region]) -> Iterator[tuple[int, int]]:
    for one, region in enumerate(regions):
        for other in range(one):
            if region.kind is not regions[other].kind or region.kind is Kind.VEHICLE:
                yield one, other


def _line(seen: Sequence[tuple[float, float]]) -> float:
    """Return the height of the line that shows best, from (height, share of the way off the surface) a terrain."""
    return -np.inf if max(off for _, off in seen) > THIN else max(height for height, _ in seen)


class Heights:
    """One terrain in units of the paints' own steps; what is joined below a height is found once, when it is asked.

    ``inside`` are the marks' windows of it, in the order of ``regions``.
    """

    def __init__(self, land: Terrain, regions: Sequence[Region]) -> None:
        """Measure every component by the largest of the paints' own steps in it."""
        paints = [region for region in regions if region.kind is not Kind.GREY]
        unit = np.max([land.usual(region) for region in paints or regions], axis=0).astype(np.float32)
        self.regions = regions
        self.land = land
        rows, columns = land.steps.shape[:2]  # as one line of numbers: by three at a time it takes ten times as long
        self._height = _largest((land.steps.reshape(rows, -1) / np.tile(unit, columns)).reshape(rows, columns, 3))
        self.inside = [land.inside(region) for region in regions]
        rounding = [np.median(_largest(land.rounded(window) / unit)) for window in self.inside]
        steps = [np.median(self._height[window]) for window in self.inside]
        self._usual = np.log(np.maximum(steps, rounding))
        self._joined: dict[tuple[int, int], frozenset[int]] = {}
        self._labels: dict[int, NDArray[np.int32]] = {}
        self._own: dict[tuple[int, float], tuple[NDArray[np.int32], NDArray[np.bool_]]] = {}

    def has_pass(self, one: int, other: int, height: float) -> bool:
        """Say whether there is a pass between two marks below a log height over the higher of their usual steps."""
        return self._are_joined(one, other, self._usual_level(one, other) + int(np.ceil(height / LEVEL - 1e-9)) - 1)

    def lowest_pass(self, one: int, other: int, lowest: float = LOWEST) -> float:
        """Return the log height of the lowest pass between two marks over the higher of their usual steps.

        No less than ``lowest``, and :data:`HIGHEST` where there is none below it.
        """
        usual, least = self._usual_level(one, other), int(np.floor(lowest / LEVEL + 1e-9))
        low, high = least - 1, round(HIGHEST / LEVEL)
        for level in [each - usual for each in self._labels]:  # heights that other marks were looked at in cost nothing
            if low < level < high:
                low, high = (low, level) if self._are_joined(one, other, usual + level) else (level, high)
        middle = least if lowest > LOWEST and low < least else (low + high) // 2
        while high - low > 1:
            low, high = (low, middle) if self._are_joined(one, other, usual + middle) else (middle, high)
            middle = (low + high) // 2
        return high * LEVEL

    def _usual_level(self, one: int, other: int) -> int:
        return round(float(max(self._usual[one], self._usual[other])) / LEVEL)

    def _are_joined(self, one: int, other: int, level: int) -> bool:
        return bool(self._held(level, one) & self._held(level, other))

    def _held(self, level: int, place: int) -> frozenset[int]:
        """Return the surfaces that a mark lies on, were every step up to a height no border."""
        if (level, place) not in self._joined:
            self._joined[level, place] = _labels_in(self._surfaces(level)[self.inside[place]])
        return self._joined[level, place]

    def _surfaces(self, level: int) -> NDArray[np.int32]:
        if level not in self._labels:
            low = (self._height <= _single(float(np.exp(level * LEVEL)))).view(np.uint8)
            self._labels[level] = np.asarray(cv2.connectedComponents(low, connectivity=4)[1])
        return self._labels[level]

    def surfaces(self, place: int, own_step: float) -> tuple[NDArray[np.int32], NDArray[np.bool_]]:
        """Return the surfaces (h, w) that a mark's own steps tell apart, 0 on borders, and where its own one is."""
        if (place, own_step) not in self._own:
            labels = self._surfaces(round((self._usual[place] + np.log(own_step)) / LEVEL))
            self._own[place, own_step] = labels, _is_one_of(labels, _labels_in(labels[self.inside[place]]))
        return self._own[place, own_step]

    def borders(self, place: int, own_step: float) -> NDArray[np.bool_]:
        """Return where a step (h, w) is higher than a mark's own ones."""
        return np.asarray(self._height > own_step * np.exp(self._usual[place]))

    def line(self, one: int, other: int) -> tuple[float, float]:
        """Return the log height of the line between two marks, and the share of the straight ways off their surface.

        Four in five of the straight ways cross it: a card's edge is seen on some of its sides only, and a path goes
        round by the others.
        """
        usual = max(self._usual[one], self._usual[other])
        start, end = (_points(self.inside[place]) for place in (one, other))
        along = np.linspace(0.0, 1.0, WAY)[:, None, None]
        row, column = np.moveaxis(np.rint(start * (1.0 - along) + end * along).astype(int), -1, 0)
        height = np.log(max(np.percentile(self._height[row, column].max(axis=0), 20.0), 1e-6)) - usual
        above = round(ABOVE_PASS / LEVEL) + round((self.lowest_pass(one, other) + usual) / LEVEL)
        labels = self._surfaces(above)
        held = _labels_in(labels[self.inside[one]]) & _labels_in(labels[self.inside[other]])
        return float(height), float(1.0 - _is_one_of(labels[row, column], held).mean())

    def sides(self, place: int, own_step: float) -> int:
        """Return how many sides of the frame a grey mark's own surface reaches; 0 of any other mark."""
        if self.regions[place].kind is not Kind.GREY:
            return 0
        return _sides(self.surfaces(place, own_step)[1])


def closed(own: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return a surface (h, w) without specks of noise in it."""
    square = np.ones((SPECK, SPECK), np.uint8)
    return np.asarray(cv2.morphologyEx(own.astype(np.uint8), cv2.MORPH_CLOSE, square) > 0)


def _points(window: tuple[slice, slice]) -> Array:
    """Return 25 places (row, column) spread over a window."""
    rows, columns = (np.linspace(part.start, part.stop - 1, 5) for part in window)
    return np.stack(np.meshgrid(rows, columns, indexing="ij"), axis=-1).reshape(-1, 2)


def _single(limit: float) -> np.float32:
    """Return the largest single float up to a limit: against another kind numpy would first copy the whole picture."""
    single = np.float32(limit)
    return single if float(single) <= limit else np.nextafter(single, np.float32(-np.inf))


def _labels_in(labels: NDArray[np.int32]) -> frozenset[int]:
    """Return the surfaces that cover a fair part of a window (0 is no surface)."""
    counts = np.bincount(labels.ravel())
    return frozenset(int(label) for label in np.flatnonzero(counts >= 0.15 * labels.size) if label)


def _is_one_of(labels: NDArray[np.int32], surfaces: frozenset[int]) -> NDArray[np.bool_]:
    """Return where any of the surfaces lies, of which there are few; ``numpy.isin`` takes ten times as long."""
    held = np.zeros(labels.shape, dtype=bool)
    for surface in surfaces:
        held |= labels == surface
    return held


def _largest(components: Array) -> Array:
    """Return the largest of three components (..., 3), which numpy's own ``max`` takes ten times as long to say."""
    return np.maximum(np.maximum(components[..., 0], components[..., 1]), components[..., 2])


def _sides(surface: NDArray[np.bool_]) -> int:
    edges = (surface[0], surface[-1], surface[:, 0], surface[:, -1])
    return sum(bool(edge.mean() > 0.05) for edge in edges)
