"""A let-down card of a three-stage finish: how many mid-coats come nearest to the car, over every angle.

The same card carries one, two, three, four mid-coats. The path its colour takes is fitted for each angle
(:mod:`match.coats.let_down_path`), and the number of coats is sought at which the worst angle is least bad, also in
between two steps, which a lighter last coat reaches.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np

from match.calibration import quantity
from match.check.verdict import Decision, Thresholds, Tolerances, Verdict, decide, odds_words
from match.coats.let_down_path import PathFit, PathRules, fit_path
from match.colorimetry import Array, delta_e00, local_metric, psd_root
from match.errors import EvidenceError
from match.measure.confidence import confidence_curve
from match.measure.finding import Code, Finding, findings_for_json
from match.measure.nearest import CardReading
from match.measure.uncertainty import Draws, repeated_covariance
from match.several.photo_set import Angle
from match.several.random_effects import positive
from match.several.travel import ANGLE_WORDS

_SEVERITY = {Verdict.GO: 0, Verdict.BLEND: 1, Verdict.RETINT: 2, Verdict.RETAKE: 3}


class LetDownCode(Code):
    """What can be wrong with a let-down card."""

    EDGE = (
        "let-down-edge",
        "the best step is the one with the {end} coats, {edge:g}: {more} may come nearer still.",
        "Spray a step with {more} mid-coats and photograph it too.",
    )
    NO_STEP_WILL_DO = (
        "no-step-will-do",
        "no number of mid-coats brings every angle near enough to the car.",
        "Correct the ground coat or the mid-coat first, or use another variant of the formula; then spray new "
        "let-down cards.",
    )
    WIDE = (
        "let-down-wide",
        "the photos cannot tell the number of coats well.",
        "Photograph each step twice, the card moved to the car's other side for the second.",
    )


@dataclass(frozen=True)
class LetDownRules:
    """Table ``let_down`` of ``calibration/coats.toml``."""

    path: PathRules
    grid_step: float = quantity("coats")
    draws: float = quantity("draws")
    wide: float = quantity("coats")


@dataclass(frozen=True)
class LetDownStep:
    """One step of the card: its mid-coats (may lie in between) and the measured pair at each angle."""

    coats: float
    readings: Mapping[Angle, CardReading]


@dataclass(frozen=True)
class Remaining:
    """What is left at one angle with the best number of coats (CIEDE2000), and its decision."""

    delta_e00: float
    interval: tuple[float, float]
    decision: Decision


@dataclass(frozen=True)
class NearestCoats:
    """The best number of mid-coats.

    Attributes
    ----------
    steps : the coats measured, rising
    coats, interval : where the worst angle is least bad, and its 95 % interval, within the steps measured
    at_edge : whether the best lies at the fewest or most coats measured, so that a step beyond may be better
    remaining : at that number of coats, angle by angle
    verdict : of the worst angle there; retint when no number of coats will do
    curve_coats : (m,) grid for the drawing
    curves : (m,) difference (CIEDE2000) along the grid at each angle
    step_delta_e00 : (k,) plain difference at each measured step and angle
    findings : what to mind
    """

    steps: tuple[float, ...]
    coats: float
    interval: tuple[float, float]
    at_edge: bool
    remaining: Mapping[Angle, Remaining]
    verdict: Verdict
    curve_coats: Array
    curves: Mapping[Angle, Array]
    step_delta_e00: Mapping[Angle, tuple[float, ...]]
    findings: tuple[Finding, ...]

    @property
    def worst(self) -> Angle:
        """The angle that is left worst."""
        return max(self.remaining, key=lambda angle: self.remaining[angle].delta_e00)

    @property
    def odds(self) -> str:
        """What the difference that is left calls for, at the worst angle."""
        return f"The true difference that is left calls for: {odds_words(self.remaining[self.worst].decision)}."

    @property
    def sentences(self) -> tuple[str, ...]:
        """The result in plain words."""
        low, high = self.interval
        left = self.remaining[self.worst]
        return (
            f"The car is met nearest with {self.coats:.1f} mid-coats (95 % sure between {low:.1f} and {high:.1f}): "
            f"{spoken_coats(self.coats)}.",
            f"There the worst angle, {ANGLE_WORDS[self.worst]}, is left with a difference of {left.delta_e00:.1f} "
            f"(95 % sure between {left.interval[0]:.1f} and {left.interval[1]:.1f}).",
            self.odds,
            *(found.text() for found in self.findings),
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the result for JSON."""
        return {
            "steps": list(self.steps),
            "coats": round(self.coats, 3),
            "interval": [round(value, 3) for value in self.interval],
            "at_edge": self.at_edge,
            "spoken": spoken_coats(self.coats),
            "verdict": self.verdict.value,
            "remaining": {
                angle.value: {
                    "delta_e00": round(left.delta_e00, 4),
                    "delta_e00_interval": [round(value, 4) for value in left.interval],
                    "probabilities": {v.value: round(p, 4) for v, p in left.decision.probabilities.items()},
                }
                for angle, left in self.remaining.items()
            },
            "sentences": list(self.sentences),
            "findings": findings_for_json(self.findings),
        }


def judge_let_down(
    steps: Sequence[LetDownStep],
    limits: Thresholds,
    tolerances: Tolerances,
    rules: LetDownRules,
    light_share: float,
    rng: np.random.Generator,
) -> NearestCoats:
    """Find the number of mid-coats nearest to the car.

    Raises :class:`EvidenceError` when there are too few steps, a step is given twice or the angles differ.

    Parameters
    ----------
    steps : at least two numbers of coats, each with the same angles
    limits, tolerances : as in :func:`match.check.verdict.decide`
    rules : ``calibration/coats.toml``, table ``let_down``
    light_share : share of each reading's null variance that the steps have in common, since they lie in one place
        (``combining.light_share``)
    rng : for the draws
    """
    ordered = _checked(steps)
    angles = tuple(angle for angle in Angle if angle in ordered[0].readings)
    coats = np.array([step.coats for step in ordered])
    grid = np.linspace(coats[0], coats[-1], round(float(coats[-1] - coats[0]) / rules.grid_step) + 1)
    paths = {angle: _Path.of(ordered, angle, coats, grid, rules.path, light_share) for angle in angles}
    curves = {angle: path.sizes(path.fit.best) for angle, path in paths.items()}
    best = int(np.argmin(np.max(list(curves.values()), axis=0)))
    drawn = [path.drawn_sizes(rng, int(rules.draws)) for path in paths.values()]
    nearest = grid[np.argmin(np.max(drawn, axis=0), axis=1)]
    low, high = (float(value) for value in np.quantile(nearest, [0.025, 0.975]))
    remaining = {angle: path.remaining(best, limits, tolerances, rng) for angle, path in paths.items()}
    verdict = max((_verdict(left) for left in remaining.values()), key=lambda one: _SEVERITY[one])
    at_edge = best in (0, grid.size - 1)
    return NearestCoats(
        steps=tuple(float(value) for value in coats),
        coats=float(grid[best]),
        interval=(low, high),
        at_edge=at_edge,
        remaining=remaining,
        verdict=verdict,
        curve_coats=grid,
        curves=curves,
        step_delta_e00={angle: path.at_steps() for angle, path in paths.items()},
        findings=_findings(verdict, at_edge, best == 0, high - low, coats, rules),
    )


def spoken_coats(coats: float) -> str:
    """Say a number of coats as a painter sprays it: full coats, and a lighter last one in quarters of a coat."""
    quarters = round(4 * coats)
    full, rest = divmod(quarters, 4)
    share = {0: "", 1: "a quarter", 2: "half", 3: "three quarters"}[rest]
    if not rest:
        return "1 full coat" if full == 1 else f"{full} full coats"
    last = f"a last coat of {share} of the paint (faster passes or less flow)"
    if not full:
        return last
    return f"{full} full coat{'' if full == 1 else 's'} and {last}"


@dataclass(frozen=True)
class _Path:
    """One angle: the fitted path, the car's colour, and what the steps' photos share."""

    fit: PathFit
    vehicle_lab: Array
    metric_root: Array
    shared_root: Array
    readings: tuple[CardReading, ...]
    coats: Array

    @classmethod
    def of(
        cls,
        steps: Sequence[LetDownStep],
        angle: Angle,
        coats: Array,
        grid: Array,
        rules: PathRules,
        light_share: float,
    ) -> Self:
        readings = tuple(step.readings[angle] for step in steps)
        differences = np.array([reading.card_lab - reading.vehicle_lab for reading in readings])
        own = np.array([positive(repeated_covariance(reading.draws)) for reading in readings])
        vehicle = np.mean([reading.vehicle_lab for reading in readings], axis=0)
        return cls(
            # The card lies in one place for every step, so the light's share of each error is the same in all.
            fit=fit_path(coats, differences, (1.0 - light_share) * own, grid, rules),
            vehicle_lab=vehicle,
            metric_root=np.asarray(np.linalg.cholesky(local_metric(vehicle))),
            shared_root=psd_root(light_share * own.mean(axis=0)),
            readings=readings,
            coats=coats,
        )

    def sizes(self, path: Array) -> Array:
        """Return CIEDE2000 (m,) along a path (m, 3) of differences."""
        return delta_e00(self.vehicle_lab + path, np.broadcast_to(self.vehicle_lab, path.shape))

    def at_steps(self) -> tuple[float, ...]:
        return tuple(float(delta_e00(reading.card_lab, reading.vehicle_lab)) for reading in self.readings)

    def drawn_sizes(self, rng: np.random.Generator, count: int) -> Array:
        """Return (count, m) sizes along drawn paths, by the quadratic form of CIEDE2000 at the car's colour."""
        shared = rng.standard_normal((count, 3)) @ self.shared_root.T + self._of_pigments(rng, count)
        paths = self.fit.draws(rng, count) + shared[:, None]
        return np.asarray(np.linalg.norm(paths @ self.metric_root, axis=2))

    def _of_pigments(self, rng: np.random.Generator, count: int) -> Array:
        """Draw (count, 3) what the camera makes of the card's pigments, the same at every step."""
        drawn = self.readings[0].draws
        return drawn.taken(rng.integers(len(drawn.card_lab), size=count)).of_pigments

    def remaining(self, index: int, limits: Thresholds, tolerances: Tolerances, rng: np.random.Generator) -> Remaining:
        """Return what is left at grid point ``index``; the camera's stretch is taken from the nearest step's draws."""
        left = self.fit.best[index]
        nearest = self.readings[int(np.argmin(np.abs(self.coats - self.fit.coats[index])))]
        drawn = nearest.draws
        count = len(drawn.card_lab)
        noise = self.fit.draws(rng, count)[:, index] - left + rng.standard_normal((count, 3)) @ self.shared_root.T
        measured = nearest.card_lab - nearest.vehicle_lab
        stretch = drawn.card_lab - drawn.vehicle_lab - drawn.null_difference - measured
        share = min(float(np.linalg.norm(left)) / max(float(np.linalg.norm(measured)), 1e-6), 1.0)
        vehicle = np.broadcast_to(self.vehicle_lab, (count, 3))
        null = noise + drawn.of_pigments
        draws = Draws(vehicle + left + share * stretch + null, vehicle, null)
        confidence = confidence_curve(self.vehicle_lab + left, self.vehicle_lab, draws)
        size = float(delta_e00(self.vehicle_lab + left, self.vehicle_lab))
        return Remaining(size, confidence.interval(0.95), decide(confidence, limits, tolerances))


def _verdict(left: Remaining) -> Verdict:
    """Return the decision, or its cheapest outcome where the angle alone cannot decide."""
    if not left.decision.undecided:
        return left.decision.verdict
    hours = left.decision.expected_hours
    return min(hours, key=lambda verdict: hours[verdict])


def _checked(steps: Sequence[LetDownStep]) -> list[LetDownStep]:
    ordered = sorted(steps, key=lambda step: step.coats)
    coats = [step.coats for step in ordered]
    if len(set(coats)) < 2:
        raise EvidenceError("a let-down card needs at least two steps: photograph cards with other numbers of coats")
    if len(set(coats)) < len(coats):
        twice = next(value for value in coats if coats.count(value) > 1)
        raise EvidenceError(f"{twice:g} mid-coats are given twice: combine photos of one step first")
    for step in ordered:
        if not step.readings or set(step.readings) != set(ordered[0].readings):
            raise EvidenceError(
                f"the step with {step.coats:g} mid-coats was not photographed at the same angles as the others: "
                "take every step at every angle"
            )
    return ordered


def _findings(
    verdict: Verdict, at_edge: bool, fewest: bool, width: float, coats: Array, rules: LetDownRules
) -> tuple[Finding, ...]:
    found = []
    if at_edge:
        values: dict[str, float | str] = {"edge": float(coats[0] if fewest else coats[-1])}
        values |= {"end": "fewest", "more": "fewer"} if fewest else {"end": "most", "more": "more"}
        found.append(Finding(LetDownCode.EDGE, False, values=values))
    if verdict is Verdict.RETINT:
        found.append(Finding(LetDownCode.NO_STEP_WILL_DO, True))
    if width > rules.wide:
        found.append(Finding(LetDownCode.WIDE, False))
    return tuple(found)
