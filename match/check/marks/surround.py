"""What lies around a mark: the car's paint, other grey steps, borders; and how far the mark's own surface reaches.

A card is held on the car, so that the car's own paint is seen around it, whatever else is in the frame, and its four
edges are. A step of a step card has other steps beside it, a single grey card has none. Ground, trim and glass are
larger than a grey reference, and the panel is larger than the card.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from match.check.marks.borders import SPECK, Heights, closed
from match.check.marks.outline import Side, led_to, of_own_surface, outline, rectangle_about
from match.check.marks.outline import framed as framed_by
from match.check.marks.outline import parted as parted_by
from match.check.marks.rules import OutlineRules, SurroundRules, UnmarkedRules
from match.check.marks.unmarked import unmarked_card
from match.colorimetry import Array
from match.photo.regions import Kind, Region


@dataclass(frozen=True, eq=False)
class Surround:
    """What lies around marks, out to their own longer side, and how far their own surfaces reach.

    Attributes
    ----------
    car_paint : (n, n) share of a card's surroundings that shows the paint of a car mark, joined to it and in its light;
        NaN for all other pairs
    ways : (n,) share of the ways straight out of a card's mark that lead from its own surface to the paint of any car
        mark; NaN where that lies on the same surface, and for all but cards
    kin : (n,) the same of any surface that shows the very same as a car mark, brightness, colour and texture, though a
        gap, a crease or a reflection parts the two; NaN for all but cards
    framed : (n,) how many of a card's sides are seen as straight edges that end at its corners and have a car mark's
        paint beyond; NaN for all but cards
    beyond : (n,) the same where the paint beyond is nearly what the car mark shows; NaN for all but cards
    parted : (n, n) by what share such an edge is seen beyond which a car mark lies whole; NaN but for card and car
    beside : for every mark the differences of log level (k,) of neutral rectangles beside it, of its surface's size;
        empty for all but greys
    larger : (n,) how many times larger than the mark its own surface is
    area : (n,) share of the photo that the mark's own surface takes, noise forgiven
    enclosed : (n,) share of the ways straight out of a mark that soon cross a border
    another : of each mark, it put on a card in the photo that no mark lies on; None where none is seen, and for all but
        cards
    """

    car_paint: Array
    ways: Array
    kin: Array
    framed: Array
    beyond: Array
    parted: Array
    beside: tuple[tuple[float, ...], ...]
    larger: Array
    area: Array
    enclosed: Array
    another: tuple[Region | None, ...]

    def of(self, places: Sequence[int]) -> Surround:
        """Return what lies around some of the marks."""
        chosen = list(places)
        return Surround(
            self.car_paint[np.ix_(chosen, chosen)],
            self.ways[chosen],
            self.kin[chosen],
            self.framed[chosen],
            self.beyond[chosen],
            self.parted[np.ix_(chosen, chosen)],
            tuple(self.beside[place] for place in chosen),
            self.larger[chosen],
            self.area[chosen],
            self.enclosed[chosen],
            tuple(self.another[place] for place in chosen),
        )


def surround(
    land: Heights, own_step: float, rules: SurroundRules, edges: OutlineRules, unmarked: UnmarkedRules
) -> Surround:
    """Return what lies around the marks on one terrain; ``own_step`` is as for ``borders.passes``."""
    places = range(len(land.regions))
    car_paint, parted = (np.full((len(places), len(places)), np.nan) for _ in range(2))
    ways, kin, framed, beyond = (np.full(len(places), np.nan) for _ in range(4))
    another: list[Region | None] = [None for _ in places]
    own = [land.surfaces(place, own_step)[1] for place in places]
    cars = [k for k in places if land.regions[k].kind is Kind.VEHICLE]
    alike = _kin(land, cars, own_step, rules)
    colours = {k: _colour(land, k) for k in cars}
    smooth: Array = np.asarray(cv2.blur(land.land.logs, (SPECK, SPECK)))  # flake away
    coat, near = (_coat(smooth, colours.values(), within) for within in (edges.paint, rules.kin[:2]))
    alike_paint = {k: _within(land.land.logs, colours[k], rules.one_paint) for k in cars}
    for card in (k for k in places if land.regions[k].kind is Kind.CARD):
        coats = np.zeros(own[card].shape, dtype=bool)
        for car in cars:
            window, around = _around(land, card, own[card] & ~own[car])  # equal colours may well be joined
            paint = own[car] & alike_paint[car]
            car_paint[card, car] = (paint[window] & around).sum() / max(int(around.sum()), 1)
            coats |= paint
        whole = closed(own[card])
        if not (own[card] & coats).any():
            ways[card] = _ways(land.inside[card], whole, coats)
        kin[card] = _ways(land.inside[card], whole, (coats | alike) & ~own[card])
        mark = land.land, land.regions[card]
        rectangle = of_own_surface(*mark, _whole(whole, land.inside[card]), edges)
        sides = led_to(rectangle, *mark, coat) if rectangle else outline(*mark, coat, edges)
        framed[card] = framed_by(sides, edges)
        beyond[card] = framed_by(led_to(sides, *mark, near), edges)
        parted[card, cars] = _parted(land, card, cars, sides, edges)
        parted[cars, card] = parted[card, cars]
        another[card] = unmarked_card(land, card, own_step, colours.values(), unmarked)
    return Surround(
        car_paint,
        ways,
        kin,
        framed,
        beyond,
        parted,
        tuple(tuple(_steps(land, k, rules)) if land.regions[k].kind is Kind.GREY else () for k in places),
        np.array([np.count_nonzero(own[k]) / _size(land.inside[k]) for k in places]),
        np.array([_share(land.surfaces(k, rules.noisy)[1]) for k in places]),
        np.array([_enclosed(land.borders(k, own_step), land.inside[k], rules.soon) for k in places]),
        tuple(another),
    )


def _coat(smooth: Array, colours: Iterable[Array], within: Sequence[float]) -> NDArray[np.bool_]:
    """Return where a picture (h, w, 3) shows any of the car marks' colours so nearly."""
    return np.asarray(np.any([_within(smooth, colour, within) for colour in colours], axis=0))


def _parted(land: Heights, card: int, cars: Sequence[int], sides: Sequence[Side], rules: OutlineRules) -> list[float]:
    """Return by what share an edge parts a card's mark from each car mark."""
    boxes = {k: np.array([[part.start, part.stop] for part in land.inside[k]])[::-1] for k in (card, *cars)}
    middles, halves = ({k: box @ weights for k, box in boxes.items()} for weights in ([0.5, 0.5], [-0.5, 0.5]))
    return [parted_by(sides, middles[k] - middles[card], halves[k], rules) for k in cars]


def _kin(land: Heights, cars: Sequence[int], own_step: float, rules: SurroundRules) -> NDArray[np.bool_]:
    """Return where surfaces (h, w) show the very same as a car mark on the whole: its colour and its own steps."""
    logs, steps = land.land.logs, land.land.steps
    found = np.zeros(logs.shape[:2], dtype=bool)
    bright: dict[int, tuple[NDArray[np.intp], Array]] = {}  # of car marks that tell the same surfaces apart, once
    for car in cars:
        labels, _ = land.surfaces(car, own_step)
        if id(labels) not in bright:
            bright[id(labels)] = _brightness(labels, logs)
        count, mean = bright[id(labels)]
        own, own_steps = (each[land.inside[car]].reshape(-1, 3).mean(axis=0) for each in (logs, steps))
        worth = (count >= rules.least_step * _size(land.inside[car])) & (np.abs(mean - own[0]) < rules.kin[0])
        for label in (int(each) for each in np.flatnonzero(worth) if each):  # few are left
            surface = labels == label
            if (np.abs(_mean(logs, surface) - own)[1:] >= rules.kin[1]).any():
                continue
            off = np.abs(np.log((_mean(steps, surface) + 1e-6) / (own_steps + 1e-6)))
            if (off < rules.kin[2]).all():
                found |= surface
    return found


def _mean(picture: Array, surface: NDArray[np.bool_]) -> Array:
    return np.array(cv2.mean(picture, surface.view(np.uint8))[:3])


def _brightness(labels: NDArray[np.int32], logs: Array) -> tuple[NDArray[np.intp], Array]:
    """Return of each surface how many pixels it has, and their mean brightness."""
    flat = labels.ravel().astype(np.intp)
    count = np.bincount(flat)
    return count, np.bincount(flat, logs[..., 0].ravel()) / np.maximum(count, 1)


def _enclosed(borders: NDArray[np.bool_], inside: tuple[slice, slice], soon: float) -> float:
    """Return the share of the ways straight out of a mark, up, down and to both sides, that cross a border."""
    down, across = inside
    reach = max(int(soon * min(down.stop - down.start, across.stop - across.start)), 4)
    above, below = borders[max(down.start - reach, 0) : down.start, across], borders[down.stop :, across][:reach]
    left, right = borders[down, max(across.start - reach, 0) : across.start], borders[down, across.stop :][:, :reach]
    sides = [above.any(axis=0), below.any(axis=0), left.any(axis=1), right.any(axis=1)]
    return float(np.mean([side.mean() for side in sides]))


def _ways(inside: tuple[slice, slice], own: NDArray[np.bool_], paint: NDArray[np.bool_]) -> float:
    """Return the share of the ways straight out of a mark that come to paint, soon after they leave its own surface."""
    down, across = inside
    soon = max(down.stop - down.start, across.stop - across.start)
    sides = []
    for each in (own, paint):
        left, right = each[down, : across.start][:, ::-1].T, each[down, across.stop :].T
        sides.append((each[: down.start, across][::-1], each[down.stop :, across], left, right))
    found = []
    for surface, coat in zip(*sides, strict=True):
        beyond = np.cumsum(np.maximum.accumulate(~surface, axis=0), axis=0)
        found.append((coat & (beyond > 0) & (beyond <= soon)).any(axis=0).mean())
    return float(np.mean(found))


def _whole(own: NDArray[np.bool_], inside: tuple[slice, slice]) -> NDArray[np.bool_]:
    """Return of a mark's own surface the piece that takes most of the mark."""
    labels = cv2.connectedComponents(own.view(np.uint8), connectivity=4)[1]
    held = np.bincount(labels[inside].ravel())
    held[0] = 0
    return np.asarray(own & (labels == int(held.argmax())))


def _within(logs: Array, colour: Array, near: Sequence[float]) -> NDArray[np.bool_]:
    """Return where a picture (h, w, 3) shows a colour, to within so much in brightness and in either component."""
    off = np.array(near)[[0, 1, 1]]
    return np.asarray(cv2.inRange(logs, colour - off, colour + off) > 0)


def _colour(land: Heights, place: int) -> Array:
    return np.asarray(np.median(land.land.logs[land.inside[place]].reshape(-1, 3), axis=0))


def _around(land: Heights, place: int, own: NDArray[np.bool_]) -> tuple[tuple[slice, slice], NDArray[np.bool_]]:
    """Return the window about a mark, and what of it is neither the mark nor its own surface."""
    window = _window(land, place)
    around = ~own[window]
    down, across = (
        slice(inner.start - outer.start, inner.stop - outer.start)
        for inner, outer in zip(land.inside[place], window, strict=True)
    )
    around[down, across] = False
    return window, around


def _window(land: Heights, place: int) -> tuple[slice, slice]:
    """Return the mark's window widened on every side by its longer one."""
    down, across = land.inside[place]
    reach = max(down.stop - down.start, across.stop - across.start)
    first, last = (np.array(each) for each in ((down.start, across.start), (down.stop, across.stop)))
    first, last = np.maximum(first - reach, 0), np.minimum(last + reach, land.land.steps.shape[:2])
    return slice(int(first[0]), int(last[0])), slice(int(first[1]), int(last[1]))


def _size(window: tuple[slice, slice]) -> int:
    return int(np.prod([part.stop - part.start for part in window]))


def _share(surface: NDArray[np.bool_]) -> float:
    """Return what share of the picture a surface takes; to count it takes a twentieth of the time of its mean."""
    return np.count_nonzero(surface) / surface.size


def _steps(land: Heights, place: int, rules: SurroundRules) -> Iterator[float]:
    """Return by how much each step beside a grey mark is lighter: unmarked neutral rectangles, as large as its own."""
    labels, own = land.surfaces(place, rules.noisy)
    window, around = _around(land, place, own)
    colour, area = _colour(land, place), float(np.count_nonzero(own))
    paints = [k for k, region in enumerate(land.regions) if region.kind is not Kind.GREY]
    marked = {0, *(int(label) for k in paints for label in np.flatnonzero(np.bincount(labels[land.inside[k]].ravel())))}
    counts = np.bincount(labels[window][around]) if around.any() else np.zeros(1)
    for label in np.flatnonzero(counts >= rules.least_step * _size(land.inside[place])):
        if int(label) in marked:
            continue
        surface = labels == label
        size = float(np.count_nonzero(surface))
        if not (area / rules.one_size < size < area * rules.one_size and rectangle_about(surface)[0] > rules.straight):
            continue
        differs = np.median(land.land.logs.reshape(-1, 3)[np.flatnonzero(surface)], axis=0) - colour
        neutral = float(np.abs(differs[1:]).max()) < rules.one_paint[1]
        if neutral and not abs(float(differs[0])) < rules.no_step:
            yield float(differs[0])
