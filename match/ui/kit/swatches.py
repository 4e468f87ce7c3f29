"""Card and car as two touching fields on mid-grey, the way a painter compares them."""

from collections.abc import Sequence

import numpy as np

from match.colorimetry import Array, srgb_from_lab
from match.ui.kit.style import text


def screen_colour(lab: Array) -> str:
    """Return the CSS colour of a CIELAB colour (D65), clipped to what an sRGB screen can show."""
    red, green, blue = np.rint(255.0 * srgb_from_lab(lab)).astype(int)
    return f"#{red:02x}{green:02x}{blue:02x}"


def swatches_on_one_car(cards: Sequence[tuple[str, Array]], vehicle_lab: Array, said: Sequence[str] = ()) -> str:
    """Return HTML with named cards side by side, all touching one field of the car's colour, nothing between them.

    ``said`` is a line for each card, under its name.
    """
    fields = "".join(f'<div style="background:{screen_colour(lab)}"></div>' for _, lab in cards)
    names = [name for name, _ in cards]
    heads = "".join(f'<div class="sm-names">{_spans(words)}</div>' for words in (names, said) if words)
    told = f"Side by side, from the left: {', '.join(names)}; under all of them the car."
    return (
        f'<div class="sm-stage">{heads}<div class="sm-pair" role="img" aria-label="{text(told)}">{fields}</div>'
        f'<div class="sm-band" style="background:{screen_colour(vehicle_lab)}"></div>'
        '<div class="sm-names"><span>Car</span></div></div>'
    )


def _spans(words: Sequence[str]) -> str:
    return "".join(f"<span>{text(each)}</span>" for each in words)


def swatches(card_lab: Array, vehicle_lab: Array) -> str:
    """Return HTML with the card on the left and the car on the right, nothing between them."""
    card, vehicle = screen_colour(card_lab), screen_colour(vehicle_lab)
    return (
        '<div class="sm-stage"><div class="sm-pair" role="img" '
        "aria-label=\"The card's colour on the left touches the car's colour on the right.\">"
        f'<div class="sm-card" style="background:{card}"></div>'
        f'<div class="sm-car" style="background:{vehicle}"></div>'
        '</div><div class="sm-names"><span>Card</span><span>Car</span></div></div>'
    )
