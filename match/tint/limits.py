"""Limits and practice of tinting, read from ``calibration/tint.toml``."""

from dataclasses import dataclass

from match.calibration import quantity


@dataclass(frozen=True)
class TintLimits:
    """What may be added, how far to trust the model, and what is worth doing: see the sources in the file.

    Load with ``calibration.load(TintLimits, "tint", "limits")``.
    """

    strength_sd: float = quantity("ln")
    guess_sd: float = quantity("ln")
    direction_sd: float = quantity("1")
    card_sd: float = quantity("CIELAB")
    shift_sd: float = quantity("CIELAB")
    scattering_sd: float = quantity("ln")
    shape_sd: float = quantity("ln")
    letdown_sd: float = quantity("ln")
    letdown_shape_sd: float = quantity("ln")
    letdown_scattering: float = quantity("relative S")
    letdown_scattering_sd: float = quantity("relative S")
    most_toners: float = quantity("toners")
    toner_step_share: float = quantity("share by weight")
    total_share: float = quantity("share by weight")
    first_step_share: float = quantity("1")
    learned_share: float = quantity("1")
    overshoot_chance: float = quantity("1")
    toner_gain: float = quantity("CIEDE2000")
    outside_gain: float = quantity("CIEDE2000")
    paint_gain: float = quantity("CIEDE2000")
    chance_gain: float = quantity("1")
    mix_change: float = quantity("1")
    pot_share: float = quantity("share by weight")
    out_of_reach: float = quantity("CIEDE2000")
    least_gain: float = quantity("CIEDE2000")
    offer_gain: float = quantity("CIEDE2000")
    metamerism: float = quantity("CIEDE2000")
    confidence: float = quantity("1")
    turn_degrees: float = quantity("degrees")
    strong_ratio: float = quantity("1")
    halve_share: float = quantity("1")
    letdown_misfit: float = quantity("CIELAB")
    letdown_weak: float = quantity("ln")
    worth_a_word: float = quantity("CIEDE2000")
    scale_step_g: float = quantity("g")
    least_weighed_g: float = quantity("g")
