"""Every number of ``calibration/several.toml`` in one place."""

from dataclasses import dataclass

from match import calibration as files
from match.several.angle_order import OrderRules
from match.several.combine import CombiningRules
from match.several.lights import LightRules
from match.several.texture import TextureRules
from match.several.travel import TechniqueRules


@dataclass(frozen=True)
class SeveralRules:
    """The whole of ``calibration/several.toml``."""

    combining: CombiningRules
    technique: TechniqueRules
    angles: OrderRules
    texture: TextureRules
    lights: LightRules


def load_several_rules() -> SeveralRules:
    """Read the rules, a user's own copy first."""
    return files.load(SeveralRules, "several")
