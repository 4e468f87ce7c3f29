"""Whether two checks that a plan joins by their card show the same one."""

from dataclasses import dataclass

import numpy as np

from match.check.saved import SavedCheck, SavedFinding
from match.colorimetry import delta_e00, is_beyond
from match.errors import PlanError
from match.several.photo_set import Angle

SURE = 0.999
"""Engineering choice: refused is only what two photos of one card show once in a thousand."""

NOT_COMPARED = SavedFinding(
    "card-not-compared",
    "one of the two checks does not say how sure its card's own colour is, or saw the card from another angle, so "
    "nobody can tell whether both show the same card.",
    "Make sure of it, or check both photos again.",
    spoils=False,
)


@dataclass(frozen=True)
class _Seen:
    angle: str
    labs: dict[str, tuple[float, float, float]]


def same_card(one: SavedCheck, other: SavedCheck) -> SavedFinding | None:
    """Compare the card's own colour in two checks by what both photos leave open of it.

    The squared distance in CIELAB, weighed by the sum of both covariances, is that of one card with the chi-squared
    distribution of three degrees of freedom.

    Raises :class:`PlanError` when they show two cards.

    Returns
    -------
    None where both may show one card, and a warning where that cannot be told.
    """
    first, second = _seen(one), _seen(other)
    if one.card_lab_covariance is None or other.card_lab_covariance is None or first.angle not in second.labs:
        return NOT_COMPARED
    lab, its = np.array(first.labs[first.angle]), np.array(second.labs[first.angle])
    noise = np.array(one.card_lab_covariance) + np.array(other.card_lab_covariance) + 1e-6 * np.eye(3)
    if not is_beyond(lab - its, noise, SURE):
        return None
    apart = float(delta_e00(lab, its))
    raise PlanError(
        f"{one.name} and {other.name} do not show the same card: its colour differs by {apart:.1f} between them, more "
        "than both photos leave open, so check the one card beside both parts"
    )


def _seen(check: SavedCheck) -> _Seen:
    """Return the card's colour by angle, and the angle whose covariance the check holds."""
    if check.together is None:
        return _Seen(Angle.FACE.value, {Angle.FACE.value: check.card_lab})
    labs = {each.angle: each.card_lab for each in check.together.angles}
    return _Seen(check.together.worst_angle, {**labs, check.together.worst_angle: check.card_lab})
