"""Every number that hiding cards and let-down cards are judged by."""

from dataclasses import dataclass

from match import calibration as files
from match.blend.film import Hiding
from match.coats.hiding import HidingRules
from match.coats.let_down import LetDownRules
from match.several.combine import CombiningRules
from match.several.rules import load_several_rules


@dataclass(frozen=True)
class CardRules:
    """The whole of ``calibration/coats.toml``."""

    hiding: HidingRules
    let_down: LetDownRules


@dataclass(frozen=True)
class CoatsRules:
    """What both judgements rest on beside the calibration of a check."""

    card: CardRules
    film: Hiding
    combining: CombiningRules


def load_coats_rules() -> CoatsRules:
    """Read ``coats.toml``, table ``hiding`` of ``practice.toml``, and how several photos are combined."""
    return CoatsRules(
        files.load(CardRules, "coats"), files.load(Hiding, "practice", "hiding"), load_several_rules().combining
    )
