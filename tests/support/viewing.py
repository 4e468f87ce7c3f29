"""How a result is looked at in tests: the shipped table of limits, narrowed by who looks."""

from match.blend.room import load_blend_calibration
from match.blend.viewing import Strictness, Viewing
from match.check.verdict import allowed

CALIBRATION = load_blend_calibration()


def looked_at(strictness: Strictness, *distances_m: float, light_lux: float = 1000.0, veil: float = 0.0) -> Viewing:
    """Return viewing conditions with the shipped limits."""
    table = allowed(CALIBRATION.tolerances, most=strictness.gap_limit)
    return Viewing(light_lux, distances_m, strictness, table, CALIBRATION.viewers, veil)
