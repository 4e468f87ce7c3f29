"""Card and car as two touching fields on mid-grey, the way a painter compares them."""

from __future__ import annotations

import numpy as np

from match.colorimetry import Array, srgb_from_lab


def screen_colour(lab: Array) -> str:
    """Return the CSS colour of a CIELAB colour (D65), clipped to what an sRGB screen can show."""
    red, green, blue = np.rint(255.0 * srgb_from_lab(lab)).astype(int)
    return f"#{red:02x}{green:02x}{blue:02x}"


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
