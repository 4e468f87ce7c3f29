"""Which of several cards in one photo is nearest the car, and which differ at all.

Cards in one photo share its light, its grey and its camera; their draws share them row by row (see
:mod:`match.measure.uncertainty`). Each row is one possible world: the true colours of all cards and of the car, given
what was read. In how many of the worlds a card is the nearest is the chance that it is (the fiducial reading of a
Monte-Carlo of JCGM 101:2008, as a flat prior on every true difference gives it). What is common to the cards moves them
together in each world and leaves their order, so that order is far surer than any one difference.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Protocol

import numpy as np

from match.colorimetry import Array, delta_e00
from match.measure.confidence import ConfidenceCurve, confidence_curve
from match.measure.uncertainty import Draws


class CardReading(Protocol):
    """What comparing needs of one card's measurement (see :class:`match.measure.measurement.Measurement`)."""

    @property
    def card_lab(self) -> Array:
        """(3,) CIELAB."""

    @property
    def vehicle_lab(self) -> Array:
        """(3,) CIELAB."""

    @property
    def draws(self) -> Draws:
        """Monte-Carlo draws, row by row the same worlds for every card."""


@dataclass(frozen=True)
class CardPair:
    """Two cards of one photo, by their places in the order given.

    ``first_nearer`` is the chance that the first is nearer the car; ``delta_e00`` and ``interval`` (95 %) are CIEDE2000
    between the two cards; ``cross_covariance`` (3, 3) is that of the first's card-minus-vehicle with the second's,
    CIELAB units squared.
    """

    first: int
    second: int
    first_nearer: float
    delta_e00: float
    interval: tuple[float, float]
    cross_covariance: Array


@dataclass(frozen=True)
class Nearest:
    """The chance of each card to be the nearest to the car, and every two of them compared."""

    chances: tuple[float, ...]
    pairs: tuple[CardPair, ...]

    @property
    def likeliest(self) -> int:
        """The place of the card that is the nearest in most worlds."""
        return int(np.argmax(self.chances))

    def nearer(self, one: int, other: int) -> float:
        """Return the chance that ``one`` is nearer the car than ``other``."""
        for pair in self.pairs:
            if (pair.first, pair.second) == (one, other):
                return pair.first_nearer
            if (pair.second, pair.first) == (one, other):
                return 1.0 - pair.first_nearer
        raise ValueError(f"{one} and {other} are not two of the cards")


def compare(cards: Sequence[CardReading]) -> Nearest:
    """Compare the cards of one photo, measured together; at least one."""
    distance = distances(cards)
    return Nearest(
        chances_of(distance), tuple(_pair(cards, distance, i, j) for i, j in combinations(range(len(cards)), 2))
    )


def distances(cards: Sequence[CardReading]) -> Array:
    """Return (cards, worlds) CIEDE2000 of each card from the car in every world."""
    return np.array([delta_e00(card.draws.card_lab, card.draws.vehicle_lab) for card in cards])


def chances_of(distance: Array) -> tuple[float, ...]:
    """Return the share of worlds in which each card is the nearest; ``distance`` (cards, worlds)."""
    first = distance.argmin(axis=0)
    return tuple(float(np.mean(first == index)) for index in range(len(distance)))


def best_of_several(curve: ConfidenceCurve, distance: Array) -> ConfidenceCurve:
    """Return the curve of a card that was taken because it reads nearest, with the chance of having been lucky.

    The best of several is also the luckiest: an upper limit that fails once in forty for one card fails oftener for the
    one picked. It is therefore held for all cards at once: the chance that a card reads as low as this one is replaced
    by the chance that any of them does, over worlds in which what they share moves them together (single-step min-p of
    Westfall and Young 1993, Resampling-Based Multiple Testing, section 2.3; from memory). That is never less than the
    chance of the one, nor more than as many times it as there are cards. The lower limit stays: luck makes a card read
    near, not far.

    Parameters
    ----------
    curve : of the card that was taken
    distance : (cards, worlds) as for :func:`chances_of`
    """
    cards, worlds = distance.shape
    if cards < 2:
        return curve
    share = distance.argsort(axis=1).argsort(axis=1) / worlds  # of its own worlds in which a card reads lower still
    lowest = np.sort(share.min(axis=0))
    alone = np.clip(1.0 - curve.cautious, 0.0, 1.0)
    any_of_them = np.clip(np.searchsorted(lowest, alone, side="right") / worlds, alone, np.minimum(cards * alone, 1.0))
    rise = np.linspace(0.0, 1e-9, alone.size)  # as in confidence_curve
    return ConfidenceCurve(curve.size, curve.unbiased, np.maximum.accumulate(1.0 - any_of_them) + rise)


def _pair(cards: Sequence[CardReading], distance: Array, i: int, j: int) -> CardPair:
    one, other = cards[i], cards[j]
    between = Draws(
        one.draws.card_lab,
        other.draws.card_lab,
        one.draws.null_difference - other.draws.null_difference,
    )
    curve = confidence_curve(one.card_lab, other.card_lab, between)
    off, other_off = ((card.draws.card_lab - card.draws.vehicle_lab).T for card in (one, other))
    return CardPair(
        i,
        j,
        float(np.mean(distance[i] < distance[j])),
        float(delta_e00(one.card_lab, other.card_lab)),
        curve.interval(0.95),
        np.asarray(np.cov(off, other_off))[:3, 3:],
    )
