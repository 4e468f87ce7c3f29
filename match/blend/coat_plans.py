"""Coat plans a painter can follow, and the fade each one really leaves.

A plan is a gun set-up, enough equal coats to cover the primer, each reaching a little further than the one before, and
perhaps one more coat reduced further. Reaches are counted in parts of a hand width. Every combination is simulated;
the plan for a side is then a choice among them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from match.blend.film import Coat, Gun, Hiding, coat_film, old_share
from match.blend.paint import EffectPractice
from match.blend.undercoat import CoverPractice
from match.calibration import quantity

Array = NDArray[np.float64]

STEP_MM = 5.0
"""Grid along the panel; the narrowest fan's bell has a standard deviation of several steps."""
FURTHEST_MM = 3000.0
FLAT = 1e-9
"""Slopes below this, a share a mm, are none; and shares this close are equal."""
INWARDS_MM = 1600.0
"""How far the first coat may have to reach so that easing off still leaves the repair covered."""


@dataclass(frozen=True)
class FadePractice:
    """Table ``fade`` of ``practice.toml``."""

    fan_in_sigmas: float = quantity("standard deviations")
    covered_strip: float = quantity("mm")
    hand_width: float = quantity("mm")
    reach_grid: float = quantity("hand widths")
    coat_steps: tuple[float, ...] = quantity("hand widths")
    last_coat_steps: tuple[float, ...] = quantity("hand widths")
    trigger_eases: tuple[float, ...] = quantity("hand widths")
    last_coat_reduction: float = quantity("share")
    sureness: float = quantity("share")


@dataclass(frozen=True)
class BlendPractice:
    """What the trade does when it blends, from ``practice.toml``."""

    hiding: Hiding
    guns: dict[str, Gun]
    fade: FadePractice
    effect: EffectPractice
    cover: CoverPractice


@dataclass(frozen=True)
class FadeLibrary:
    """Every coat plan tried with one gun set-up, and the fade it leaves; c plans, x places.

    Attributes
    ----------
    x_mm : places from the repair's edge outwards (x,)
    coats : the coats of each plan, in order of spraying
    new_share : share of the new colour that shows, 0..1 (c, x), falling
    straight_mm : width of the straight change as steep as the steepest place up to x (c, x)
    full_share : the share of the new colour that counts as full: all but a trace, or all that covering coats can give
    staggered : whether each coat reaches further than the one before (c,)
    full_inside_mm : from here inwards every coat is at its full film (c,), negative inside the repair
    fade_end_mm : where the new colour is down to a trace (c,)
    """

    x_mm: Array
    coats: tuple[tuple[Coat, ...], ...]
    new_share: Array
    straight_mm: Array
    full_share: float
    staggered: NDArray[np.bool_]
    full_inside_mm: Array
    fade_end_mm: Array

    def place(self, at_mm: float) -> int:
        """Return the index of the last place at or before ``at_mm``."""
        return int(np.clip(np.searchsorted(self.x_mm, at_mm + 1e-9, side="right") - 1, 0, len(self.x_mm) - 1))

    def least_reach_mm(self, straight_mm: Array) -> Array:
        """Return how far (...) the paint must reach for a fade at least this straight width; infinite if none does."""
        widths = self.straight_mm[:, -1]
        order = np.argsort(widths)
        least_from = np.minimum.accumulate(self.fade_end_mm[order][::-1])[::-1]
        least = np.append(least_from, np.inf)
        return np.asarray(least[np.searchsorted(widths[order], straight_mm, side="left")])


@lru_cache(maxsize=16)
def fade_library(
    exponent: float,
    coats_to_cover: float,
    gun: Gun,
    hiding: Hiding,
    fade: FadePractice,
    orientation_film: float = 0.0,
    least_spread_mm: float = 0.0,
) -> FadeLibrary:
    """Simulate every coat plan of one gun for a paint that hides a chart after ``coats_to_cover`` with this exponent.

    ``orientation_film`` is the film of the light last coat that lays flake evenly, in covering coats; 0 for none.
    ``least_spread_mm`` is how much further than the first coat the furthest must reach, so that mid-coats fit between.
    Kept for the last few paints, since a plan is drawn again at every change of the rooms around the repair.
    """
    grid = np.arange(-INWARDS_MM, FURTHEST_MM + INWARDS_MM + STEP_MM / 2, STEP_MM)
    trace = hiding.last_trace
    # light paint hides a black and white chart well before it hides a near colour: covered is then what the coats give
    covered = max(trace, float(old_share((1.0 - trace) * coats_to_cover, exponent, coats_to_cover)))
    plans, rows = [], []
    for coats, film in _candidates(grid, coats_to_cover, gun, fade, orientation_film):
        if coats[-1].reach_mm - coats[0].reach_mm < least_spread_mm:
            continue
        old = old_share(film, exponent, coats_to_cover)
        first_reach = _first_reach_mm(grid, film, (1.0 - trace) * coats_to_cover, covered, old, fade)
        if first_reach is None:
            continue
        start = round((INWARDS_MM - first_reach) / STEP_MM)
        row = 1.0 - old[start : start + round(FURTHEST_MM / STEP_MM)]
        if row[-1] > trace:  # longer than any panel
            continue
        rows.append(row)
        plans.append(tuple(replace(c, reach_mm=c.reach_mm + first_reach) for c in coats))
    x: Array = np.arange(len(rows[0]), dtype=np.float64) * STEP_MM
    share = np.array(rows)
    steepest = np.maximum.accumulate(-np.gradient(share, x, axis=1), axis=1)
    return FadeLibrary(
        x_mm=x,
        coats=tuple(plans),
        new_share=share,
        straight_mm=np.divide(1.0, steepest, out=np.full_like(share, np.inf), where=steepest > FLAT),
        full_share=1.0 - covered - FLAT,
        staggered=np.array([_staggered(coats) for coats in plans]),
        full_inside_mm=np.array([min(coat.reach_mm - coat.ease_mm for coat in coats) for coats in plans]),
        fade_end_mm=_last_place(x, share > trace),
    )


def _candidates(
    grid: Array, coats_to_cover: float, gun: Gun, fade: FadePractice, orientation_film: float
) -> Iterator[tuple[tuple[Coat, ...], Array]]:
    """Yield (coats, film along the grid) with the first coat reaching to 0."""
    for ease in fade.trigger_eases:
        one_coat = _shifted_coat(grid, gun, ease * fade.hand_width, fade.fan_in_sigmas)
        for coats in _reaches(coats_in_all(coats_to_cover, gun), gun.coat_film, ease * fade.hand_width, fade):
            if orientation_film > 0.0:
                coats = (*coats, Coat(coats[-1].reach_mm, coats[-1].ease_mm, orientation_film, orientation=True))
            yield coats, np.sum([coat.film * one_coat(coat.reach_mm) for coat in coats], axis=0)


def coats_in_all(coats_to_cover: float, gun: Gun) -> int:
    """Return how many coats of a set-up make the film that covers."""
    return int(np.ceil(coats_to_cover / gun.coat_film - 1e-9))


def _reaches(count: int, film: float, ease_mm: float, fade: FadePractice) -> Iterator[tuple[Coat, ...]]:
    thin = film / (1.0 + fade.last_coat_reduction)
    for step in fade.coat_steps:
        covering = tuple(Coat(k * step * fade.hand_width, ease_mm, film) for k in range(count))
        yield covering
        for beyond in fade.last_coat_steps:
            reach = covering[-1].reach_mm + beyond * fade.hand_width
            yield (*covering, Coat(reach, ease_mm, thin, reduced=True))


def _shifted_coat(grid: Array, gun: Gun, ease_mm: float, fan_in_sigmas: float) -> Callable[[float], Array]:
    """Return one coat's film along a grid for any reach that is a whole number of grid steps, computed once."""
    count = len(grid)
    longest = grid[0] + STEP_MM * np.arange(-count - 1, count)
    film = coat_film(longest, 0.0, ease_mm, gun.fan_width / fan_in_sigmas, gun.spacing_mm)

    def one_coat(reach_mm: float) -> Array:
        start = count + 1 - round(reach_mm / STEP_MM)
        return film[start : start + count]

    return one_coat


def _first_reach_mm(
    grid: Array, film: Array, covering_film: float, covered: float, old: Array, fade: FadePractice
) -> float | None:
    """Return the least reach of the first coat, in whole reach steps, that covers repair and strip."""
    reaches = np.arange(0.0, INWARDS_MM + 1e-9, fade.reach_grid * fade.hand_width)
    at_repair = np.interp(-reaches, grid, film)
    old_at_strip = np.interp(fade.covered_strip - reaches, grid, old)
    enough = (at_repair >= covering_film) & (old_at_strip <= covered + FLAT)
    return float(reaches[np.argmax(enough)]) if enough.any() else None


def _staggered(coats: tuple[Coat, ...]) -> bool:
    reaches = [coat.reach_mm for coat in coats if not coat.orientation]
    return all(further > near for near, further in pairwise(reaches))


def _last_place(x: Array, inside: NDArray[np.bool_]) -> Array:
    """Return the last place (c,) of a run that starts at the repair."""
    return np.asarray(x[np.maximum(np.argmin(inside, axis=1) - 1, 0)])
