"""The colour difference and its visibility, place by place along one side's plan."""

from dataclasses import dataclass

import numpy as np

from match.blend.film import colours_along
from match.blend.need import edge_excess
from match.blend.side_plan import SidePlan
from match.blend.viewing import ColourPair, Viewing, Vision
from match.colorimetry import Array, delta_e00


@dataclass(frozen=True)
class PanelProfile:
    """Along one side, from the repair's edge outwards.

    ``x_mm`` (m,), ``delta_e00`` (m,) to the car's colour, and ``visibility`` (m,) of a straight fade as steep as each
    place, seen from the deciding distance, as a share of what passes. Where the colour is stopped, both end there.
    """

    x_mm: Array
    delta_e00: Array
    visibility: Array


def panel_profile(side: SidePlan, pair: ColourPair, viewing: Viewing, vision: Vision) -> PanelProfile:
    """Return the profile of one side for the middle of one pair's samples."""
    card, vehicle = pair.middle
    x, share = side.fade.x_mm, side.fade.new_share
    slope = np.abs(np.gradient(share, x)) if len(x) > 1 else np.zeros_like(share)
    straight = np.divide(1.0, slope, out=np.full_like(slope, np.inf), where=slope > 1e-9)
    seen = np.zeros_like(slope)
    steep = np.isfinite(straight)
    seen[steep] = edge_excess(card, vehicle, straight[steep], viewing, vision)
    return PanelProfile(x, delta_e00(colours_along(card, vehicle, share), vehicle), seen)
