"""The calibration files that a check rests on, read together."""

import math
from dataclasses import dataclass, field

from match import calibration as files
from match.check.marks.rules import MarkRules
from match.check.next_step import NextStepFile
from match.check.verdict import Tolerances
from match.check.viewers import Viewers, load_viewers
from match.measure.measurement import CameraCalibration
from match.measure.tone import GreyTolerance
from match.measure.words import meaning


@dataclass(frozen=True)
class GreyReference:
    """A grey reference; see ``calibration/greys.toml``."""

    label: str
    reflectance: float = files.quantity("luminous reflectance")
    tolerance: float = files.quantity("fraction")
    neutral: float = field(default=0.0, metadata={"unit": "log units", "low": None, "high": None})


@dataclass(frozen=True)
class Greys:
    """The grey references a shop may own, and the one assumed when nothing is said."""

    default: str
    greys: dict[str, GreyReference]

    @property
    def default_reflectance(self) -> float:
        """Luminous reflectance (0 to 1) of the default grey."""
        return self.greys[self.default].reflectance

    @property
    def named(self) -> dict[str, float]:
        """Reflectance of every grey by its name, as it may be typed in place of a number."""
        return {name: grey.reflectance for name, grey in self.greys.items()}

    def tolerance(self, reflectance: float, other_steps: tuple[tuple[float, float], ...] = ()) -> GreyTolerance:
        """Return how well the grey of this reflectance is known; the default's tolerance for a user's own.

        ``other_steps`` are the reflectances that it may have instead, each with its chance.
        """
        others = tuple((math.log(step / reflectance), chance) for step, chance in other_steps)
        for grey in self.greys.values():
            if abs(grey.reflectance - reflectance) < 1e-6:
                return GreyTolerance(grey.tolerance, grey.neutral, others)
        return GreyTolerance(self.greys[self.default].tolerance, others=others)


@dataclass(frozen=True)
class Calibration:
    """All the numbers a check rests on; ``fingerprint`` changes when any of them does."""

    camera: CameraCalibration
    greys: Greys
    tolerances: Tolerances
    viewers: Viewers
    marks: MarkRules
    steps: NextStepFile
    fingerprint: str

    def meaning(self, delta_e00: float) -> str:
        """Say what a CIEDE2000 difference looks like, by the shop's own limits."""
        return meaning(float(self.viewers.seeing(delta_e00)), float(self.viewers.objecting(delta_e00)))


def load_calibration() -> Calibration:
    """Read the calibration files, the user's own copies first."""
    tolerances = files.load(Tolerances, "tolerances")
    return Calibration(
        camera=files.load(CameraCalibration, "camera"),
        greys=files.load(Greys, "greys"),
        tolerances=tolerances,
        viewers=load_viewers(tolerances),
        marks=files.load(MarkRules, "marks"),
        steps=files.load(NextStepFile, "next_steps"),
        fingerprint=files.fingerprint("camera", "greys", "tolerances", "viewers", "marks", "next_steps"),
    )
