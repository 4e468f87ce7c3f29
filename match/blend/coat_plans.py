"""Coat plans a painter can follow, and the fade each one really leaves.

A plan is a gun set-up, enough equal coats to cover the primer, each reaching a little further than the one before, and
perhaps one more coat reduced further. Reaches are counted in parts of a hand width. Every combination is simulated;
the plan for a side is then a choice among them.
"""

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
from match.colorimetry import Array

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
    coats : the coats of each plan, in order of spraying, as far as they reach beyond the first (:meth:`coats_of`)
    first_reach_mm : how far from the repair's edge the first coat of each plan reaches (c,)
    new_share : share of the new colour that shows, 0..1 (c, x), falling
    straight_mm : width of the straight change as steep as the steepest place up to x (c, x)
    full_share : the share of the new colour that counts as full: all but a trace, or all that covering coats can give
    staggered : whether each coat reaches further than the one before (c,)
    full_inside_mm : from here inwards every coat is at its full film (c,), negative inside the repair
    fade_end_mm : where the new colour is down to a trace (c,)
    """

    x_mm: Array
    coats: tuple[tuple[Coat, ...], ...]
    first_reach_mm: Array
    new_share: Array
    straight_mm: Array
    full_share: float
    staggered: NDArray[np.bool_]
    full_inside_mm: Array
    fade_end_mm: Array

    def coats_of(self, plan: int) -> tuple[Coat, ...]:
        """Return the coats of one plan, in order of spraying."""
        first = float(self.first_reach_mm[plan])
        return tuple(replace(coat, reach_mm=coat.reach_mm + first) for coat in self.coats[plan])

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
    trace = hiding.last_trace
    covering = (1.0 - trace) * coats_to_cover
    # light paint hides a black and white chart well before it hides a near colour: covered is then what the coats give
    covered = max(trace, float(old_share(covering, exponent, coats_to_cover)))
    tried = _candidates(coats_to_cover, gun, fade, orientation_film)
    at_strip = fade.covered_strip - tried.first_reaches_mm
    old_at_strip = _between(tried.grid, at_strip, tried.film, lambda film: old_share(film, exponent, coats_to_cover))
    enough = (tried.film_at_repair >= covering) & (old_at_strip <= covered + FLAT)
    kept = np.flatnonzero(enough.any(axis=1) & (tried.spread_mm >= least_spread_mm))
    first_mm = tried.first_reaches_mm[np.argmax(enough[kept], axis=1)]
    places = round(FURTHEST_MM / STEP_MM)
    starts = np.rint((INWARDS_MM - first_mm) / STEP_MM).astype(int)
    film = np.array([tried.film[plan, start : start + places] for plan, start in zip(kept, starts, strict=True)])
    share = 1.0 - old_share(film, exponent, coats_to_cover)
    ends = share[:, -1] <= trace  # others are longer than any panel
    kept, first_mm, share = kept[ends], first_mm[ends], share[ends]
    x: Array = np.arange(places, dtype=np.float64) * STEP_MM
    steepest = np.maximum.accumulate(-np.gradient(share, x, axis=1), axis=1)
    return FadeLibrary(
        x_mm=x,
        coats=tuple(tried.coats[plan] for plan in kept),
        first_reach_mm=first_mm,
        new_share=share,
        straight_mm=np.divide(1.0, steepest, out=np.full_like(share, np.inf), where=steepest > FLAT),
        full_share=1.0 - covered - FLAT,
        staggered=tried.staggered[kept],
        full_inside_mm=tried.full_inside_mm[kept] + first_mm,
        fade_end_mm=_last_place(x, share > trace),
    )


@dataclass(frozen=True)
class _Tried:
    """Every combination of coats, the first reaching to 0, and their film; c plans, g places, r reaches.

    None of it depends on the paint's colour. ``spread_mm`` is how much further than the first coat the last reaches;
    ``film_at_repair`` the film at the repair's edge were the first coat to reach to each of ``first_reaches_mm``.
    """

    grid: Array
    coats: tuple[tuple[Coat, ...], ...]
    film: Array
    first_reaches_mm: Array
    film_at_repair: Array
    spread_mm: Array
    staggered: NDArray[np.bool_]
    full_inside_mm: Array


@lru_cache(maxsize=4)
def _candidates(coats_to_cover: float, gun: Gun, fade: FadePractice, orientation_film: float) -> _Tried:
    """Return what is tried with one gun; kept for the last few, since the next card's colour needs the same."""
    grid = np.arange(-INWARDS_MM, FURTHEST_MM + INWARDS_MM + STEP_MM / 2, STEP_MM)
    plans, films = [], []
    for ease in fade.trigger_eases:
        one_coat = _shifted_coat(grid, gun, ease * fade.hand_width, fade.fan_in_sigmas)
        for coats in _reaches(coats_in_all(coats_to_cover, gun), gun.coat_film, ease * fade.hand_width, fade):
            if orientation_film > 0.0:
                coats = (*coats, Coat(coats[-1].reach_mm, coats[-1].ease_mm, orientation_film, orientation=True))
            plans.append(coats)
            films.append(np.sum([coat.film * one_coat(coat.reach_mm) for coat in coats], axis=0))
    film, reaches = np.array(films), np.arange(0.0, INWARDS_MM + 1e-9, fade.reach_grid * fade.hand_width)
    return _Tried(
        grid=grid,
        coats=tuple(plans),
        film=film,
        first_reaches_mm=reaches,
        film_at_repair=_between(grid, -reaches, film),
        spread_mm=np.array([coats[-1].reach_mm - coats[0].reach_mm for coats in plans]),
        staggered=np.array([_staggered(coats) for coats in plans]),
        full_inside_mm=np.array([min(coat.reach_mm - coat.ease_mm for coat in coats) for coats in plans]),
    )


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


def _between(grid: Array, at: Array, film: Array, of: Callable[[Array], Array] = np.asarray) -> Array:
    """Return a function of the film (c, g) at each ``at`` (c, r), in straight lines from place to place of the grid."""
    before = np.clip(np.searchsorted(grid, at, side="right") - 1, 0, len(grid) - 2)
    here, beyond = of(film[:, before]), of(film[:, before + 1])
    return np.asarray(here + (at - grid[before]) / (grid[before + 1] - grid[before]) * (beyond - here))


def _staggered(coats: tuple[Coat, ...]) -> bool:
    reaches = [coat.reach_mm for coat in coats if not coat.orientation]
    return all(further > near for near, further in pairwise(reaches))


def _last_place(x: Array, inside: NDArray[np.bool_]) -> Array:
    """Return the last place (c,) of a run that starts at the repair."""
    return np.asarray(x[np.maximum(np.argmin(inside, axis=1) - 1, 0)])
