"""The strip of what was marked: each box's cut-out under its name; it wraps on a phone, nothing scrolls sideways."""

from collections.abc import Sequence

from match.ui.kit import picture_url
from match.ui.kit.style import text


def strip(
    names: Sequence[str], cut_outs: Sequence[bytes], title: str = "What was measured", is_titled: bool = True
) -> str:
    """Return the strip as HTML; ``cut_outs`` are JPEG or PNG files, one for each name.

    Without its title in sight, it is still told to whoever does not see the pictures.
    """
    items = "".join(
        f'<li><b>{text(name)}</b><img src="{picture_url.inline_url(cut_out)}" alt="Cut-out of {text(name)}"></li>'
        for name, cut_out in zip(names, cut_outs, strict=True)
    )
    head = f'<p class="sm-title">{text(title)}</p>' if is_titled else ""
    return f'{head}<ul class="sm-cut-outs" aria-label="{text(title)}">{items}</ul>'
