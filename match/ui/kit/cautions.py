"""The usual cautions of spraying, in few words, wherever a page tells someone to spray."""

SPRAYING = (
    "Two-pack paint and clear hold isocyanates: spray only with air-fed breathing protection, gloves, eye protection "
    "and an extracted booth, no flames or sparks. Data sheets and local rules come first; without the equipment, let a "
    "licensed shop spray."
)


def spraying() -> str:
    """Return the caution as HTML."""
    return f'<p class="sm-note sm-caution"><b>Before spraying.</b> {SPRAYING}</p>'
