"""One pot's story: the car, the first card, what was added, and the card after each addition; kept as JSON.

Every card is held as its difference from the car *in its own photo*, because the errors of one photo's light and camera
largely cancel in that difference; the first photo says where the car itself lies.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Self

import numpy as np

from match.calibration import quantity
from match.colorimetry import Array, delta_e00, is_colour
from match.errors import TintError
from match.record import numbers, plain
from match.tint.card import CardColour, CheckedCard, sound_covariance
from match.tint.pigment import formula_toners
from match.tint.pot import Pot, TintLog, TintStep, fresh_pot
from match.tint.pour import NextMix
from match.tint.shelf_file import Shelf
from match.tint.tinting import TintJob

FORMAT = "tint-log 1"


@dataclass(frozen=True)
class PhotoLimits:
    """From when on two photos are asked whether they show the same car; ``calibration/tint.toml``, ``photos``."""

    car_differs: float = quantity("CIEDE2000")


@dataclass(frozen=True)
class PotPractice:
    """What the forms open with; ``calibration/tint.toml``, ``pot``."""

    test_pot_g: float = quantity("g")


@dataclass(frozen=True)
class Card:
    """One card of the story; ``used`` is whether it counts."""

    name: str
    delta_lab: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    used: bool = True


@dataclass(frozen=True)
class Step:
    """One addition in grams, the paint in the pot before it where it was weighed, and the card after, if sprayed.

    ``mix_g`` is instead a fresh can's pour list that took the pot's place, with ``binder_g`` of clear binder.
    """

    additions_g: Mapping[str, float]
    untinted_g: float = 0.0
    paint_g: float | None = None
    card: Card | None = None
    mix_g: Mapping[str, float] | None = None
    binder_g: float = 0.0


@dataclass(frozen=True)
class Mix:
    """What is known of the mix and the shelf: formula in parts, its share of toner, and what may be added."""

    formula: Mapping[str, float] | None = None
    toner_share: float = 1.0
    allowed: tuple[str, ...] | None = None


@dataclass(frozen=True)
class Story:
    """One pot from its first card on."""

    vehicle_lab: tuple[float, ...]
    goal: float
    pot_g: float
    start: Card
    steps: tuple[Step, ...] = ()
    mix: Mix = field(default_factory=Mix)

    @property
    def waiting(self) -> bool:
        """Return whether the last addition has no card yet."""
        return bool(self.steps) and self.steps[-1].card is None

    @property
    def last_card(self) -> Card:
        """Return the newest card, counted or not."""
        return next((step.card for step in reversed(self.steps) if step.card), self.start)

    @property
    def pot(self) -> Pot:
        """Return the pot as it stands."""
        return TintLog(self.pot_g, _colour(self.start, self.vehicle_lab), _log_steps(self)).pots()[-1]

    def job(self, shelf: Shelf) -> TintJob:
        """Return the story as the advice's input; a card that does not count is left out, its addition is not."""
        if self.mix.formula is not None:
            formula_toners(shelf.toners, self.mix.formula)
        start = _colour(self.start, self.vehicle_lab)
        return TintJob(
            shelf.toners,
            shelf.optics,
            np.array(self.vehicle_lab),
            TintLog(self.pot_g, start, _log_steps(self)),
            self.mix.formula,
            self.mix.toner_share,
            self.mix.allowed or shelf.offered,
            shelf.own_sd,
        )

    def added(self, additions_g: Mapping[str, float], untinted_g: float = 0.0, paint_g: float | None = None) -> Self:
        """Return the story with an addition whose card is still to come."""
        if self.waiting:
            raise TintError("the last addition has no card yet: spray one and check it before adding more")
        used = {name: float(grams) for name, grams in additions_g.items() if grams != 0}
        if not used and untinted_g == 0:
            raise TintError("nothing was added: give the grams of at least one toner")
        following = replace(self, steps=(*self.steps, Step(used, float(untinted_g), paint_g)))
        _ = following.pot  # refuses amounts that cannot be
        return following

    def mixed(self, mix: NextMix) -> Self:
        """Return the story with the next mix poured, whose card is still to come."""
        if mix.on_top:
            return self.added(mix.grams)
        if self.waiting:
            raise TintError("the last addition has no card yet: spray one and check it before mixing anew")
        following = replace(self, steps=(*self.steps, Step({}, mix_g=mix.grams, binder_g=mix.binder_g)))
        _ = following.pot  # refuses a mix that cannot be
        return following

    def sprayed(self, checked: CheckedCard) -> Self:
        """Return the story with the card after the last addition, or one more card of the same pot."""
        card = card_of(checked)
        if self.waiting:
            return replace(self, steps=(*self.steps[:-1], replace(self.steps[-1], card=card)))
        return replace(self, steps=(*self.steps, Step({}, card=card)))

    def counted(self, number: int, used: bool) -> Self:
        """Return the story with the card after step ``number`` (from 0) counted or left out."""
        steps = list(self.steps)
        card = steps[number].card
        if card is not None:
            steps[number] = replace(steps[number], card=replace(card, used=used))
        return replace(self, steps=tuple(steps))

    def undone(self) -> Self:
        """Return the story without its last step."""
        return replace(self, steps=self.steps[:-1])

    def as_dict(self) -> dict[str, Any]:
        """Return the story for JSON."""
        return {"format": FORMAT, **plain({name: getattr(self, name) for name in self.__dataclass_fields__})}

    def as_record(self) -> dict[str, Any]:
        """Return the story for a store that sorts names: toners as pairs, which stay in the order of pouring."""
        found = self.as_dict()
        found["mix"]["formula"] = _pairs(found["mix"]["formula"])
        for step in found["steps"]:
            step |= {name: _pairs(step[name]) for name in ("additions_g", "mix_g")}
        return found


def begin(checked: CheckedCard, pot_g: float, mix: Mix | None = None, goal: float | None = None) -> Story:
    """Return the story of a fresh pot from the check of its first card."""
    if not 0 < (mix or Mix()).toner_share <= 1:
        raise TintError("the share of toner in the paint must be above 0 and at most 100 %")
    pot_g = fresh_pot(pot_g).paint_g
    return Story(checked.vehicle_lab, goal or checked.goal, pot_g, card_of(checked), (), mix or Mix())


def card_of(checked: CheckedCard) -> Card:
    """Return a check as a card of a story."""
    return Card(checked.name, checked.delta_lab, checked.covariance)


def is_card(card: Card, checked: CheckedCard) -> bool:
    """Return whether a check is the one that a card was made from, up to the last digit of its JSON."""
    pairs = ((card.delta_lab, checked.delta_lab), (card.covariance, checked.covariance))
    return all(np.allclose(one, other, rtol=0.0, atol=1e-6) for one, other in pairs)


def story_from(saved: Any, name: str) -> Story:
    """Return a story from its parsed file, raising :class:`TintError` for anything else."""
    try:
        if saved["format"] != FORMAT:
            raise ValueError
        mix = saved["mix"]
        story = Story(
            _lab(saved["vehicle_lab"]),
            float(numbers(saved["goal"], ())),
            float(numbers(saved["pot_g"], ())),
            _saved_card(saved["start"]),
            tuple(_saved_step(step) for step in saved["steps"]),
            Mix(
                None if mix["formula"] is None else _amounts(mix["formula"]),
                float(numbers(mix["toner_share"], ())),
                None if mix["allowed"] is None else tuple(str(toner) for toner in mix["allowed"]),
            ),
        )
        _ = story.pot
    except TintError as error:
        raise TintError(f"{name} holds a tint log that cannot be: {error}", begins_with=name) from None
    except (KeyError, TypeError, ValueError, AttributeError):
        raise TintError(
            f"{name} is not a tint log: give a file written by the tint page or by `--log`", begins_with=name
        ) from None
    if any(step.card is None for step in story.steps[:-1]):
        raise TintError(
            f"{name} has an addition without a card before its last: it was not written by this program",
            begins_with=name,
        )
    return story


def car_warning(story: Story, checked: CheckedCard, limits: PhotoLimits) -> str | None:
    """Return a warning when the car in a new photo reads far from the story's car."""
    apart = float(delta_e00(np.array(story.vehicle_lab), np.array(checked.vehicle_lab)))
    if apart <= limits.car_differs:
        return None
    return (
        f"The car in {checked.name} reads {apart:.0f} CIEDE2000 away from the car in the first photo: make sure that "
        "it is the same car and panel, and that the grey is the same."
    )


def _colour(card: Card, vehicle_lab: tuple[float, ...]) -> CardColour:
    return CardColour(np.array(vehicle_lab) + np.array(card.delta_lab), np.array(card.covariance))


def _log_steps(story: Story) -> tuple[TintStep, ...]:
    return tuple(
        TintStep(
            step.additions_g,
            step.untinted_g,
            step.paint_g,
            _colour(step.card, story.vehicle_lab) if step.card is not None and step.card.used else None,
            step.mix_g,
            step.binder_g,
        )
        for step in story.steps
    )


def _saved_card(saved: Mapping[str, Any]) -> Card:
    covariance = sound_covariance(numbers(saved["covariance"], (3, 3)))
    rows = tuple(_tuple(row) for row in covariance)
    return Card(str(saved["name"]), _lab(saved["delta_lab"]), rows, bool(saved["used"]))


def _saved_step(saved: Mapping[str, Any]) -> Step:
    paint_g = saved["paint_g"]
    return Step(
        _amounts(saved["additions_g"]),
        float(numbers(saved["untinted_g"], ())),
        None if paint_g is None else float(numbers(paint_g, ())),
        None if saved["card"] is None else _saved_card(saved["card"]),
        None if saved.get("mix_g") is None else _amounts(saved["mix_g"]),
        float(numbers(saved.get("binder_g", 0.0), ())),
    )


def _amounts(saved: Mapping[str, Any] | Sequence[Any]) -> dict[str, float]:
    return {str(name): float(numbers(amount, ())) for name, amount in dict(saved).items()}


def _pairs(amounts: Mapping[str, float] | None) -> list[list[Any]] | None:
    return None if amounts is None else [[name, amount] for name, amount in amounts.items()]


def _lab(value: Any) -> tuple[float, ...]:
    """Return a colour, or the difference of two, in CIELAB."""
    if not is_colour(value):
        raise ValueError
    return _tuple(numbers(value, (3,)))


def _tuple(values: Array) -> tuple[float, ...]:
    return tuple(float(value) for value in values)
