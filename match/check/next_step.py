"""The next best step where a photo leaves its answer unsure: what each would bring here, and whether it then decides.

A step takes away part of this photo's own errors: raw the tone curve's, grey steps most of it, a swap what the light
does. With K the covariance of the errors that stay and T of all there are now, and a true difference t that the
confidence curve holds possible, the next reading is t plus errors that are normal with mean K T^-1 e and covariance
K - K T^-1 K, e being the error that t gives the present reading. Each such reading is judged as a photo would be
(preposterior analysis: Raiffa and Schlaifer 1961, Applied Statistical Decision Theory; from memory).
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from match.calibration import quantity
from match.check.step_errors import Assumed, PhotoErrors, StepCode, errors_after
from match.check.verdict import Decision, Thresholds, Tolerances, decide
from match.colorimetry import Array, psd_root
from match.measure.confidence import confidence_curves
from match.measure.uncertainty import Draws

STEPS_TOLD = {
    StepCode.SAY_MIRRORED: "Say what card and car mirror",
    StepCode.WHITE_FIELD: "Mark the card's own white field as one more grey",
    StepCode.SECOND_CAR_BOX: "Mark the car on the card's other side too",
    StepCode.CAMERA_RAW: "Take it as camera raw (DNG)",
    StepCode.LAY_AGAIN: "Lay the card again and check both photos together",
    StepCode.SWAP: "Swap the card to the other side and check both photos together",
    StepCode.GREY_STEPS: "Put a dark and a light grey step beside the grey",
    StepCode.EVEN_LIGHT: "Even out the light and take the photo again",
}
"""What each step tells to do, without its full stop."""


@dataclass(frozen=True)
class StepRules:
    """Table ``rules`` of ``calibration/next_steps.toml``."""

    sure: float = quantity("probability")
    likely: float = quantity("probability")
    maybe: float = quantity("probability")
    narrower: float = quantity("ratio")
    most_steps: float = quantity("steps")
    trials: float = quantity("draws")
    draws: float = quantity("draws")


@dataclass(frozen=True)
class StepCost:
    """What one step costs the person."""

    minutes: float = quantity("min")


@dataclass(frozen=True)
class NextStepFile:
    """The whole of ``calibration/next_steps.toml``; ``steps`` holds the costs by each step's code."""

    rules: StepRules
    assumed: Assumed
    steps: dict[str, StepCost]


@dataclass(frozen=True)
class NextStep:
    """A step, and what it would bring.

    Attributes
    ----------
    code : what to do
    present, predicted : 95 % interval (CIEDE2000) now, and as it would most likely become
    chance : probability that the answer is then sure
    likely, maybe : from which chance on a step is said to decide likely, or perhaps
    minutes : of the person's time
    """

    code: StepCode
    present: tuple[float, float]
    predicted: tuple[float, float]
    chance: float
    likely: float
    maybe: float
    minutes: float

    @property
    def words(self) -> str:
        """The step in one sentence."""
        (low, high), (then_low, then_high) = self.present, self.predicted
        return (
            f"{STEPS_TOLD[self.code]}: {self._promise}; {low:.1f} to {high:.1f} would become about {then_low:.1f} to "
            f"{then_high:.1f}."
        )

    @property
    def _promise(self) -> str:
        if self.chance >= self.likely:
            return "likely decides"
        return "may decide" if self.chance >= self.maybe else "seldom decides by itself"

    def as_dict(self) -> dict[str, Any]:
        """Return the step for JSON."""
        return {
            "code": self.code.value,
            "words": self.words,
            "predicted_interval": [round(value, 4) for value in self.predicted],
            "chance_decides": round(self.chance, 4),
            "minutes": self.minutes,
        }


def is_unsure(decision: Decision, rules: StepRules) -> bool:
    """Say whether a decision is worth another step: undecided, or its verdict not likely enough."""
    return decision.undecided or decision.probabilities[decision.verdict] < rules.sure


def next_steps(
    photo: PhotoErrors,
    decision: Decision,
    limits: Thresholds,
    tolerances: Tolerances,
    known: NextStepFile,
    seed: int,
) -> tuple[NextStep, ...]:
    """Return the steps worth taking after a decision, the best first; none where it is sure.

    The best is the cheapest that likely decides, or else the one most likely to; after it comes the likeliest other.

    Parameters
    ----------
    photo : the measurement that the decision rests on, with what its errors come from
    decision, limits, tolerances : as from :func:`match.check.verdict.decide`
    known : ``calibration/next_steps.toml``
    seed : of the trials
    """
    if not is_unsure(decision, known.rules):
        return ()
    every = (predicted_step(code, photo, limits, tolerances, known, seed) for code in StepCode)
    low, high = photo.measurement.interval
    worth = [
        step
        for step in every
        if step is not None and np.subtract(*step.predicted[::-1]) <= known.rules.narrower * (high - low)
    ]
    if not worth:
        return ()
    likely = [step for step in worth if step.chance >= known.rules.likely]
    first = min(likely, key=lambda step: (step.minutes, -step.chance)) if likely else max(worth, key=_promising)
    others = sorted((step for step in worth if step is not first), key=_promising, reverse=True)
    return (first, *others)[: int(known.rules.most_steps)]


def _promising(step: NextStep) -> tuple[float, float]:
    """Return what makes one step better than another: chance, and of equal chances the narrower interval."""
    return round(step.chance, 2), step.predicted[0] - step.predicted[1]


def predicted_step(
    code: StepCode,
    photo: PhotoErrors,
    limits: Thresholds,
    tolerances: Tolerances,
    known: NextStepFile,
    seed: int,
) -> NextStep | None:
    """Return what one step would bring; None where it is not on offer for this photo."""
    rules = known.rules
    rng = np.random.default_rng(seed)
    left = errors_after(code, photo, known.assumed, rng, int(rules.draws))
    if left is None:
        return None
    intervals, sure = [], 0
    readings, draws = zip(*_readings(photo, left, rng, int(rules.trials)), strict=True)
    for curve in confidence_curves(np.array(readings), photo.measurement.vehicle_lab, draws):
        intervals.append(curve.interval(0.95))
        sure += not is_unsure(decide(curve, limits, tolerances), rules)
    low, high = np.median(intervals, axis=0)
    present = photo.measurement.interval
    minutes = known.steps[code.value].minutes
    return NextStep(code, present, (float(low), float(high)), sure / len(intervals), rules.likely, rules.maybe, minutes)


def _readings(photo: PhotoErrors, left: Draws, rng: np.random.Generator, trials: int) -> list[tuple[Array, Draws]]:
    """Return card colours (3,) that may be read after the step, each with the draws that would go with it."""
    m = photo.measurement
    difference = m.card_lab - m.vehicle_lab
    size = max(m.delta_e00, 1e-3)
    levels = (np.arange(trials) + 0.5) / trials
    true_sizes = np.interp(levels, m.confidence.unbiased, m.confidence.size)
    now = np.cov((m.draws.card_lab - m.draws.vehicle_lab).T)
    then = np.cov((left.card_lab - left.vehicle_lab).T)
    kept = np.linalg.solve(now, then).T
    root = psd_root(then - kept @ then)
    # What camera and grey do to a difference grows with it; what a pair of equal colours shows does not.
    stretch = left.card_lab - left.vehicle_lab - left.null_difference
    stretch = stretch - stretch.mean(axis=0)
    found = []
    for true_size, noise in zip(true_sizes, rng.standard_normal((trials, 3)), strict=True):
        true = difference * (true_size / size)
        reading = true + kept @ (difference - true) + root @ noise
        scale = min(float(np.linalg.norm(reading)) / max(float(np.linalg.norm(difference)), 1e-3), 3.0)
        shown = reading + scale * stretch + left.null_difference
        draws = replace(left, card_lab=m.vehicle_lab + shown, vehicle_lab=np.broadcast_to(m.vehicle_lab, shown.shape))
        found.append((m.vehicle_lab + reading, draws))
    return found
