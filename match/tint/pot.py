"""What is in the pot: untinted paint, the toners added so far, and the log of steps and cards."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from match.errors import TintError
from match.record import Record
from match.tint.card import CardColour


@dataclass(frozen=True)
class Pot(Record):
    """A well stirred pot.

    Attributes
    ----------
    paint_g : all paint in it now, g
    base_share : share by weight that is the untinted mix
    toner_shares : share by weight of each toner added on top of the mix
    """

    paint_g: float
    base_share: float = 1.0
    toner_shares: Mapping[str, float] = field(default_factory=dict)

    @property
    def parts_of_base(self) -> dict[str, float]:
        """Return each added toner in grams per gram of untinted paint, which is what decides the colour."""
        if self.base_share <= 0:
            raise TintError("this pot is a fresh mix: its formula must be known to go on from it")
        return {name: share / self.base_share for name, share in self.toner_shares.items()}

    def shares(self, formula: Mapping[str, float], toner_share: float = 1.0) -> dict[str, float]:
        """Return the share by weight of every toner in the pot, the untinted mix's own by its ``formula`` in parts."""
        total = sum(formula.values())
        held = {name: self.base_share * toner_share * parts / total for name, parts in formula.items()}
        for name, share in self.toner_shares.items():
            held[name] = held.get(name, 0.0) + share
        return held

    @property
    def added_share(self) -> float:
        """Return the share of the pot that is added toner."""
        return sum(self.toner_shares.values())

    @property
    def contents_g(self) -> dict[str, float]:
        """Return grams of untinted paint (under "untinted paint") and of each added toner."""
        contents = {name: share * self.paint_g for name, share in self.toner_shares.items()}
        untinted = {"untinted paint": self.base_share * self.paint_g} if self.base_share > 0 else {}
        return {**untinted, **contents}


def fresh_pot(paint_g: float) -> Pot:
    """Return a pot of untinted paint."""
    if not (np.isfinite(paint_g) and paint_g > 0):
        raise TintError(f"the pot holds {paint_g!r} g: weigh it and give a number above zero")
    return Pot(float(paint_g))


def mixed_pot(mix_g: Mapping[str, float], binder_g: float = 0.0) -> Pot:
    """Return a fresh can of toners weighed in grams, with clear binder if the toners are not the whole paint."""
    if not all(np.isfinite(g) and g >= 0 for g in (*mix_g.values(), binder_g)):
        raise TintError("a mix is grams not below zero: correct the pour list")
    total = fresh_pot(sum(mix_g.values()) + binder_g).paint_g
    return Pot(total, 0.0, {name: g / total for name, g in mix_g.items()})


def add(pot: Pot, additions_g: Mapping[str, float], untinted_g: float = 0.0, paint_g: float | None = None) -> Pot:
    """Return the pot after stirring in toners and untinted paint.

    Parameters
    ----------
    additions_g : grams of each toner, >= 0
    untinted_g : grams of untinted paint of the same mix, >= 0
    paint_g : paint in the pot just before, when some was used for cards; what the pot says when not given
    """
    amounts = [*additions_g.values(), untinted_g]
    if not all(np.isfinite(amount) and amount >= 0 for amount in amounts):
        raise TintError("additions are grams not below zero: toner cannot be taken out; thin it with untinted paint")
    before = fresh_pot(pot.paint_g if paint_g is None else paint_g).paint_g
    if sum(additions_g.values()) > before:
        raise TintError(
            f"more toner than paint was added to a pot of {before:g} g: check the weights, they are in grams"
        )
    after = before + sum(amounts)
    names = dict.fromkeys([*pot.toner_shares, *additions_g])
    toners = {n: (pot.toner_shares.get(n, 0.0) * before + additions_g.get(n, 0.0)) / after for n in names}
    return Pot(after, (pot.base_share * before + untinted_g) / after, toners)


@dataclass(frozen=True)
class TintStep(Record):
    """One addition and, when it was sprayed and measured, the card that followed.

    Attributes
    ----------
    additions_g : grams of each toner
    untinted_g : grams of untinted paint added
    paint_g : paint in the pot just before, g; what the log says when not given
    after : the card sprayed afterwards, or nothing yet
    mix_g : grams of each toner of a fresh can that took the pot's place; then nothing was added
    binder_g : clear binder in that can
    """

    additions_g: Mapping[str, float]
    untinted_g: float = 0.0
    paint_g: float | None = None
    after: CardColour | None = None
    mix_g: Mapping[str, float] | None = None
    binder_g: float = 0.0


@dataclass(frozen=True)
class TintLog(Record):
    """A pot's story: how much untinted paint, its card, and every step since."""

    start_g: float
    start: CardColour
    steps: tuple[TintStep, ...] = ()

    def pots(self) -> tuple[Pot, ...]:
        """Return the pot at the start and after each step."""
        pots = [fresh_pot(self.start_g)]
        for step in self.steps:
            fresh = None if step.mix_g is None else mixed_pot(step.mix_g, step.binder_g)
            pots.append(fresh or add(pots[-1], step.additions_g, step.untinted_g, step.paint_g))
        return tuple(pots)

    def cards(self) -> tuple[tuple[Pot, CardColour], ...]:
        """Return every measured card with the pot it was sprayed from, the start's first."""
        pots = self.pots()
        later = [(pot, step.after) for pot, step in zip(pots[1:], self.steps, strict=True) if step.after is not None]
        return ((pots[0], self.start), *later)

    def cards_with_added(self) -> dict[str, int]:
        """Return how many cards held each toner that was added or weighed, beyond the untinted mix's own."""
        held: dict[str, int] = {}
        for pot, _ in self.cards():
            for name, share in pot.toner_shares.items():
                held[name] = held.get(name, 0) + (share > 0)
        return held

    def running_total_g(self) -> dict[str, float]:
        """Return grams of each toner, and of untinted paint, poured into this can since its start."""
        cans = [number for number, step in enumerate(self.steps) if step.mix_g is not None]
        since = self.steps[cans[-1] + 1 :] if cans else self.steps
        can = dict(self.steps[cans[-1]].mix_g or {}) if cans else {}
        names = dict.fromkeys([*can, *(name for step in since for name in step.additions_g)])
        total = {n: can.get(n, 0.0) + sum(step.additions_g.get(n, 0.0) for step in since) for n in names}
        untinted = sum(step.untinted_g for step in since) + (0.0 if cans else self.start_g)
        return {"untinted paint": untinted, **total} if untinted > 0 else total
