"""A verdict's line on the command line, and the junctions that a command asks for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from match.words import capital

if TYPE_CHECKING:
    from match.check.verdict import Verdict

JUNCTIONS = ("same-panel", "body-line", "panel-gap", "other-part")


def verdict_line(verdict: Verdict, sure: str, reason: str) -> str:
    """Return the verdict's word, how sure it is, and the one sentence that says why."""
    beside = f"{capital(sure)}. " if sure else ""
    return f"{verdict.value.upper()}: {beside}{reason}"
