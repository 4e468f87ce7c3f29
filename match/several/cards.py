"""Several cards in several photos: each card's photos judged together, and the nearest of them.

What the cards of one photo share is not followed through the averaging of several: every card is compared by draws of
its own, so two cards are sooner called not told apart than they need be, and the luck of the one that reads nearest is
counted as large as that of cards which share nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from match.check.cards import CardsAnswer, ComparingRules, cards_answer
from match.check.result import CheckResult
from match.check.settings import CheckSettings
from match.errors import EvidenceError
from match.measure.measurement import Measurement
from match.measure.nearest import best_of_several, distances
from match.photo.regions import Region, cards_in
from match.several.judge import Flake, SetAnswer, judge_set
from match.several.photo_set import MarkedPhoto, MeasuredPhoto
from match.several.rules import SeveralRules


def cards_of_set(photos: Sequence[MarkedPhoto]) -> tuple[str, ...]:
    """Return the names of the cards in a set's photos, in the order of the first photo; one nameless where it is one.

    Raises :class:`EvidenceError` when the photos do not all show the same cards.
    """
    names = [tuple(card.label for card in cards_in(photo.regions)) for photo in photos]
    if all(len(each) < 2 for each in names):
        return ("",)
    for photo, each in zip(photos, names, strict=True):
        if sorted(each) != sorted(names[0]):
            raise EvidenceError(
                f"{photo.name} does not show the same cards as {photos[0].name}: mark and name every card in each photo"
            )
    return names[0]


def judge_cards_of_set(
    photos: Mapping[str, Sequence[MeasuredPhoto]],
    settings: CheckSettings,
    rules: SeveralRules,
    comparing: ComparingRules,
    flake: Flake,
    chosen: str = "",
) -> tuple[CheckResult, SetAnswer, CardsAnswer]:
    """Judge every card by all its photos; ``photos`` are each card's, by its name, the same files in the same order.

    Returns
    -------
    Verdict and all behind it of the card at the front (the nearest, or the ``chosen`` one), and how the cards compare.
    """
    judged = {name: judge_set(each, settings, rules, flake) for name, each in photos.items()}
    marks: dict[str, Region] = {name: cards_in(each[0].regions)[0] for name, each in photos.items()}
    rng = np.random.default_rng(settings.seed)
    readings = [_in_worlds_of_its_own(result.measurement, rng) for result, _ in judged.values()]
    answer = cards_answer(
        tuple(marks.values()), tuple(result for result, _ in judged.values()), readings, comparing, chosen
    )
    best = answer.likeliest
    if best is not None and len(answer.compared) > 1:
        distance = distances([readings[place] for place in answer.compared])
        judged[best.name] = judge_set(
            photos[best.name], settings, rules, flake, partial(best_of_several, distance=distance)
        )
        answer = answer.judged_anew([result for result, _ in judged.values()])
    return (*judged[answer.front_card.name], answer)


def _in_worlds_of_its_own(measurement: Measurement, rng: np.random.Generator) -> Measurement:
    drawn = measurement.draws
    return replace(measurement, draws=drawn.taken(rng.permutation(len(drawn.card_lab))))
