"""Every number of ``calibration/evidence.toml`` in one place: ``load(EvidenceRules, "evidence")``."""

from __future__ import annotations

from dataclasses import dataclass

from match.evidence.camera_trust import TrustRules
from match.evidence.combine import CombiningRules
from match.evidence.hiding import HidingRules
from match.evidence.let_down import LetDownRules
from match.evidence.lights import LightRules
from match.evidence.null_test import NullRules
from match.evidence.texture import TextureRules
from match.evidence.travel import TechniqueRules


@dataclass(frozen=True)
class EvidenceRules:
    """The whole of ``calibration/evidence.toml``."""

    combining: CombiningRules
    technique: TechniqueRules
    texture: TextureRules
    lights: LightRules
    hiding: HidingRules
    let_down: LetDownRules
    null_test: NullRules
    camera_trust: TrustRules
