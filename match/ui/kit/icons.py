"""The four verdicts as silhouettes: each has its own outline, so that no colour is needed to tell them apart."""

import base64

from match.check.verdict import Verdict

_SHAPES = {
    Verdict.GO: (
        '<circle cx="36" cy="36" r="32" fill="#fff"/>'
        '<path d="M20 37l11 11 21-23" fill="none" stroke="#161616" stroke-width="7" stroke-linecap="round" '
        'stroke-linejoin="round"/>'
    ),
    Verdict.BLEND: (
        '<defs><linearGradient id="fade"><stop offset="0.1" stop-color="#fff"/>'
        '<stop offset="0.9" stop-color="#fff" stop-opacity="0"/></linearGradient></defs>'
        '<rect x="5" y="14" width="62" height="44" fill="url(#fade)" stroke="#fff" stroke-width="4"/>'
    ),
    Verdict.RETINT: (
        '<path d="M36 4C36 4 12 31 12 46a24 23 0 0 0 48 0C60 31 36 4 36 4z" fill="#fff"/>'
        '<path d="M36 34v22M25 45h22" stroke="#161616" stroke-width="6" stroke-linecap="round"/>'
    ),
    Verdict.RETAKE: (
        '<path d="M6 20h14l6-9h20l6 9h14v40H6z" fill="#fff" stroke="#fff" stroke-width="4" stroke-linejoin="round"/>'
        '<path d="M47 33a13 13 0 1 0 2 9" fill="none" stroke="#161616" stroke-width="5" stroke-linecap="round"/>'
        '<path d="M50 24v11H39z" fill="#161616"/>'
    ),
}


def verdict_icon(verdict: Verdict) -> str:
    """Return the address of the verdict's silhouette, white on a dark ground, for the ``src`` of an image."""
    drawing = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 72 72">{_SHAPES[verdict]}</svg>'
    return "data:image/svg+xml;base64," + base64.b64encode(drawing.encode()).decode("ascii")
