"""The usual cautions of spraying, in few words, wherever a page tells someone to spray."""

from __future__ import annotations

SPRAYING = (
    "Two-pack paint and clear hold isocyanates: spray only with air-fed breathing protection, gloves, eye protection "
    "and an extracted booth, away from flames and sparks. The product's data sheets and local rules come first; "
    "without that equipment have it sprayed by a licensed shop."
)


def spraying() -> str:
    """Return the caution as HTML."""
    return f'<p class="sm-note sm-caution"><b>Before spraying.</b> {SPRAYING}</p>'
