"""What may go into a pot whose formula is not known, and what each set of toners would bring."""

from dataclasses import dataclass

import numpy as np

from match.colorimetry import Array, delta_e00
from match.tint.answer import Expected, expected_of
from match.tint.limits import TintLimits
from match.tint.search import UNTINTED, Aim, Candidate, Choices, lab_after, search
from match.tint.tinting import Understanding

DRAWS = 400
SHORTLIST = 8


@dataclass(frozen=True, eq=False)
class Judged:
    """A candidate with its expected CIEDE2000 and the price it must be worth."""

    candidate: Candidate
    difference: float
    price: float


def draw(known: Understanding, rng: np.random.Generator) -> Array:
    """Return (DRAWS, 3 + 4n) draws of start colour and toner responses."""
    learned = known.learned
    root = np.linalg.cholesky(learned.covariance + 1e-12 * np.eye(learned.mean.size))
    return np.asarray(learned.mean + rng.standard_normal((DRAWS, learned.mean.size)) @ root.T, dtype=np.float64)


def in_formula(known: Understanding, name: str) -> bool:
    """Return whether a toner is in the mix, or whether that is not known (then none is called foreign)."""
    return known.base.guessed or name in known.base.formula


@dataclass(frozen=True, eq=False)
class Setting:
    """What every step of one advice looks at.

    Attributes
    ----------
    known : what the model and the cards say
    limits : what may be added and what is worth doing
    draws : (DRAWS, 3 + 4n) draws of start colour and toner responses
    W : (3, 3) CIELAB to CIEDE2000 about the car
    goal : CIEDE2000 at which tinting stops
    batch_g, reserve_g : untinted paint, g, to be tinted later and at hand for thinning
    """

    known: Understanding
    limits: TintLimits
    draws: Array
    W: Array
    goal: float
    batch_g: float
    reserve_g: float

    @property
    def nothing(self) -> Array:
        """Return (n + 1,) no additions."""
        return np.zeros(len(self.known.model.names) + 1)

    @property
    def weighted_now(self) -> float:
        """Return the length of W (card - car), comparable with the search's weighted differences."""
        return float(np.linalg.norm(self.W @ (self.known.card.lab - self.known.job.vehicle_lab)))

    def differences(self, additions: Array) -> Array:
        """Return (DRAWS,) CIEDE2000 from the car after ``additions`` (n + 1,) per gram of paint in the pot."""
        spread = np.broadcast_to(additions, (self.draws.shape[0], additions.size))
        labs = lab_after(self.known.model, self.known.pot, self.draws, spread)
        return delta_e00(labs, np.broadcast_to(self.known.job.vehicle_lab, labs.shape))

    def expected(self, additions: Array) -> Expected:
        """Return the summary of :meth:`differences`."""
        return expected_of(self.differences(additions), self.goal)

    @property
    def left(self) -> float:
        """Return the share of toner that the pot may still take."""
        return max(0.0, self.limits.total_share - self.known.pot.added_share)

    @property
    def caps(self) -> Array:
        """Return (n + 1,) most of each toner and of untinted paint, grams per gram of pot."""
        reserve = self.reserve_g / self.known.pot.paint_g
        return np.append(np.full(len(self.known.model.names), self.left), reserve)

    def choices(self, total_share: float | None = None) -> Choices:
        """Return what may go into the pot; ``total_share`` replaces the limit on all toner, to see if that hinders."""
        names, pot = self.known.model.names, self.known.pot
        allowed = names if self.known.job.allowed is None else self.known.job.allowed
        left = self.left if total_share is None else max(0.0, total_share - pot.added_share)
        columns = [names.index(name) for name in allowed]
        caps = [left] * len(columns)
        if self.reserve_g > 0 and pot.added_share > 0:
            columns.append(len(names))
            caps.append(self.reserve_g / pot.paint_g)
        return Choices(tuple(columns), np.array(caps), left)

    def candidates(self, choices: Choices) -> list[Candidate]:
        """Return the best amounts of every set of toners, the nearest first."""
        known = self.known
        aim = Aim(known.model, known.pot, known.learned.mean, known.job.vehicle_lab, self.W)
        return search(aim, choices, int(self.limits.most_toners))

    def judged(self, candidates: list[Candidate]) -> list[Judged]:
        """Return a shortlist, best first by expected difference plus price."""
        priced = sorted(
            ((c, self.price(c)) for c in candidates), key=lambda pair: pair[0].weighted_difference + pair[1]
        )
        judged = [Judged(c, float(self.differences(c.additions).mean()), price) for c, price in priced[:SHORTLIST]]
        return sorted(judged, key=lambda j: j.difference + j.price)

    def price(self, candidate: Candidate) -> float:
        """Return what a set must gain to be preferred: for each addition after the first, each foreign toner."""
        foreign = sum(not in_formula(self.known, name) for name in self.names(candidate) if name != UNTINTED)
        return self.limits.toner_gain * (len(candidate.used) - 1) + self.limits.outside_gain * foreign

    def names(self, candidate: Candidate) -> tuple[str, ...]:
        """Return what a set adds."""
        return tuple((*self.known.model.names, UNTINTED)[i] for i in candidate.used)

    def again(self, best: Candidate, caps: Array, total: float) -> Candidate | None:
        """Return the best amounts of all toners of a set within other caps (n + 1,); nothing where one falls out."""
        found = self.candidates(Choices(best.used, caps[list(best.used)], total))
        return next((candidate for candidate in found if candidate.used == best.used), None)
