"""Which patch is the card and which the grey reference, told by the paint around them.

The card is the patch nearest to the paint that lies on both sides of it; a grey reference is neutral and is not. Where
two patches could be either, the answer is none.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity
from match.colorimetry import Array, delta_e00
from match.photo.proposals.patches import EvenPatch, Lab, colours_in

MIDDLE = (0.15, 0.85)
BESIDE = ((-0.40, -0.12, *MIDDLE), (1.12, 1.40, *MIDDLE), (*MIDDLE, -0.40, -0.12), (*MIDDLE, 1.12, 1.40))
"""Engineering choice: left, right, above, below in a patch's own widths and heights, clear of its shadow."""


@dataclass(frozen=True)
class ChoiceSettings:
    """How patches are told apart; see ``calibration/capture.toml``."""

    neutral_chroma: float = quantity("CIELAB chroma")
    brightest: float = quantity("CIELAB lightness")
    paint_agreement: float = quantity("CIEDE2000")
    card_difference: float = quantity("CIEDE2000")
    clear_difference: float = quantity("CIEDE2000")
    grey_difference: float = quantity("CIEDE2000")
    steps_like_size: float = quantity("times the area")
    steps_near: float = quantity("widths of the larger")
    least_tone_slope: float = quantity("log light per log reflectance")
    most_tone_slope: float = quantity("log light per log reflectance")
    sure_support: float = quantity("fraction of the settings")


@dataclass(frozen=True, eq=False)
class Seen:
    """A patch with its colour, CIELAB (3,), and the paint around it (3,) with its CIEDE2000, where paint is seen."""

    patch: EvenPatch
    lab: Array
    paint: Array | None
    difference: float

    def is_neutral(self, choice: ChoiceSettings) -> bool:
        """Return whether the patch could be a grey reference."""
        return float(np.hypot(self.lab[1], self.lab[2])) <= choice.neutral_chroma


@dataclass(frozen=True, eq=False)
class Choice:
    """The card and its confidence, and the grey patches, darkest first, with theirs; confidences 0 to 1."""

    card: Seen | None = None
    card_confidence: float = 0.0
    greys: tuple[Seen, ...] = ()
    grey_confidence: float = 0.0


def choose(lab: Lab, patches: Sequence[EvenPatch], reflectances: Sequence[float], choice: ChoiceSettings) -> Choice:
    """Tell card and grey reference among the patches of a work picture.

    Parameters
    ----------
    lab : (h, w, 3) CIELAB
    reflectances : luminous reflectances of the grey reference's patches, one for a card
    """
    seen = [found for patch in patches if (found := _look(lab, patch, choice)).lab[0] <= choice.brightest]
    steps = _steps(seen, sorted(reflectances), choice) if len(reflectances) > 1 else ()
    card, margin = _card([found for found in seen if all(found is not step for step in steps)], choice)
    greys = steps or (_single_grey(seen, card, choice) if len(reflectances) == 1 else ())
    if card is not None and card.is_neutral(choice) and not greys:
        return Choice()  # one neutral patch on a neutral car is either
    return Choice(
        card,
        _sure(card.patch.support, choice) * min(margin / choice.clear_difference, 1.0) if card is not None else 0.0,
        greys,
        min((_sure(grey.patch.support, choice) for grey in greys), default=0.0),
    )


def _sure(support: float, choice: ChoiceSettings) -> float:
    return min(support / choice.sure_support, 1.0)


def _look(lab: Lab, patch: EvenPatch, choice: ChoiceSettings) -> Seen:
    """Return the patch with its colour and the paint of the two sides that agree best."""
    colour = _middle_colour(lab, patch.part(*MIDDLE, *MIDDLE))
    assert colour is not None  # a patch keeps off the picture's border
    sides = [side for part in BESIDE if (side := _middle_colour(lab, patch.part(*part))) is not None]
    pairs = [(float(delta_e00(one, other)), one, other) for one, other in combinations(sides, 2)]
    agreeing = min(pairs, key=lambda pair: pair[0], default=None)
    if agreeing is None or agreeing[0] > choice.paint_agreement:
        return Seen(patch, colour, None, float("inf"))
    paint = (agreeing[1] + agreeing[2]) / 2
    return Seen(patch, colour, paint, float(delta_e00(colour, paint)))


def _middle_colour(lab: Lab, corners: Array) -> Array | None:
    colours = colours_in(lab, corners)
    return np.median(colours, axis=0).astype(np.float64) if len(colours) else None


def _card(seen: Sequence[Seen], choice: ChoiceSettings) -> tuple[Seen | None, float]:
    """Return the patch nearest to the paint around it and by how much it is; None when another is nearly as near."""
    near = sorted((found for found in seen if found.paint is not None), key=lambda found: found.difference)
    if not near or near[0].difference > choice.card_difference:
        return None, 0.0
    margin = near[1].difference - near[0].difference if len(near) > 1 else float("inf")
    return (near[0], margin) if margin >= choice.clear_difference else (None, 0.0)


def _single_grey(seen: Sequence[Seen], card: Seen | None, choice: ChoiceSettings) -> tuple[Seen, ...]:
    """Return the one neutral patch that stands out from the paint and is not the card; empty for none or several."""
    greys = [
        found
        for found in seen
        if found is not card and found.is_neutral(choice) and found.difference >= choice.grey_difference
    ]
    if card is None:  # then a neutral patch near the paint could be the card
        greys = [found for found in greys if found.difference > choice.card_difference]
    return tuple(greys) if len(greys) == 1 else ()


def _steps(seen: Sequence[Seen], reflectances: Sequence[float], choice: ChoiceSettings) -> tuple[Seen, ...]:
    """Return the one group of neutral patches, side by side and alike in size, that can be the steps, darkest first."""
    neutral = [found for found in seen if found.is_neutral(choice)]
    fitting = []
    for group in combinations(neutral, len(reflectances)):
        ordered = sorted(group, key=lambda found: float(found.lab[0]))
        if _side_by_side(ordered, choice) and _could_reflect(ordered, reflectances, choice):
            fitting.append(tuple(ordered))
    return fitting[0] if len(fitting) == 1 else ()


def _side_by_side(group: Sequence[Seen], choice: ChoiceSettings) -> bool:
    """Return whether the patches are alike in size and each has another near it."""
    areas = [found.patch.area_px for found in group]
    if max(areas) > choice.steps_like_size * min(areas):
        return False
    middles = np.array([found.patch.middle_px for found in group])
    apart = np.linalg.norm(middles[:, None] - middles[None], axis=-1) + np.diag(np.full(len(group), np.inf))
    reach = choice.steps_near * max(float(np.linalg.norm(found.patch.across_px)) for found in group)
    return bool(np.all(apart.min(axis=1) <= reach))


def _could_reflect(ordered: Sequence[Seen], reflectances: Sequence[float], choice: ChoiceSettings) -> bool:
    """Return whether light rises from step to step about as the reflectances say."""
    light = np.log([_luminance(found.lab) for found in ordered])
    slopes = np.diff(light) / np.diff(np.log(reflectances))
    return bool(np.all((slopes >= choice.least_tone_slope) & (slopes <= choice.most_tone_slope)))


def _luminance(lab: Array) -> float:
    """Return the luminance (white 1) of a CIELAB colour (3,)."""
    pixel: NDArray[np.float32] = np.asarray(lab, dtype=np.float32).reshape(1, 1, 3)
    xyz = cv2.cvtColor(cv2.cvtColor(pixel, cv2.COLOR_LAB2LRGB), cv2.COLOR_RGB2XYZ)
    return max(float(xyz[0, 0, 1]), 1e-4)
