"""The two ways on from a card when the formula is known: the best addition and the best next mix.

Toners of the formula come first. Another is tried only where they leave something, and taken only where it gains what
its risk in other lights asks for.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from match.colorimetry import Array
from match.tint.answer import Action, Expected, expected_of
from match.tint.next_mix import Freedom, best_units
from match.tint.place import Believed, Place, believe, expected_now, outside_toners
from match.tint.pour import BINDER, fresh_can, on_top_of
from match.tint.units import round_to_scale
from match.tint.whole_mix import mix_jacobian, mix_lab

MOST_OUTSIDE = 2
LEAST_UNIT = 0.002  # share by weight that counts as one unit of a toner of which there is little or none
SAME = 0.05  # CIEDE2000 that a dose which can be weighed may cost: below what anyone sees
EVEN = 0.5  # of the smallest weighable drop: from here on it is rounded up


@dataclass(frozen=True, eq=False)
class WayOn:
    """One way on.

    Attributes
    ----------
    action : to tint, or the next mix
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

    action: Action
    names: tuple[str, ...]
    shares: Array
    grams: dict[str, float]
    untinted_g: float
    binder_g: float
    on_top: bool
    total_g: float
    full_g: dict[str, float]
    expected: Expected
    closer: float
    lab: Array
    covariance: Array
    foreign: tuple[str, ...]
    gain: float
    nearest: float
    believed: Believed

    @property
    def poured_g(self) -> float:
        """Return the weight of all pours."""
        return sum(self.grams.values()) + self.untinted_g + self.binder_g


Finder = Callable[[Place, Believed, tuple[str, ...]], "WayOn | None"]


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
            for name in outside_toners(place, best.shares if best else place.known.shares_now, foreign)
            if (way := finder(place, believe(place, (*foreign, name)), (*foreign, name))) is not None
        ]
        if not tried:
            break
        other = min(tried, key=lambda way: way.expected.difference)
        before = best.expected.difference if best else float(expected_now(place).difference)
        if before - other.expected.difference < place.limits.outside_gain:
            break
        best = replace(other, gain=before - other.expected.difference + (best.gain if best else 0.0))
    return _weighable(place, finder, best)


def _weighable(place: Place, finder: Finder, best: WayOn | None) -> WayOn | None:
    """Return the way with weak versions in place of toners whose dose is under the scale's drop.

    Without a way the toners of the mix are tried, since a dose that rounds to nothing is no way at all.
    """
    known, drop = place.known, place.limits.least_weighed_g
    foreign = best.names[len(known.model.names) :] if best else ()
    for strong, weak in place.weak_versions(known.model.names).items():
        if best is not None and best.grams.get(strong, 0.0) > drop:
            continue
        without = replace(place, replaced=(*place.replaced, strong))
        way = finder(without, believe(without, (*foreign, weak)), (*foreign, weak))
        if way is None or weak not in way.grams:
            continue
        now = best.expected.difference if best else float(expected_now(place).difference)
        tiny = best is not None and best.grams.get(strong, 0.0) > 0
        if way.expected.difference <= now + (SAME if tiny else -place.limits.toner_gain):
            best, place, foreign = replace(way, gain=best.gain if best else 0.0), without, (*foreign, weak)
    return best


def next_mix(place: Place, believed: Believed, foreign: tuple[str, ...]) -> WayOn | None:
    """Return the best mix of the toners of ``believed``."""
    known, toner_share = place.known, place.known.job.toner_share
    now = np.append(known.shares_now, np.zeros(len(foreign)))
    unit = np.maximum(now, LEAST_UNIT * toner_share)
    most = np.full(now.size, place.limits.mix_change)
    most[len(now) - len(foreign) :] = place.limits.total_share / LEAST_UNIT
    own = [n for n in known.job.formula or {} if n not in place.replaced]
    barred = np.array([not place.allows(n) and n not in own for n in believed.model.names])
    most[barred] = 0.0
    freedom = Freedom(np.zeros(now.size), np.diag(unit), now / unit, most, np.zeros(now.size), np.inf)

    def mixed(units: Array) -> Array:
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


def _poured(place: Place, believed: Believed, foreign: tuple[str, ...], shares: Array, nearest: float) -> WayOn:
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
        place,
        believed,
        Action.NEXT_MIX,
        really,
        grams,
        foreign,
        nearest,
        binder_g=binder_g,
        on_top=on_top,
        total_g=total,
    )


def addition(place: Place, believed: Believed, foreign: tuple[str, ...]) -> WayOn | None:
    """Return the best addition to the pot of at most the number of toners that one step may have."""
    known, limits, names = place.known, place.limits, believed.model.names
    base = np.append(known.shares_now, np.zeros(len(foreign)))
    whole = known.job.toner_share == 1.0  # then the formula's toners bring their own binder
    left = max(0.0, limits.total_share - known.pot.added_share)
    total = limits.pot_share if whole else left
    bare = [name for name in names if known.job.shelf[name].own_binder is False]  # they thin the pot's binder out
    caps = np.array([min(left, total) if name in (*foreign, *bare) else total for name in names])
    caps = np.where([place.allows(name) for name in names], caps, 0.0) / LEAST_UNIT
    pours, toner = LEAST_UNIT * np.eye(base.size), np.full(base.size, LEAST_UNIT)
    if place.wanted.reserve_g > 0:
        formula = known.job.formula or {}
        untinted = known.model.shares({name: part / sum(formula.values()) for name, part in formula.items()})
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
        Action.TINT,
        really * known.pot.paint_g / after_g,
        poured,
        foreign,
        _nearest(believed, freedom),
        untinted_g=untinted_g,
        on_top=True,
        total_g=after_g,
        full_g={n: float(g) for n, g in zip(names, full, strict=False) if n in poured},
    )


def _few(place: Place, believed: Believed, freedom: Freedom) -> Array:
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


def _mean_miss(believed: Believed, freedom: Freedom, units: Array) -> float:
    """Return the expected CIEDE2000 from the car after pouring ``units``."""
    return float(believed.search.differences(freedom.parts(units)).mean())


def _effects(believed: Believed, freedom: Freedom) -> Array:
    """Return (k, 3) change of CIELAB by one unit of each pour."""
    lab = believed.mean.labs(freedom.base)[0]
    return np.stack([believed.mean.labs(freedom.base + pour)[0] - lab for pour in freedom.pours])


def _way(
    place: Place,
    believed: Believed,
    action: Action,
    shares: Array,
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
        expected_of(after, place.goal),
        float(np.mean(after < now)),
        mix_lab(model, belief.mean, shares),
        (covariance + covariance.T) / 2,
        tuple(n for n in foreign if n in grams and place.known.job.shelf[n].weak_of not in model.names),
        0.0,
        nearest,
        believed,
    )
