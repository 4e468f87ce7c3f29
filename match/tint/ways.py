"""The two ways on from a card when the formula is known: the best addition and the best next mix.

Toners of the formula come first. Another is tried only where they leave something, and taken only where it gains what
its risk in other lights asks for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from match.tint.answer import NEXT_MIX, TINT, Expected
from match.tint.limits import TintLimits
from match.tint.mix_known import MixKnown
from match.tint.next_mix import JUDGE_DRAWS, SEARCH_DRAWS, Drawn, Freedom, best_units, draw
from match.tint.pigment import Floats
from match.tint.pour import BINDER, fresh_can, on_top_of
from match.tint.tinting import Wanted
from match.tint.units import round_to_scale
from match.tint.whole_mix import MixBelief, WholeMix, mix_jacobian, mix_lab, prior, whole_mix

SHORTLIST = 4  # toners outside the formula that are tried in full
MOST_OUTSIDE = 2
LEAST_UNIT = 0.002  # share by weight that counts as one unit of a toner of which there is little or none
PROBE = 1e-3  # share by weight, for the effect of a toner not in the mix
OTHER_MOVES, RIDGE = 5.0, 0.25  # CIEDE2000; and its square that a change by the whole of a toner must gain
EVEN = 0.5  # of the smallest weighable drop: from here on it is rounded up


@dataclass(frozen=True, eq=False)
class Place:
    """Where a job stands and what it aims at.

    Attributes
    ----------
    known : what model and cards say
    limits : what may be poured and what is worth doing
    W : (3, 3) CIELAB to CIEDE2000 about the car
    goal : CIEDE2000 at which tinting stops
    wanted : what the shop wants
    """

    known: MixKnown
    limits: TintLimits
    W: Floats
    goal: float
    wanted: Wanted

    @property
    def mix_g(self) -> float:
        """Return the amount of the next mix, g."""
        return self.wanted.mix_g or self.known.job.log.start_g

    @property
    def outside(self) -> tuple[str, ...]:
        """Return the toners that may be used and that no mix has held."""
        allowed = self.known.job.allowed or tuple(self.known.job.shelf)
        return tuple(name for name in allowed if name not in self.known.model.names)

    def allows(self, name: str) -> bool:
        """Return whether more of a toner may be poured; the formula's own stand in it anyway."""
        return self.known.job.allowed is None or name in self.known.job.allowed


@dataclass(frozen=True, eq=False)
class Believed:
    """The model with some toners from outside the formula, and draws of all that is not known about it."""

    model: WholeMix
    belief: MixBelief
    search: Drawn
    judge: Drawn
    mean: Drawn


@dataclass(frozen=True, eq=False)
class WayOn:
    """One way on.

    Attributes
    ----------
    action : "tint" or "next-mix"
    names, shares : toners and their shares by weight in the paint that results
    grams : poured, by toner, on the scale's steps, in their order
    untinted_g, binder_g : poured beside the toners
    on_top : whether it goes on top of what is in the pot
    total_g : paint in the pot or can afterwards
    full_g : grams that the most probable model asks for, by toner
    expected : CIEDE2000 from the car to expect
    closer : 0..1 that it brings the paint closer
    lab, covariance : the next card, spraying left out
    foreign : toners from outside the formula
    gain : CIEDE2000 that those are expected to gain
    nearest : CIEDE2000 from the car of the nearest that its toners can come, by the most probable model
    believed : the model it was found with
    """

    action: str
    names: tuple[str, ...]
    shares: Floats
    grams: dict[str, float]
    untinted_g: float
    binder_g: float
    on_top: bool
    total_g: float
    full_g: dict[str, float]
    expected: Expected
    closer: float
    lab: Floats
    covariance: Floats
    foreign: tuple[str, ...]
    gain: float
    nearest: float
    believed: Believed

    @property
    def poured_g(self) -> float:
        """Return the weight of all pours."""
        return sum(self.grams.values()) + self.untinted_g + self.binder_g


Finder = Callable[[Place, Believed, tuple[str, ...]], "WayOn | None"]


def believe(place: Place, foreign: tuple[str, ...] = ()) -> Believed:
    """Return the model and its draws with toners from outside, of which only the shelf's prior is known."""
    known, car = place.known, place.known.job.vehicle_lab
    names = (*known.model.names, *foreign)
    sd = [known.job.own_sd.get(name, place.limits.strength_sd) for name in foreign]
    model = whole_mix(names, known.job.shelf, known.job.optics, np.concatenate([known.model.strength_sd, sd]))
    mean, variances = prior(model, place.limits)
    mean[: known.model.size] = known.belief.mean
    covariance = np.diag(variances)
    covariance[: known.model.size, : known.model.size] = known.belief.covariance
    held = (*known.belief.held, *(0 for _ in foreign))
    belief = MixBelief(names, mean, covariance, model.strength_sd, held)
    still = replace(belief, covariance=np.zeros_like(covariance))
    drawn = [draw(model, b, car, place.W, n) for b, n in ((belief, SEARCH_DRAWS), (belief, JUDGE_DRAWS), (still, 2))]
    return Believed(model, belief, *drawn)


def best_way(place: Place, finder: Finder) -> WayOn | None:
    """Return the best way of one kind, with toners from outside the formula only where they earn it."""
    car = place.known.job.vehicle_lab
    best = finder(place, believe(place), ())
    for _ in range(MOST_OUTSIDE):
        if best is not None and np.linalg.norm(place.W @ (best.lab - car)) < place.limits.outside_gain:
            break
        foreign = best.names[len(place.known.model.names) :] if best else ()
        tried = [
            way
            for name in _shortlist(place, best, foreign)
            if (way := finder(place, believe(place, (*foreign, name)), (*foreign, name))) is not None
        ]
        if not tried:
            break
        other = min(tried, key=lambda way: way.expected.difference)
        before = best.expected.difference if best else float(expected_now(place).difference)
        if before - other.expected.difference < place.limits.outside_gain:
            break
        best = replace(other, gain=before - other.expected.difference + (best.gain if best else 0.0))
    return best


def expected_now(place: Place) -> Expected:
    """Return what to expect of the paint as it is in the pot."""
    return _expected(believe(place).judge.differences(place.known.shares_now), place.goal)


def next_mix(place: Place, believed: Believed, foreign: tuple[str, ...]) -> WayOn | None:
    """Return the best mix of the toners of ``believed``."""
    known, toner_share = place.known, place.known.job.toner_share
    now = np.append(known.shares_now, np.zeros(len(foreign)))
    unit = np.maximum(now, LEAST_UNIT * toner_share)
    most = np.full(now.size, place.limits.mix_change)
    most[len(now) - len(foreign) :] = place.limits.total_share / LEAST_UNIT
    barred = np.array([not place.allows(n) and n not in (known.job.formula or {}) for n in believed.model.names])
    most[barred] = 0.0
    freedom = Freedom(np.zeros(now.size), np.diag(unit), now / unit, most, np.zeros(now.size), np.inf)

    def mixed(units: Floats) -> Floats:
        parts = freedom.parts(units)
        return np.asarray(parts * toner_share / parts.sum())

    drop = place.limits.least_weighed_g / place.mix_g
    shares = mixed(best_units(believed.search, freedom))
    small = (shares > 0) & (shares < drop)
    if np.any(small):  # what cannot be weighed is left out or rounded up, and the rest is solved again around it
        fixed = np.where(small & (shares >= EVEN * drop), drop, 0.0)
        freedom = replace(freedom, base=fixed, most=np.where(small, 0.0, most))
        shares = mixed(best_units(believed.search, freedom))
    return _poured(place, believed, foreign, shares, _nearest(believed, freedom))


def _nearest(believed: Believed, freedom: Freedom) -> float:
    """Return how near the pours can bring the paint by the most probable model, CIEDE2000."""
    parts = freedom.parts(best_units(believed.mean, freedom))
    return float(believed.mean.differences(parts)[0])


def _poured(place: Place, believed: Believed, foreign: tuple[str, ...], shares: Floats, nearest: float) -> WayOn:
    """Return the mix as it is weighed: into a fresh can, or on top of the pot where that is wanted and can be."""
    known, names, step_g = place.known, believed.model.names, place.limits.scale_step_g
    by_name = {name: float(share) for name, share in zip(names, shares, strict=True)}
    grams, on_top, held = None, False, {}
    if place.wanted.on_top and known.job.toner_share == 1.0:
        held = {n: float(s * known.pot.paint_g) for n, s in zip(names, known.shares_now, strict=False)}
        needed = on_top_of(held, by_name, place.mix_g)
        if needed is not None and sum(needed.values()) <= known.pot.paint_g:
            grams, on_top = {n: round_to_scale(g, step_g) for n, g in needed.items()}, True
            grams = {n: g for n, g in grams.items() if g > 0}
    if grams is None:
        binder = 1 - known.job.toner_share
        grams = fresh_can({**by_name, **({BINDER: binder} if binder > 0 else {})}, place.mix_g, step_g)
        held = {}
    binder_g = grams.pop(BINDER, 0.0)
    total = sum(held.values()) + sum(grams.values()) + binder_g
    really = np.array([held.get(n, 0.0) + grams.get(n, 0.0) for n in names]) / total
    return _way(
        place, believed, NEXT_MIX, really, grams, foreign, nearest, binder_g=binder_g, on_top=on_top, total_g=total
    )


def addition(place: Place, believed: Believed, foreign: tuple[str, ...]) -> WayOn | None:
    """Return the best addition to the pot of at most the number of toners that one step may have."""
    known, limits, names = place.known, place.limits, believed.model.names
    base = np.append(known.shares_now, np.zeros(len(foreign)))
    whole = known.job.toner_share == 1.0  # then the formula's toners bring their own binder
    left = max(0.0, limits.total_share - known.pot.added_share)
    total = limits.pot_share if whole else left
    caps = np.array([min(left, total) if name in foreign else total for name in names])
    caps = np.where([place.allows(name) for name in names], caps, 0.0) / LEAST_UNIT
    pours, toner = LEAST_UNIT * np.eye(base.size), np.full(base.size, LEAST_UNIT)
    if place.wanted.reserve_g > 0:
        untinted = known.model.shares({n: p / sum((known.job.formula or {}).values()) for n, p in _formula(place)})
        pours = np.vstack([pours, LEAST_UNIT * np.append(untinted * known.job.toner_share, np.zeros(len(foreign)))])
        caps = np.append(caps, place.wanted.reserve_g / known.pot.paint_g / LEAST_UNIT)
        toner = np.append(toner, 0.0)
    freedom = Freedom(base, pours, np.zeros(len(pours)), caps, toner, total)
    units = _few(place, believed, freedom)
    if not np.any(units):
        return None
    need = best_units(believed.mean, replace(freedom, most=np.where(units > 0, 1 / LEAST_UNIT, 0.0), total=np.inf))
    grams, full = (values * LEAST_UNIT * known.pot.paint_g for values in (units, need))
    step_g = limits.scale_step_g
    poured = {n: g for n, value in zip(names, grams, strict=False) if (g := round_to_scale(float(value), step_g)) > 0}
    untinted_g = round_to_scale(float(grams[base.size :].sum()), step_g)
    really = base.copy()
    really += [poured.get(n, 0.0) / known.pot.paint_g for n in names]
    really += untinted_g / known.pot.paint_g / LEAST_UNIT * pours[-1] if untinted_g else 0.0
    after_g = known.pot.paint_g + sum(poured.values()) + untinted_g
    return _way(
        place,
        believed,
        TINT,
        really * known.pot.paint_g / after_g,
        poured,
        foreign,
        _nearest(believed, freedom),
        untinted_g=untinted_g,
        on_top=True,
        total_g=after_g,
        full_g={n: float(g) for n, g in zip(names, full, strict=False) if n in poured},
    )


def _formula(place: Place) -> list[tuple[str, float]]:
    return list((place.known.job.formula or {}).items())


def _few(place: Place, believed: Believed, freedom: Freedom) -> Floats:
    """Return the best units with few toners, each weighable: the least effective is left out until they are few."""
    drop = place.limits.least_weighed_g / place.known.pot.paint_g / LEAST_UNIT
    J = _effects(believed, freedom) @ place.W.T
    units = best_units(believed.search, freedom)
    while np.any(units):
        toner = freedom.toner > 0
        used = np.flatnonzero((units > 0) & toner)
        tiny = [i for i in used if units[i] < EVEN * drop]
        effect = np.linalg.norm(J, axis=1) * units
        gone = min(tiny or used, key=lambda i: effect[i], default=None)
        if gone is None:
            return units
        fewer = replace(freedom, most=np.where(np.arange(units.size) == gone, 0.0, freedom.most))
        without = best_units(believed.search, fewer)
        too_many = tiny or len(used) > place.limits.most_toners
        lost = _mean_miss(believed, freedom, without) - _mean_miss(believed, freedom, units)
        if not too_many and (len(used) == 1 or lost > place.limits.toner_gain):
            return np.where(toner & (units > 0), np.maximum(units, np.minimum(drop, freedom.most)), units)
        freedom, units = fewer, without
    return units


def _mean_miss(believed: Believed, freedom: Freedom, units: Floats) -> float:
    """Return the expected CIEDE2000 from the car after pouring ``units``."""
    return float(believed.search.differences(freedom.parts(units)).mean())


def _effects(believed: Believed, freedom: Freedom) -> Floats:
    """Return (k, 3) change of CIELAB by one unit of each pour."""
    lab = believed.mean.labs(freedom.base)[0]
    return np.stack([believed.mean.labs(freedom.base + pour)[0] - lab for pour in freedom.pours])


def _shortlist(place: Place, best: WayOn | None, foreign: tuple[str, ...]) -> tuple[str, ...]:
    """Return the toners from outside that would leave least, by the most probable model made linear."""
    outside = [name for name in place.outside if name not in foreign]
    if not outside:
        return ()
    car = place.known.job.vehicle_lab
    every = believe_mean(place, (*foreign, *outside))
    shares = np.append(best.shares if best else place.known.shares_now, np.zeros(len(outside)))
    lab = every.labs(shares)[0]
    effects = np.stack([every.labs(shares + PROBE * row)[0] - lab for row in np.eye(shares.size)]) / PROBE @ place.W.T
    inside = shares.size - len(outside)
    own = (shares[:, None] * effects)[:inside]  # by a doubling of each toner in the mix
    missing = place.W @ (car - lab)
    left = {name: _left_by(own, effects[inside + i], missing) for i, name in enumerate(outside)}
    return tuple(sorted(outside, key=lambda name: left[name])[:SHORTLIST])


def _left_by(own: Floats, other: Floats, missing: Floats) -> float:
    """Return what is left of a missing (3,) colour by changes of the mix's own toners (n, 3) and more of another (3,).

    Changes are kept modest, since effects are those of small ones (ridge regression); the other toner counts as
    changed by its whole when it moves the colour by :data:`OTHER_MOVES`.
    """
    scaled = OTHER_MOVES * other / max(float(np.linalg.norm(other)), 1e-12)
    for A in (np.vstack([own, scaled]).T, own.T):
        x = np.linalg.solve(A.T @ A + RIDGE * np.eye(A.shape[1]), A.T @ missing)
        if A.shape[1] == len(own) or x[-1] > 0:
            break
    return float(np.sum((A @ x - missing) ** 2) + RIDGE * x @ x)


def believe_mean(place: Place, foreign: tuple[str, ...]) -> Drawn:
    """Return the most probable model with toners from outside."""
    known = place.known
    names = (*known.model.names, *foreign)
    model = whole_mix(names, known.job.shelf, known.job.optics, np.ones(len(names)))
    mean = np.zeros(model.size)
    mean[: known.model.size] = known.belief.mean
    still = MixBelief(names, mean, np.zeros((model.size, model.size)), model.strength_sd, (0,) * len(names))
    return draw(model, still, known.job.vehicle_lab, place.W, 2)


def _way(
    place: Place,
    believed: Believed,
    action: str,
    shares: Floats,
    grams: dict[str, float],
    foreign: tuple[str, ...],
    nearest: float,
    *,
    untinted_g: float = 0.0,
    binder_g: float = 0.0,
    on_top: bool,
    total_g: float,
    full_g: dict[str, float] | None = None,
) -> WayOn:
    model, belief = believed.model, believed.belief
    after = believed.judge.differences(shares)
    now = believed.judge.differences(np.append(place.known.shares_now, np.zeros(len(foreign))))
    J = mix_jacobian(model, belief.mean, shares)
    covariance = J @ belief.covariance @ J.T
    return WayOn(
        action,
        model.names,
        shares,
        grams,
        untinted_g,
        binder_g,
        on_top,
        total_g,
        full_g or {},
        _expected(after, place.goal),
        float(np.mean(after < now)),
        mix_lab(model, belief.mean, shares),
        (covariance + covariance.T) / 2,
        tuple(name for name in foreign if name in grams),
        0.0,
        nearest,
        believed,
    )


def _expected(differences: Floats, goal: float) -> Expected:
    low, high = np.percentile(differences, [5, 95])
    return Expected(float(differences.mean()), float(low), float(high), float(np.mean(differences <= goal)))
