"""Does the card hide its own chart, and how many coats would.

A spray-out card carries a black and a white field. Where they still show through, the card's colour is partly the
chart's, and no match made with it is valid. The contrast ratio is the luminance over black divided by that over white;
what counts as full hiding is in ``calibration/practice.toml``, table ``hiding``.

The coats needed are those of every spectral film that could stand behind the two colours
(:mod:`match.coats.spectral_film`), whose optical thickness grows in proportion to the coats. Flake has no single
scattering constant, and for effect paint that is said.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Protocol

import numpy as np

from match.blend.film import Hiding
from match.calibration import quantity
from match.check.verdict import Finish
from match.coats.spectral_film import FilmPrior, films_behind
from match.colorimetry import Array, xyz_from_lab
from match.errors import EvidenceError
from match.measure.confidence import ConfidenceCurve
from match.measure.finding import Code, Finding, Words, findings_for_json
from match.measure.nearest import CardReading
from match.record import Rounded, by_name, rounded

SEED = 20
"""Of the films drawn; the same card gives the same answer."""


class FieldsReading(CardReading, Protocol):
    """A measurement whose card is the part over black and whose vehicle is the part over white.

    A :class:`match.measure.measurement.Measurement` of those two regions is one, and so is a ``Combined``.
    """

    @property
    def confidence(self) -> ConfidenceCurve:
        """Of the CIEDE2000 between the fields."""


@dataclass(frozen=True)
class HidingRules:
    """Table ``hiding`` of ``calibration/coats.toml``."""

    film: FilmPrior
    chart_black: float = quantity("reflectance")
    field_difference: float = quantity("CIEDE2000")
    sureness: float = quantity("probability")
    coats_sureness: float = quantity("probability")
    most_coats: float = quantity("coats")
    wide: float = quantity("ratio")


def _coats(count: float) -> str:
    return "1 coat" if count == 1 else f"{count:g} coats"


def _not_hiding(found: Finding) -> Words:
    whole = found.values.get("coats")
    more = f"Spray {_coats(float(whole))}" if whole else "Spray one more coat than on this card"
    return Words(
        "the chart shows through the card, so its colour is partly the chart's: it gives no valid match.",
        f"{more}, on the card as on the car, until the chart cannot be seen; then check again.",
    )


class HidingCode(Code):
    """What can be wrong with a card over its chart."""

    NOT_HIDING = "not-hiding", _not_hiding
    HIDING_UNSURE = (
        "hiding-unsure",
        "the chart may still show through the card; the photo cannot tell.",
        "Look along the chart's edge in good light: if you can see it, spray another coat. "
        "Mark larger fields, or take the photo again in more even light.",
    )
    HIDES_BADLY = (
        "hides-badly",
        "this paint would need more coats to hide than anyone should spray.",
        "Lay a ground coat of like colour first, on the card as on the car, as the product sheet allows.",
    )
    COATS_WIDE = (
        "coats-wide",
        "two colours of one card leave the number of coats wide open for this paint.",
        "Spray a second card with another number of coats, best one that nearly hides, and check that one too.",
    )
    COATS_ROUGH = (
        "coats-rough",
        "for flake and pearl the number of coats is rough: the law behind it is one of solid pigments.",
        "Trust the chart: spray until it cannot be seen.",
    )


class Shows(StrEnum):
    """Whether the chart shows through."""

    NO_TRACE_SEEN = "no trace seen"
    UNSURE = "unsure"
    SHOWS = "shows"


@dataclass(frozen=True)
class CoatsNeeded(Rounded):
    """Coats at which the chart disappears.

    ``estimate`` is the film's own number with its 95 % interval (an upper end of None: open); ``whole`` what to spray,
    or None when no sensible number of coats hides.
    """

    sprayed: float
    estimate: float
    interval: tuple[float, float | None]
    whole: int | None

    @property
    def span(self) -> str:
        """The interval in words, "1.5 to 3.2"."""
        low, high = self.interval
        return f"more than {low:.1f}" if high is None else f"{low:.1f} to {high:.1f}"

    def is_wide(self, ratio: float) -> bool:
        """Return whether more than a coat stands open, and the upper end is more than ``ratio`` times the lower."""
        low, high = self.interval
        return high is None or (high - low > 1.0 and high > ratio * low)


@dataclass(frozen=True)
class HidingResult:
    """Whether a card hides.

    ``contrast_ratio`` with its 95 % interval, ``field_delta_e00`` (CIEDE2000 across the chart) with its; ``coats`` is
    None when the coats sprayed are not known or the film cannot be told from a hiding one.
    """

    shows: Shows
    contrast_ratio: float
    contrast_interval: tuple[float, float]
    field_delta_e00: float
    field_interval: tuple[float, float]
    coats: CoatsNeeded | None
    findings: tuple[Finding, ...]

    @property
    def coats_to_cover(self) -> int | None:
        """Coats to cover for the blend plan; None when not known."""
        return self.coats.whole if self.coats else None

    @property
    def sentences(self) -> tuple[str, ...]:
        """The result in plain words."""
        (low, high), (near, far) = self.contrast_interval, self.field_interval
        told = [
            f"Contrast ratio over black and white {self.contrast_ratio:.3f}, 95 % sure between {low:.3f} and "
            f"{high:.3f}; across the chart the colour differs by {self.field_delta_e00:.1f}, 95 % sure "
            f"between {near:.1f} and {far:.1f}."
        ]
        if self.shows is Shows.NO_TRACE_SEEN:
            told.append("No trace of the chart is seen through the card's paint.")
        if self.coats and self.coats.whole:
            told.append(
                f"{_coats(self.coats.sprayed)} were sprayed; about {self.coats.estimate:.1f} hide the chart "
                f"(95 % sure: {self.coats.span}), so spray {_coats(self.coats.whole)}, on the card as on the car."
            )
        return (*told, *(found.text() for found in self.findings))

    def as_dict(self) -> dict[str, Any]:
        """Return the result for JSON."""
        return {
            **by_name(self, "shows", "contrast_ratio", "field_delta_e00", "sentences"),
            "contrast_ratio_interval": rounded(self.contrast_interval),
            "field_delta_e00_interval": rounded(self.field_interval),
            "coats": self.coats.as_dict() if self.coats else None,
            "findings": findings_for_json(self.findings),
        }


def judge_hiding(
    fields: FieldsReading, coats_sprayed: float | None, finish: Finish, hiding: Hiding, rules: HidingRules
) -> HidingResult:
    """Judge whether a card hides its chart.

    Raises :class:`EvidenceError` for a number of coats that cannot be.

    Parameters
    ----------
    fields : the pair measured, over black in the card's place and over white in the vehicle's
    coats_sprayed : coats of colour on the card; None when not known
    finish : for effect paint the coats are only rough
    hiding : ``calibration/practice.toml``, table ``hiding``
    rules : ``calibration/coats.toml``, table ``hiding``
    """
    if coats_sprayed is not None and not 0 < coats_sprayed <= rules.most_coats:
        raise EvidenceError(
            f"{coats_sprayed:g} coats cannot be on a card: give a number from 1 to {rules.most_coats:g}"
        )
    black, white = (_luminance(lab) for lab in (fields.card_lab, fields.vehicle_lab))
    blacks, whites = (_luminance(lab) for lab in (fields.draws.card_lab, fields.draws.vehicle_lab))
    ratios = blacks / whites
    low, high = (float(value) for value in np.quantile(ratios, [0.025, 0.975]))
    shows = _shows(float(black / white), ratios, fields.confidence, hiding, rules)
    coats = _coats_needed(fields, coats_sprayed, hiding, rules) if coats_sprayed is not None else None
    return HidingResult(
        shows=shows,
        contrast_ratio=float(black / white),
        contrast_interval=(low, high),
        field_delta_e00=fields.confidence.median,
        field_interval=fields.confidence.interval(0.95),
        coats=coats,
        findings=_findings(shows, coats, finish, rules),
    )


def _luminance(lab: Array) -> Array:
    """Return luminous reflectance Y (...), 1.0 = a perfect white, above zero."""
    return np.maximum(xyz_from_lab(lab)[..., 1], 1e-6)


def _shows(ratio: float, ratios: Array, confidence: ConfidenceCurve, hiding: Hiding, rules: HidingRules) -> Shows:
    """Return what is seen: a ratio or a colour difference surely beyond its limit shows; both within it do not."""
    chance_below = float(np.mean(ratios < hiding.contrast_ratio))
    chance_visible = 1.0 - float(np.interp(rules.field_difference, confidence.size, confidence.unbiased))
    if max(chance_below, chance_visible) >= rules.sureness:
        return Shows.SHOWS
    if ratio >= hiding.contrast_ratio and confidence.median <= rules.field_difference:
        return Shows.NO_TRACE_SEEN
    return Shows.UNSURE


def _coats_needed(fields: FieldsReading, sprayed: float, hiding: Hiding, rules: HidingRules) -> CoatsNeeded | None:
    """Return the coats that hide, over every film that the two colours leave possible; None when they fit no film."""
    chart = (rules.chart_black, hiding.chart_white)
    films = films_behind(fields.draws.card_lab, fields.draws.vehicle_lab, chart, rules.film, SEED)
    possible = films.misfit < rules.film.most_misfit
    if not possible.any():
        return None
    coats, weight = sprayed * films.factor_to_hide(hiding.contrast_ratio)[possible], films.weight[possible]
    wanted_at = (0.025, 0.5, rules.coats_sureness, 0.975)
    low, middle, wanted, high = (float(each) for each in _weighted_quantiles(coats, weight, wanted_at))
    whole = int(np.ceil(wanted - 1e-6)) if wanted <= rules.most_coats else None
    return CoatsNeeded(sprayed, middle, (low, high if np.isfinite(high) else None), whole)


def _weighted_quantiles(values: Array, weight: Array, shares: Sequence[float]) -> Array:
    """Return the least value with at least each share of the weight at or below it; values may be infinite."""
    order = np.argsort(values)
    reached = np.cumsum(weight[order]) / weight.sum()
    return np.asarray(values[order][np.minimum(np.searchsorted(reached, shares), len(values) - 1)])


def _findings(shows: Shows, coats: CoatsNeeded | None, finish: Finish, rules: HidingRules) -> tuple[Finding, ...]:
    found = []
    if shows is Shows.SHOWS:
        whole = {"coats": coats.whole} if coats and coats.whole else {}
        found.append(Finding(HidingCode.NOT_HIDING, True, values=whole))
    if shows is Shows.UNSURE:
        found.append(Finding(HidingCode.HIDING_UNSURE, False))
    if coats and coats.whole is None:
        found.append(Finding(HidingCode.HIDES_BADLY, False))
    if shows is Shows.SHOWS and coats and coats.is_wide(rules.wide):
        found.append(Finding(HidingCode.COATS_WIDE, False))
    if coats and finish is not Finish.SOLID:
        found.append(Finding(HidingCode.COATS_ROUGH, False))
    return tuple(found)
