"""How strong each toner is in this colour, as a Gaussian belief has it, and where that number comes from."""

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from match.colorimetry import Array
from match.record import Record

Z90 = 1.645  # standard normal, 5 % in each tail


@dataclass(frozen=True)
class TonerResponse(Record):
    """One toner's response in this colour, for the reader.

    Attributes
    ----------
    name : toner
    strength : most probable factor on its described strength
    low, high : 90 % interval of that factor
    learned_share : 0..1, the part of the prior variance removed by cards
    words : where the number comes from
    """

    name: str
    strength: float
    low: float
    high: float
    learned_share: float
    words: str


@dataclass(frozen=True, eq=False)
class StrengthBelief(Record):
    """Gaussian belief about u unknowns, among them the log-strengths of n toners.

    Attributes
    ----------
    names : n toner names
    mean : (u,)
    covariance : (u, u)
    prior_sd : (n,) standard deviation of the log-strengths before any card
    """

    names: tuple[str, ...]
    mean: Array
    covariance: Array
    prior_sd: Array

    @property
    @abstractmethod
    def strength_places(self) -> slice:
        """Which of the unknowns are the log-strengths."""

    @property
    def log_strengths(self) -> Array:
        """Return (n,) most probable natural logarithms of strength factors."""
        return self.mean[self.strength_places]

    @property
    def log_strength_sd(self) -> Array:
        """Return (n,) standard deviations of the log-strengths."""
        return np.asarray(np.sqrt(np.diag(self.covariance)[self.strength_places]), dtype=np.float64)

    @property
    def learned_share(self) -> Array:
        """Return (n,) the share 0..1 of the prior variance that the cards have removed."""
        return np.clip(1 - (self.log_strength_sd / self.prior_sd) ** 2, 0.0, 1.0)

    def responses(self, held: Mapping[str, int]) -> tuple[TonerResponse, ...]:
        """Return each toner's response with words for where it comes from; ``held`` counts the cards that held it."""
        rows = zip(self.names, self.log_strengths, self.log_strength_sd, self.learned_share, strict=True)
        return tuple(
            TonerResponse(
                name,
                float(np.exp(mean)),
                float(np.exp(mean - Z90 * sd)),
                float(np.exp(mean + Z90 * sd)),
                float(share) if held.get(name, 0) else 0.0,
                learned_words(float(share), held.get(name, 0)),
            )
            for name, mean, sd, share in rows
        )


def learned_words(learned_share: float, cards: int) -> str:
    """Return in words how much of a toner's strength was learned, from the cards that held it.

    ``learned_share`` is the share of the prior variance removed.
    """
    if cards == 0:
        return "from the pigment model alone: no card has shown this toner yet"
    if learned_share < 0.1:
        return "from the pigment model: the cards that held it say little of it yet"
    if learned_share < 0.5:
        return "mostly from the pigment model, partly learned from your cards"
    if learned_share < 0.8:
        return "mostly learned from your cards, partly from the pigment model"
    return "learned from your cards"
