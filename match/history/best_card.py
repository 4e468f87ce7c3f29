"""Cards of different days against the same car: which came nearest, and the chance that it really did.

Each card's difference is drawn from the normal distribution that its check keeps (mean and covariance of card minus car
in CIELAB). Cards of one photo are drawn with the covariance that they share; photos are drawn each on its own. What one
camera does alike on every day is thereby taken as different each day, so cards that are off the same way are sooner
said not to be told apart than they need be.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from match.check.saved import SavedCheck, of_card, read_saved
from match.colorimetry import Array, delta_e00, psd_root, triple
from match.errors import SavedCheckError
from match.history.records import CheckRow, Lab
from match.measure.nearest import chances_of

MOST_COMPARED = 60
"""Engineering choice: the newest checks of a colour; more would be drawn for nothing."""

WORLDS, SEED = 8000, 20


@dataclass(frozen=True)
class HeldCard:
    """A card that was held against the car: its check and time, its name in the photo, and the chance to be nearest.

    ``delta_lab`` is card minus car in its own photo, CIELAB; ``verdict``, ``delta_e00`` and ``interval`` (CIEDE2000)
    are its own, and ``gave_verdict`` says whether the verdict of the check is this card's.
    """

    check: str
    at: datetime
    name: str
    chance: float
    delta_lab: Lab
    card_lab: Lab
    verdict: str
    delta_e00: float
    interval: tuple[float, float]
    gave_verdict: bool


@dataclass(frozen=True)
class Standing:
    """The cards so far, oldest first; ``likeliest`` is the place of the one that is the nearest in most worlds.

    ``rivals`` are the places of those that cannot be told from it; ``other_cars`` how many checks were left out because
    they name another car than the latest. ``vehicle_lab`` is the car, the mean of its photos.
    """

    cards: tuple[HeldCard, ...]
    likeliest: int
    rivals: tuple[int, ...]
    other_cars: int
    vehicle_lab: Lab

    @property
    def best(self) -> HeldCard:
        """The card that is the nearest in most worlds."""
        return self.cards[self.likeliest]

    def likely(self, most: int) -> tuple[HeldCard, ...]:
        """Return the cards with the greatest chances, at most so many, oldest first."""
        chosen = sorted(sorted(range(len(self.cards)), key=lambda place: -self.cards[place].chance)[:most])
        return tuple(self.cards[place] for place in chosen)


def standing(kept: Sequence[tuple[CheckRow, object]], told_apart: float) -> Standing | None:
    """Compare the cards of one colour's checks.

    Parameters
    ----------
    kept : checks, oldest first, each with its document; retakes, corrected ones and documents without figures that
        hold are left out, and of one card checked again the newest check counts
    told_apart : chance from which one card is called nearer than another

    Returns
    -------
    None where fewer than two cards are left.
    """
    counting = [pair for pair in kept if pair[0].stands]
    same_car, other_cars = _of_the_latest_car(counting)
    newest = {row.card or row.id: (row, document) for row, document in same_car}
    held, deltas, cars = list[tuple[CheckRow, SavedCheck, bool]](), list[Array](), list[Array]()
    rng = np.random.default_rng(SEED)
    for row, document in list(newest.values())[-MOST_COMPARED:]:
        for card, gave_verdict, drawn in _drawn(document, rng):
            held.append((row, card, gave_verdict))
            cars.append(np.array(card.vehicle_lab))
            deltas.append(drawn)
    if len(held) < 2:
        return None
    vehicle = np.mean(cars, axis=0)
    distance = np.array([delta_e00(vehicle + drawn, np.broadcast_to(vehicle, drawn.shape)) for drawn in deltas])
    chances = chances_of(distance)
    best = int(np.argmax(chances))
    rivals = tuple(
        place
        for place in range(len(held))
        if place != best and float(np.mean(distance[best] < distance[place])) < told_apart
    )
    cards = tuple(
        HeldCard(
            row.id,
            row.created_at,
            card.card_name,
            chance,
            card.delta_lab,
            card.card_lab,
            card.verdict.value,
            card.delta_e00,
            card.interval,
            gave_verdict,
        )
        for (row, card, gave_verdict), chance in zip(held, chances, strict=True)
    )
    return Standing(cards, best, rivals, other_cars, triple(vehicle))


def _of_the_latest_car(
    kept: Sequence[tuple[CheckRow, object]],
) -> tuple[list[tuple[CheckRow, object]], int]:
    """Return the checks that do not name another car than the latest that names one, and how many do."""
    named = [row.job for row, _ in kept if row.job]
    if not named:
        return list(kept), 0
    chosen = [pair for pair in kept if pair[0].job in (None, named[-1])]
    return chosen, len(kept) - len(chosen)


def _drawn(document: object, rng: np.random.Generator) -> list[tuple[SavedCheck, bool, Array]]:
    """Return every card in a check's document, whether the verdict is its own, and card minus car drawn (worlds, 3)."""
    try:
        check = read_saved(document, "this check")
        cards = [of_card(check, card.name) for card in check.cards if card.chance_nearest is not None] or [check]
    except SavedCheckError:
        return []
    if not check.figures_hold:
        return []
    mean = np.concatenate([card.delta_lab for card in cards])
    root = psd_root(_covariance(cards, check.document.get("comparison")))
    drawn = mean + rng.standard_normal((WORLDS, len(mean))) @ root.T
    return [
        (card, card.card_name == check.card_name, drawn[:, 3 * place : 3 * place + 3])
        for place, card in enumerate(cards)
    ]


def _covariance(cards: Sequence[SavedCheck], comparison: object) -> Array:
    """Return the covariance (3 cards, 3 cards) of the cards' differences; what is not kept is taken as not shared."""
    whole = np.zeros((3 * len(cards), 3 * len(cards)))
    for place, card in enumerate(cards):
        own = slice(3 * place, 3 * place + 3)
        whole[own, own] = card.delta_lab_covariance
    places = {card.card_name: place for place, card in enumerate(cards)}
    pairs = comparison.get("pairs", ()) if isinstance(comparison, Mapping) else ()
    for pair in pairs:
        first, second = (places.get(name) for name in pair["cards"])
        if first is not None and second is not None:
            cross = np.array(pair["cross_covariance"], dtype=float)
            whole[3 * first : 3 * first + 3, 3 * second : 3 * second + 3] = cross
            whole[3 * second : 3 * second + 3, 3 * first : 3 * first + 3] = cross.T
    return whole
