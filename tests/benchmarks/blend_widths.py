"""Print the widths the planner asks for, and how much each engineering choice moves them.

Nothing here is a check: it is the table to read before trusting a width.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from match import calibration
from match.blend.coat_plans import BlendPractice, fade_library
from match.blend.edge import no_line_terms
from match.blend.film import hiding_exponent
from match.blend.viewing import Strictness, Vision
from match.blend.visibility import RampLaw, required_width_deg, step_terms, visibility, width_mm
from match.check.verdict import Tolerances, allowed
from match.colorimetry import delta_e00, xyz_from_lab

PAIRS = (
    ((50, 0, 0), (1, 0, 0)),
    ((50, 0, 0), (2, 0, 0)),
    ((50, 0, 0), (4, 0, 0)),
    ((25, 0, 0), (2, 0, 0)),
    ((80, 0, 0), (2, 0, 0)),
    ((50, 0, 0), (0, 2, 0)),
    ((50, 0, 0), (0, 0, 2)),
    ((40, 50, 30), (0, 1.715, 1.029)),
    ((50, 0, 0), (1, 1, 1)),
)
DISTANCES_M = (1.0, 2.0, 3.0)
LIGHT_LUX = 1000.0

VISION = calibration.load(Vision, "vision")
TOLERANCES = calibration.load(Tolerances, "tolerances")
PRACTICE = calibration.load(BlendPractice, "practice")
EXPERT, OWNER = (calibration.load(Strictness, "vision", "strictness", word) for word in ("expert", "ordinary"))


def main() -> None:
    """Print both tables."""
    print(
        "Straight fade in mm that hides the difference; 1000 lx, edge with no line. In brackets: how far the paint then"
    )
    print("reaches from the repair with the better of the shipped gun set-ups, covered strip included.\n")
    head = "  ".join(f"{s} {d:g} m".rjust(14) for s in ("expert", "owner") for d in DISTANCES_M)
    print(
        f"{'mean L a b':>12s} {'difference':>14s} {'dE00':>5s} {'dE_NS':>5s} {'V':>5s}  {head}   published, expert 1 m"
    )
    for mean, difference in PAIRS:
        _row(np.array(mean, float), np.array(difference, float))
    print(
        "\nWhat each choice does to the straight width, as a factor (dL 2 at L 50; mixed 1,1,1; db 2), expert at 1 m:\n"
    )
    for words, factors in _choices():
        print(f"  {words:74s} " + "  ".join(f"{factor:5.2f}" for factor in factors))
    print("\nAnd to the reach of the paint, dL 2 at L 50, owner at 2 m:\n")
    for words, reach in _film_choices():
        print(f"  {words:74s} {reach:6.0f} mm")


def _width(
    colours: tuple[np.ndarray, np.ndarray],
    strictness: Strictness,
    distance_m: float,
    law: RampLaw,
    light_lux: float = LIGHT_LUX,
    most: float | None = None,
) -> float:
    """Return the straight width that passes both tests, detection and appearance; ``most`` dE_NS if not the shop's."""
    mean, difference = colours
    card, car = mean + difference / 2, mean - difference / 2
    seen = required_width_deg(step_terms(card, car, light_lux, VISION.eye), strictness.visibility_limit, law)
    liked = required_width_deg(no_line_terms(card, car, VISION.edge), most or _faded(strictness), law)
    return float(width_mm(max(float(seen), float(liked)), distance_m))


def _faded(strictness: Strictness) -> float:
    return allowed(TOLERANCES, most=strictness.gap_limit).faded


def _reach(y: float, straight_mm: float, practice: BlendPractice = PRACTICE, coats: float = 2.0) -> float:
    exponent = float(hiding_exponent(y, practice.hiding))
    return min(
        float(fade_library(exponent, coats, gun, practice.hiding, practice.fade).least_reach_mm(np.array(straight_mm)))
        for gun in practice.guns.values()
    )


def _row(mean: np.ndarray, difference: np.ndarray) -> None:
    colours, card, car = (mean, difference), mean + difference / 2, mean - difference / 2
    cells = []
    for strictness in (EXPERT, OWNER):
        for distance in DISTANCES_M:
            width = _width(colours, strictness, distance, VISION.ramp)
            reach = _reach(float(xyz_from_lab(card)[1]), width) if width > 0.0 else 0.0
            cells.append(f"{width:5.0f} [{reach:4.0f}]".rjust(14) if width else "no fade".rjust(14))
    low, high = (_width(colours, EXPERT, 1.0, law) for law in (VISION.ramp.narrowest(), VISION.ramp.widest()))
    seen = float(visibility(step_terms(card, car, LIGHT_LUX, VISION.eye), 0.0, VISION.ramp))
    print(
        f"{' '.join(f'{v:g}' for v in mean):>12s} {' '.join(f'{v:g}' for v in difference):>14s} "
        f"{float(delta_e00(card, car)):5.2f} {np.linalg.norm(no_line_terms(card, car, VISION.edge)):5.2f} {seen:5.1f}  "
        f"{'  '.join(cells)}   {low:.0f} to {high:.0f}"
    )


def _choices() -> list[tuple[str, list[float]]]:
    cases = [((50, 0, 0), (2, 0, 0)), ((50, 0, 0), (1, 1, 1)), ((50, 0, 0), (0, 0, 2))]
    colours = [(np.array(mean, float), np.array(difference, float)) for mean, difference in cases]
    law = VISION.ramp

    def factors(
        strictness: Strictness = EXPERT,
        lux: float = LIGHT_LUX,
        ramp: RampLaw = law,
        most: float | None = None,
    ) -> list[float]:
        plain = [_width(colour, EXPERT, 1.0, law) for colour in colours]
        changed = [_width(colour, strictness, 1.0, ramp, lux, most) for colour in colours]
        return [a / b for a, b in zip(changed, plain, strict=True)]

    return [
        ("judged by an ordinary owner instead of an expert", factors(OWNER)),
        ("limit of visibility 2 instead of 1", factors(replace(EXPERT, visibility_limit=2.0))),
        ("appearance (dE_NS) not asked for", factors(most=99.0)),
        ("step corner 0.22 degree (Barten) instead of 0.5", factors(ramp=replace(law, achromatic_width=0.22))),
        ("step corner 0.75 degree (a long edge) instead of 0.5", factors(ramp=replace(law, achromatic_width=0.75))),
        (
            "colour not stretched (castleCSF, fixed area) instead of 3.65",
            factors(ramp=replace(law, chroma_stretch=1.0)),
        ),
        ("colour stretched 12 (low-pass limit) instead of 3.65", factors(ramp=replace(law, chroma_stretch=12.0))),
        ("half-cosine fade instead of straight (exact: its steepest slope)", [np.pi / 2.0] * len(colours)),
        ("300 lx instead of 1000", factors(lux=300.0)),
        ("10000 lx (open shade) instead of 1000", factors(lux=10_000.0)),
        ("seen from 2 m instead of 1 m (exact: twice)", [2.0, 2.0, 2.0]),
    ]


def _film_choices() -> list[tuple[str, float]]:
    mean, difference = np.array([50.0, 0.0, 0.0]), np.array([2.0, 0.0, 0.0])
    width = _width((mean, difference), OWNER, 2.0, VISION.ramp)
    y = float(xyz_from_lab(mean + difference / 2)[1])
    hiding, fade = PRACTICE.hiding, PRACTICE.fade
    wide = replace(PRACTICE, fade=replace(fade, fan_in_sigmas=5.0))
    dust = replace(PRACTICE, fade=replace(fade, last_coat_reduction=0.5))
    along = replace(PRACTICE, fade=replace(fade, trigger_eases=(0.0,)))
    trace = replace(PRACTICE, hiding=replace(hiding, last_trace=0.05))
    loose = replace(PRACTICE, hiding=replace(hiding, contrast_ratio=0.95))
    return [
        (f"as shipped (straight width needed {width:.0f} mm)", _reach(y, width)),
        ("three coats to cover instead of two", _reach(y, width, coats=3.0)),
        ("fan seen as five standard deviations instead of four", _reach(y, width, wide)),
        ("last coat reduced by half instead of 15 %", _reach(y, width, dust)),
        ("no easing of the trigger, passes along the fade only", _reach(y, width, along)),
        ("a twentieth of the colour counted as none, instead of a fiftieth", _reach(y, width, trace)),
        ("covered means a contrast ratio of 0.95 instead of 0.98", _reach(y, width, loose)),
    ]


if __name__ == "__main__":
    main()
