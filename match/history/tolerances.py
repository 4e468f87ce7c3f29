"""Tolerances that a shop's outcomes suggest: offered in words, and written to the user's own file only when accepted.

Outcomes of paint put on straight inform the acceptability limit (the difference of which half are taken for none);
outcomes of fades inform the limit from blend to retint (the difference of which nine in ten still hide).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import tomlkit

from match import calibration
from match.calibration import quantity
from match.check.verdict import Limits, Verdict, limit_words
from match.errors import CalibrationError, FileError
from match.files import changing
from match.history.learning import Estimate, HeldCount, Learned, LearningRules, counted, learn
from match.history.records import Observed

FILE = "tolerances"
_CHANCE = {"acceptability": "half", "blend_to_retint": "nine in ten"}


@dataclass(frozen=True)
class ShopLearning:
    """Everything in ``calibration/learning.toml``."""

    go: LearningRules
    blend: LearningRules
    edges: tuple[float, ...] = quantity("CIEDE2000")
    least_change: float = quantity("CIEDE2000")


@dataclass(frozen=True)
class Offer:
    """A limit of the tolerances file that outcomes up to ``day`` would set otherwise; CIEDE2000."""

    limit: str
    now: float
    offered: float
    source: str
    day: date


@dataclass(frozen=True)
class Lesson:
    """What the outcomes after one verdict say, and what they offer; ``why_not`` says why nothing is offered."""

    deed: Verdict
    counts: tuple[HeldCount, ...]
    learned: Learned
    offer: Offer | None
    why_not: str


def load_rules() -> ShopLearning:
    """Read the starting beliefs and the steps in which outcomes are counted."""
    return calibration.load(ShopLearning, "learning")


def load_limits() -> Limits:
    """Read the limits in force, the user's own first."""
    return calibration.load(Limits, FILE, "limits")


def lessons(outcomes: Sequence[Observed], rules: ShopLearning, limits: Limits, today: date) -> tuple[Lesson, ...]:
    """Return what outcomes of straight paint and of fades teach; a deed that was never noted teaches neither."""
    return (
        _lesson(Verdict.GO, "acceptability", outcomes, rules.go, rules, limits, today),
        _lesson(Verdict.BLEND, "blend_to_retint", outcomes, rules.blend, rules, limits, today),
    )


def _lesson(
    deed: Verdict,
    limit: str,
    outcomes: Sequence[Observed],
    beliefs: LearningRules,
    rules: ShopLearning,
    limits: Limits,
    today: date,
) -> Lesson:
    mine = [outcome for outcome in outcomes if outcome.verdict_followed == deed.value]
    counts = tuple(count for count in counted(mine, rules.edges) if count.total or count.unsure)
    learned = learn(mine, beliefs)
    point = learned.half if limit == "acceptability" else learned.ninety
    if point is None:
        return Lesson(deed, counts, learned, None, learned.missing)
    offer = _offer(limit, point, learned, getattr(limits, limit), today)
    return Lesson(deed, counts, learned, *_fitting(offer, rules.least_change, limits))


def _offer(limit: str, point: Estimate, learned: Learned, now: float, today: date) -> Offer:
    """Return the point as a limit, to a tenth, and never beyond the greatest difference that was ever delivered."""
    offered = round(min(point.median, learned.greatest_difference), 1)
    source = (
        f"shop setting accepted on {today.isoformat()}: learned from this shop's outcomes, {learned.held} that hid and "
        f"{learned.seen} that were seen; {_CHANCE[limit]} hide at {point.median:.2f} "
        f"(95 % credible {point.low:.2f} to {point.high:.2f}); was {limit_words(now)}"
    )
    return Offer(limit, now, offered, source, today)


def _fitting(offer: Offer, least_change: float, limits: Limits) -> tuple[Offer | None, str]:
    """Return the offer, or None and the reason, when it changes nothing or would put the limits out of order."""
    if abs(offer.offered - offer.now) < least_change - 1e-9:
        return None, "the outcomes agree with the limit in force"
    changed = replace(limits, **{offer.limit: offer.offered})
    if not 0.0 < changed.perceptibility <= changed.acceptability <= changed.blend_to_retint:
        return None, (
            f"the outcomes point to {limit_words(offer.offered)}, which would put the limits out of order: "
            "look at the outcomes, and edit the tolerances file yourself if they are right"
        )
    return offer, ""


def accept(offer: Offer) -> Path:
    """Write the offered limit into the user's own tolerances file, every other line as it was; return its path.

    Raises :class:`CalibrationError` when the file has no such line, has changed since the offer was made, or cannot be
    written.
    """
    target = calibration.own_file(FILE)
    try:
        with changing(target, "the tolerances file", make_folder=True) as write:
            current = calibration.source_file(FILE)  # under the lock: what another has just accepted is kept
            changed = with_limit(current.read_text(encoding="utf-8"), offer)
            calibration.require_plausible(tomlkit.parse(changed).unwrap(), calibration.Place(target, FILE))
            write(changed)
    except FileError as error:
        raise CalibrationError(f"nothing was changed: {error}") from None
    except (OSError, UnicodeDecodeError) as error:
        raise CalibrationError(f"{current} cannot be read ({error}): nothing was changed") from None
    calibration.read_again()
    return target


def with_limit(text: str, offer: Offer) -> str:
    """Return the text of a tolerances file with one limit replaced, its source told, and its version marked."""
    table = tomlkit.parse(text)
    found = table.unwrap().get("limits", {}).get(offer.limit, {}).get("value")
    if found != offer.now:
        raise CalibrationError(f"the limit {offer.limit} is {found} by now, not {offer.now}: look at the offer again")
    limits: Any = table["limits"]
    limits[offer.limit].update({"value": offer.offered, "source": offer.source})
    version = str(table.get("version", "")).partition(" shop ")[0]
    table["version"] = f"{version} shop {offer.day.isoformat()}"
    return tomlkit.dumps(table)
