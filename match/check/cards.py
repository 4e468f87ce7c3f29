"""Several cards in one photo: each judged against the car, and the nearest of them where the photo can tell it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Self

from match import calibration as files
from match.calibration import quantity
from match.check.calibration_files import Calibration
from match.check.check import Planner, judge
from match.check.result import CheckResult
from match.check.settings import CheckSettings
from match.check.verdict import chance_words
from match.measure.measurement import Measurement
from match.measure.nearest import CardPair, CardReading, Nearest, best_of_several, compare, distances
from match.photo.regions import Region, card_named, cards_in
from match.record import plain
from match.words import capital, listed


@dataclass(frozen=True)
class ComparingRules:
    """Table ``comparing`` of ``calibration/cards.toml``."""

    told_apart: float = quantity("probability")


def load_comparing_rules() -> ComparingRules:
    """Read the rules, the user's own copy first."""
    return files.load(ComparingRules, "cards", "comparing")


@dataclass(frozen=True)
class CheckedCard:
    """One card of several: its mark, its own verdict, and the chance that it is the nearest to the car.

    ``chance_nearest`` is None where the photo is at fault at this card, which is then compared with no other.
    """

    region: Region
    result: CheckResult
    chance_nearest: float | None

    @property
    def name(self) -> str:
        """What a person calls the card."""
        return self.region.label

    @property
    def sentence(self) -> str:
        """The card against the car."""
        m = self.result.measurement
        if self.chance_nearest is None:
            return f"{capital(self.name)}: the photo is at fault here, so it is compared with no other card."
        low, high = m.interval
        return (
            f"{capital(self.name)}: {m.delta_e00:.1f} CIEDE2000, 95 % sure between {low:.1f} and {high:.1f}; "
            f"{self.result.direction}."
        )


@dataclass(frozen=True)
class CardsAnswer:
    """What one photo says of several cards, in the order in which they lie in it.

    ``compared`` are the places of those that could be compared, and ``nearest`` what came of it, by places among them;
    ``front`` is the place of the card whose verdict stands, ``chosen`` whether a person named it.
    """

    cards: tuple[CheckedCard, ...]
    compared: tuple[int, ...]
    nearest: Nearest | None
    front: int
    chosen: bool
    rules: ComparingRules

    @property
    def front_card(self) -> CheckedCard:
        """The card whose verdict stands."""
        return self.cards[self.front]

    @property
    def likeliest(self) -> CheckedCard | None:
        """The card that is the nearest in most worlds; None where none could be compared."""
        return self.cards[self.compared[self.nearest.likeliest]] if self.nearest else None

    @property
    def rivals(self) -> tuple[CheckedCard, ...]:
        """The cards that cannot be told apart from the likeliest, in the order of the photo."""
        if self.nearest is None:
            return ()
        best = self.nearest.likeliest
        return tuple(
            self.cards[place]
            for index, place in enumerate(self.compared)
            if index != best and self.nearest.nearer(best, index) < self.rules.told_apart
        )

    def judged_anew(self, results: Sequence[CheckResult]) -> Self:
        """Return the answer with other results of the same cards, in their order."""
        pairs = zip(self.cards, results, strict=True)
        return replace(self, cards=tuple(replace(card, result=result) for card, result in pairs))

    @property
    def sentences(self) -> tuple[str, ...]:
        """Which card is the nearest, or which cannot be told apart, in plain words."""
        best = self.likeliest
        if best is None:
            return ("No card of this photo could be measured, so none is called the nearest.",)
        return (*_of_nearest(best, self.rivals, len(self.compared)), *self._of_the_front(best))

    def _of_the_front(self, best: CheckedCard) -> tuple[str, ...]:
        front = self.front_card
        if not self.chosen:
            return (f"The verdict is that of {front.name}.",)
        other = "" if front is best else f", which you chose; {best.name} reads nearer"
        return (f"The verdict is that of {front.name}{other}.",)

    def as_list(self) -> list[dict[str, Any]]:
        """Return every card for JSON, each with the keys of a check."""
        return [
            {
                "name": card.name,
                "chance_nearest": None if card.chance_nearest is None else round(card.chance_nearest, 4),
                **card.result.as_dict(),
            }
            for card in self.cards
        ]

    def comparison(self) -> dict[str, Any]:
        """Return for JSON how the cards compare with one another."""
        best, pairs = self.likeliest, self.nearest.pairs if self.nearest else ()
        found: dict[str, Any] = plain(
            {
                "nearest": best.name if best else None,
                "not_told_apart": [card.name for card in self.rivals],
                "sentences": list(self.sentences),
                "pairs": [self._pair(pair) for pair in pairs],
            }
        )
        return found

    def _pair(self, pair: CardPair) -> dict[str, Any]:
        sure = max(pair.first_nearer, 1.0 - pair.first_nearer)
        return {
            "cards": [self.cards[self.compared[place]].name for place in (pair.first, pair.second)],
            "chance_first_nearer": round(pair.first_nearer, 4),
            "told_apart": sure >= self.rules.told_apart,
            "delta_e00": round(pair.delta_e00, 4),
            "delta_e00_interval": [round(end, 4) for end in pair.interval],
            "cross_covariance": [[round(float(value), 4) for value in row] for row in pair.cross_covariance],
        }


def judge_cards(
    measured: Mapping[Region, Measurement],
    settings: CheckSettings,
    calibration: Calibration,
    rules: ComparingRules,
    chosen: str = "",
    planner: Planner | None = None,
    notes: tuple[str, ...] = (),
) -> CardsAnswer:
    """Decide on every card of one photo.

    Raises :class:`match.errors.RegionError` when no card has the chosen name.

    Parameters
    ----------
    measured : each card's mark and what :func:`match.check.measuring.measure_photo_cards` made of it
    settings, calibration, planner, notes : as for :func:`match.check.check.judge`
    rules : :func:`load_comparing_rules`
    chosen : the name of the card whose verdict is wanted; the nearest one's where empty
    """
    regions = cards_in(tuple(measured))
    results = [judge(measured[region], settings, calibration, planner, notes) for region in regions]
    readings = [measured[region] for region in regions]
    answer = cards_answer(regions, results, readings, rules, chosen)
    if answer.nearest is None or len(answer.compared) < 2:
        return answer
    # Whoever chooses has seen which reads nearest: to choose that one by its name takes nothing of its luck away.
    nearest = answer.compared[answer.nearest.likeliest]
    lucky = _lucky(readings[nearest], [readings[place] for place in answer.compared])
    results[nearest] = judge(lucky, settings, calibration, planner, notes)
    return answer.judged_anew(results)


def _lucky(nearest: Measurement, compared: Sequence[Measurement]) -> Measurement:
    """Return the measurement of the card that reads nearest, its luck counted."""
    confidence = best_of_several(nearest.confidence, distances(compared))
    return replace(nearest, confidence=confidence, interval=confidence.interval(0.95))


def cards_answer(
    regions: Sequence[Region],
    results: Sequence[CheckResult],
    readings: Sequence[CardReading],
    rules: ComparingRules,
    chosen: str = "",
) -> CardsAnswer:
    """Compare judged cards, all in one order; raises as :func:`judge_cards` does.

    ``readings`` are what they are compared by: drawn in the same worlds where they are of one photo.
    """
    compared = tuple(place for place, result in enumerate(results) if result.figures_hold)
    nearest = compare([readings[place] for place in compared]) if compared else None
    likeliest = compared[nearest.likeliest] if nearest else 0
    front = list(regions).index(card_named(regions, chosen)) if chosen else likeliest
    return CardsAnswer(
        _checked(regions, results, compared, nearest),
        compared,
        nearest,
        front,
        bool(chosen),
        rules,
    )


def _checked(
    regions: Sequence[Region], results: Sequence[CheckResult], compared: tuple[int, ...], nearest: Nearest | None
) -> tuple[CheckedCard, ...]:
    chances = dict(zip(compared, nearest.chances if nearest else (), strict=True))
    return tuple(
        CheckedCard(region, result, chances.get(place))
        for place, (region, result) in enumerate(zip(regions, results, strict=True))
    )


def _of_nearest(best: CheckedCard, rivals: Sequence[CheckedCard], compared: int) -> tuple[str, ...]:
    if compared == 1:
        return (f"Only {best.name} could be measured, so no cards are compared.",)
    chance = chance_words(best.chance_nearest or 0.0)
    if not rivals:
        return (f"{capital(best.name)} is the nearest to the car; the chance that it is, {chance}.",)
    near = listed([card.name for card in (best, *rivals)])
    chances = listed([f"{card.name} {chance_words(card.chance_nearest or 0.0)}" for card in (best, *rivals)])
    either = "either" if len(rivals) == 1 else "any of them"
    return (
        f"{capital(near)} cannot be told apart here: {either} may be the nearest to the car "
        f"(the chance of each: {chances}).",
    )
