"""Every number of ``calibration/own_camera.toml`` in one place."""

from dataclasses import dataclass

from match import calibration as files
from match.camera.null_test import NullRules
from match.camera.trust import TrustRules


@dataclass(frozen=True)
class CameraRules:
    """The whole of ``calibration/own_camera.toml``."""

    null_test: NullRules
    camera_trust: TrustRules


def load_camera_rules() -> CameraRules:
    """Read the rules, a user's own copy first."""
    return files.load(CameraRules, "own_camera")
