"""What is wrong with a set of photos, in words: a spoiled photo, one that disagrees, light that differs by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from match.colorimetry import delta_e00
from match.measure.quality import Finding
from match.several.combined import Combined, Outlier


def named(name: str, findings: Sequence[Finding], alone: bool) -> tuple[Finding, ...]:
    """Return a photo's own findings with its name in front, unless it is ``alone``."""
    if alone:
        return tuple(findings)
    return tuple(replace(found, text=f"{name}: {_lower(found.text)}") for found in findings)


def left_out(name: str, findings: Sequence[Finding]) -> Finding:
    """Say that a photo does not count, and why."""
    why = next(found for found in findings if found.spoils)
    return Finding("photo-left-out", f"{name} does not count: {_lower(why.text)}", why.remedy, False)


def disagrees(outlier: Outlier, result: Combined, count: int) -> Finding:
    """Say that one of ``count`` photos disagrees with the rest, and what it does to the result."""
    return Finding(
        "photo-disagrees",
        f"{outlier.name} disagrees with the other {count - 1} photos. It still counts: with it the difference is "
        f"{result.delta_e00:.1f}, without it {outlier.delta_e00_without:.1f}.",
        f"Look at {outlier.name} for glare, shadow or a card that does not lie flat; take it again or remove it.",
        False,
    )


def spread_findings(count: int, wide: bool) -> tuple[Finding, ...]:
    """Say that ``count`` photos lie further apart than a card laid again should; nothing when they do not."""
    if not wide:
        return ()
    which = "The two photos" if count == 2 else f"The {count} photos"
    return (
        Finding(
            "photos-disagree",
            f"{which} disagree with one another by more than a card laid down again should.",
            "Look for glare, shadow or a card that does not lie flat in one of them, and take one more photo.",
            False,
        ),
    )


def sides_differ(result: Combined, warning: float) -> tuple[Finding, ...]:
    """Say that a swap took out a difference of light above ``warning`` (CIEDE2000); nothing when it did not."""
    if result.gradient_lab is None or result.gradient_sd is None:
        return ()
    size = float(delta_e00(result.vehicle_lab + result.gradient_lab, result.vehicle_lab))
    sure = bool(np.any(np.abs(result.gradient_lab) > 2.0 * result.gradient_sd))
    if size < warning or not sure:
        return ()
    return (
        Finding(
            "sides-differ",
            f"The light differs from one side of the card to the other by about {size:.1f}. The swap has taken it out.",
            "Keep the swap in every set you take in this place, or turn the panel or the lamp.",
            False,
        ),
    )


def _lower(text: str) -> str:
    return text[0].lower() + text[1:]
