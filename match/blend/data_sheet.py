"""What a paint line's technical data sheet says, typed once: its figures win over common practice everywhere.

A figure has a name to be typed by, and a place in ``practice.toml`` whose number it replaces; what is plausible there
is plausible here.
"""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from match.blend.coat_plans import BlendPractice
from match.blend.job_practice import JobPractice
from match.calibration import plausible
from match.errors import PlanError

LONGEST_NAME = 40
MOST_LINES = 100
SOURCE = "technical data sheet"


@dataclass(frozen=True)
class Figure:
    """One figure of a data sheet: its place in ``practice.toml``, its words, its unit, and whether it is a range."""

    table: str
    field: str
    words: str
    unit: str
    ranged: bool = False


FIGURES = {
    "coats": Figure("hiding", "coats_to_cover", "Coats of colour", "coats"),
    "film": Figure("base", "dry_film", "Dry film of colour", "um per covering coat"),
    "reducer": Figure("base", "reducer", "Reducer", "parts per part of base"),
    "flash": Figure("base", "flash", "Flash between coats of colour", "min", ranged=True),
    "before-clear": Figure("base", "flash_before_clear", "Flash before the clear", "min", ranged=True),
    "clear-coats": Figure("clear", "coats", "Coats of clear", "coats"),
    "clear-film": Figure("clear", "dry_film", "Dry film of clear", "um per coat"),
    "clear-hardener": Figure("clear", "hardener", "Hardener", "parts per part of clear"),
    "clear-reducer": Figure("clear", "reducer", "Reducer in the clear", "parts per part of clear"),
    "clear-flash": Figure("clear", "flash", "Flash between coats of clear", "min", ranged=True),
}
"""By the name a figure is typed by."""


@dataclass(frozen=True)
class DataSheet:
    """A paint line's figures, by name (:data:`FIGURES`); one number, or lowest and highest for a range."""

    line: str
    figures: tuple[tuple[str, tuple[float, ...]], ...]

    def __post_init__(self) -> None:
        """Raise :class:`PlanError` for a name or a count of numbers that cannot be."""
        if not self.line.strip() or len(self.line) > LONGEST_NAME or not self.line.isprintable():
            raise PlanError(f"a paint line cannot be called {self.line!r}: give a name of up to {LONGEST_NAME} letters")
        for name, values in self.figures:
            if name not in FIGURES:
                raise PlanError(f"a data sheet has no figure called {name!r}: use one of {', '.join(FIGURES)}")
            if len(values) != 1 + FIGURES[name].ranged:
                asked = "the lowest and the highest" if FIGURES[name].ranged else "one number"
                raise PlanError(f"{FIGURES[name].words.lower()} takes {asked}: correct {name}")
            if values[0] > values[-1]:
                raise PlanError(f"{FIGURES[name].words.lower()}: the lowest comes first, as in 5,15")

    @property
    def coats(self) -> float | None:
        """The coats of colour that it asks for, None where it does not say."""
        return next((values[0] for name, values in self.figures if name == "coats"), None)

    def table(self) -> dict[str, dict[str, Any]]:
        """Return the figures as tables of ``practice.toml``."""
        found: dict[str, dict[str, Any]] = {}
        for name, values in self.figures:
            figure = FIGURES[name]
            value = list(values) if figure.ranged else values[0]
            entry = {"value": value, "unit": figure.unit, "source": f"{SOURCE}, {self.line}"}
            found.setdefault(figure.table, {})[figure.field] = entry
        return found


def sheet_of(line: str, table: Mapping[str, Any]) -> DataSheet:
    """Return the data sheet that :meth:`DataSheet.table` wrote."""
    figures = []
    for name, figure in FIGURES.items():
        part = table.get(figure.table)
        entry = part.get(figure.field) if isinstance(part, Mapping) else None
        if entry is None:
            continue
        value = entry.get("value") if isinstance(entry, Mapping) else None
        values = plausible.numbers(value)
        if values is None:
            raise PlanError(f"{figure.words.lower()} of {line!r} is not a number: correct it")
        figures.append((name, values))
    return DataSheet(line, tuple(figures))


def by_data_sheet(
    practice: BlendPractice, job: JobPractice, sheet: DataSheet | None
) -> tuple[BlendPractice, JobPractice]:
    """Return both practices with the sheet's figures in the place of common practice's; as they are without one."""
    if sheet is None:
        return practice, job
    changed: dict[str, dict[str, Any]] = {}
    for name, values in sheet.figures:
        figure = FIGURES[name]
        changed.setdefault(figure.table, {})[figure.field] = values if figure.ranged else values[0]
    hiding = dataclasses.replace(practice.hiding, **changed.get("hiding", {}))
    base = dataclasses.replace(job.base, **changed.get("base", {}))
    clear = dataclasses.replace(job.clear, **changed.get("clear", {}))
    return dataclasses.replace(practice, hiding=hiding), dataclasses.replace(job, base=base, clear=clear)


def usual_figures(practice: BlendPractice, job: JobPractice) -> dict[str, tuple[float, ...]]:
    """Return what common practice gives for each figure."""
    of = {"hiding": practice.hiding, "base": job.base, "clear": job.clear}
    found = {name: getattr(of[figure.table], figure.field) for name, figure in FIGURES.items()}
    return {name: value if isinstance(value, tuple) else (float(value),) for name, value in found.items()}
