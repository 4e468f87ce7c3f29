"""How long advice takes with a shelf of 60 toners beside the program's own, and reading that shelf from its table.

Every toner is invented: a pigment class at a strength drawn for it. The colours are those that the tests tint.
"""

from __future__ import annotations

import time

import numpy as np

from match import calibration
from match.tint.pigment import TonerFile, paint_reflectance, toner_set
from match.tint.shelf_file import Shelf, shelf_of
from match.tint.story import Card, Mix, Story
from match.tint.toner_table import Known, read_table
from match.tint.viewing import lab_from_reflectance
from match.tint.what_next import answer, load_tint_calibration

TONERS, SEED, REPEATS = 60, 7, 3
FORMULAS = {
    "beige": {"white": 80.0, "oxide yellow": 12.0, "black": 3.0},
    "blue": {"white": 40.0, "green-shade blue": 20.0, "black": 4.0, "violet": 3.0},
    "red": {"white": 15.0, "red": 60.0, "oxide red": 10.0},
}


def table(count: int = TONERS) -> str:
    """Return a table of invented toners."""
    rng = np.random.default_rng(SEED)
    classes = list(calibration.load(TonerFile, "toners").toners)
    rows = ["name,like,strength,lowest,highest"]
    for number in range(count):
        strength = float(np.exp(rng.normal(0, 0.3)))
        like = classes[number % len(classes)]
        rows.append(f"toner {number:02d},{like},{strength:.3f},{0.8 * strength:.3f},{1.25 * strength:.3f}")
    return "\n".join(rows)


def shelf(count: int = TONERS) -> Shelf:
    """Return the shelf of that table."""
    file = calibration.load(TonerFile, "toners")
    program = toner_set(file)
    found = read_table(table(count), Known(program, file.optics, load_tint_calibration().limits))
    assert not found.faults
    return shelf_of(program, file.optics, found.entries)


def story(formula: dict[str, float], known: bool, on: Shelf) -> Story:
    """Return a pot whose car holds a third more of its last toner and less of its first."""
    card, car = (
        lab_from_reflectance(paint_reflectance([on.toner(name) for name in recipe], list(recipe.values()), on.optics))
        for recipe in (formula, {name: g * (0.5 if i == 0 else 1.5) for i, (name, g) in enumerate(formula.items())})
    )
    start = Card("invented", tuple(card - car), tuple(tuple(row) for row in 0.25 * np.eye(3)))
    return Story(tuple(car), 1.5, 100.0, start, (), Mix(formula if known else None))


def seconds(work) -> tuple[float, float]:  # type: ignore[no-untyped-def]
    """Return the shortest wall time and the shortest CPU time of a few runs."""
    best = [float("inf"), float("inf")]
    for _ in range(REPEATS):
        begun = time.perf_counter(), time.process_time()
        work()
        best = [min(best[0], time.perf_counter() - begun[0]), min(best[1], time.process_time() - begun[1])]
    return best[0], best[1]


def main() -> None:
    """Print the times."""
    limits = load_tint_calibration().limits
    wall, cpu = seconds(shelf)
    print(f"table of {TONERS} toners read: {wall:.2f} s, CPU {cpu:.2f} s")
    for count in (0, TONERS):
        on = shelf(count) if count else shelf_of(*_plain())
        for name, formula in FORMULAS.items():
            for known in (True, False):
                pot = story(formula, known, on)
                wall, cpu = seconds(lambda pot=pot, on=on: answer(pot, on, limits))
                said = "formula known" if known else "formula not known"
                print(f"{len(on.toners):3d} toners, {name}, {said}: {wall:.2f} s, CPU {cpu:.2f} s")


def _plain():  # type: ignore[no-untyped-def]
    file = calibration.load(TonerFile, "toners")
    return toner_set(file), file.optics, {}


if __name__ == "__main__":
    main()
