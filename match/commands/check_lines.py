"""What a check says on the command line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from match.words import capital

if TYPE_CHECKING:
    from pathlib import Path

    from match.check.cards import CardsAnswer
    from match.check.result import CheckResult, CheckWords
    from match.check.verdict import Verdict
    from match.measure.measurement import Measurement


def verdict_line(verdict: Verdict, sure: str, reason: str) -> str:
    """Return the verdict's word, how sure it is, and the one sentence that says why."""
    beside = f"{capital(sure)}. " if sure else ""
    return f"{verdict.value.upper()}: {beside}{reason}"


def plain(path: Path, result: CheckResult, several: bool, cards: CardsAnswer | None = None) -> str:
    """Return the few lines that a person reads."""
    said, lines = result.said(), [f"{path.name}:"] if several else []
    lines.append(verdict_line(result.verdict, result.sure, said.reason))
    if cards:
        lines += [f"  {sentence}" for sentence in (*cards.sentences, *(card.sentence for card in cards.cards))]
    lines += [f"  {reason}" for reason in result.reasons]
    lines.append(f"  What that looks like: {result.meaning}.")
    lines += [f"  Part: {sentence}" for part in result.parts for sentence in part.sentences()]
    lines += [f"  Photo: {words}" for words in _doubts(said)]
    lines += [f"  Note: {note}" for note in result.notes]
    lines += [f"  Next: {step}" for step in said.advice]
    lines += [f"  {option}" for option in _options(result.measurement)]
    lines += [f"  To be surer: {step.words}" for step in result.better]
    return "\n".join(lines)


def _options(measurement: Measurement) -> tuple[str, ...]:
    """Return the options that answer what is doubtful of the marks."""
    mend = "The likely slip is put right by --mend-marks." if measurement.mended else ""
    word = "If you looked, and the marks are right, say so by --marks-are-right." if measurement.if_sure else ""
    return tuple(option for option in (mend, word) if option)


def _doubts(said: CheckWords) -> tuple[str, ...]:
    """Return what is wrong with the photo, without what is told anyway: as the reason, or as what to do next."""
    left = [(() if each.is_reason else (each.text,), each.remedy) for each in said.warnings]
    lines = [" ".join((*text, *(() if remedy in said.advice else (remedy,)))) for text, remedy in left]
    return tuple(line for line in lines if line)
