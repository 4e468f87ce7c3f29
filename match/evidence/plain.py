"""Numbers and findings as JSON knows them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from match.measure.quality import Finding


def rounded(values: Iterable[Any]) -> list[float]:
    """Return numbers to four decimals."""
    return [round(float(value), 4) for value in values]


def findings_for_json(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Return findings as dictionaries."""
    return [{"code": f.code, "text": f.text, "remedy": f.remedy, "spoils": f.spoils} for f in findings]
