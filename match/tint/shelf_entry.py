"""What a shop says of one toner of its own, as its file and its tables hold it, and the toner that follows from it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from match.calibration import quantity
from match.errors import TintError
from match.tint.own_toner import named_toner
from match.tint.pigment import Toner
from match.tint.search import UNTINTED

LONGEST_NAME = 60  # characters: fits a line of the page and of the terminal
LEAST_STRENGTH, MOST_STRENGTH = 0.01, 100.0  # of the pigment class's
Z95 = 1.959964  # standard normal, 2.5 % in each tail: what strength bounds are taken to mean


@dataclass(frozen=True)
class NamedEntry:
    """An own toner known by the pigment class it resembles and its strength relative to that.

    ``bounds`` are the lowest and highest that the strength may be, 95 times in 100; ``own_binder`` is "yes", "no" or
    empty where it is not known.
    """

    like: str
    strength: float = quantity("1", low=LEAST_STRENGTH, high=MOST_STRENGTH)
    bounds: tuple[float, ...] = field(default=(), metadata={"unit": "1", "low": LEAST_STRENGTH, "high": MOST_STRENGTH})
    own_binder: str = ""


@dataclass(frozen=True)
class WeakEntry:
    """A weak version of an own toner: the same pigment let down, ``strength`` times as strong, below 1."""

    weak_of: str
    strength: float = quantity("1", low=LEAST_STRENGTH, high=1.0)
    bounds: tuple[float, ...] = field(default=(), metadata={"unit": "1", "low": LEAST_STRENGTH, "high": MOST_STRENGTH})
    own_binder: str = ""


@dataclass(frozen=True)
class MeasuredEntry:
    """An own toner measured from let-downs: K and S by band, and the sd of the logarithm of its strength."""

    absorption: tuple[float, ...] = quantity("relative K")
    scattering: tuple[float, ...] = quantity("relative S")
    log_strength_sd: float = quantity("ln", low=0.0, high=5.0)
    own_binder: str = ""


Entry = NamedEntry | WeakEntry | MeasuredEntry
BINDER_WORDS = {"yes": True, "no": False, "": None}


def free_name(name: str, program: Mapping[str, Toner]) -> str:
    """Return a name that an own toner may have, raising :class:`TintError` for any other."""
    name = name.strip()
    if not name or len(name) > LONGEST_NAME or not name.isprintable() or any(sign in name for sign in "=,"):
        raise TintError(
            f"a toner cannot be called {name!r}: give a name of up to {LONGEST_NAME} characters without = and commas"
        )
    if name == UNTINTED or name in program:
        raise TintError(f"the name {name!r} is taken by the program: give your toner another, such as 'my {name}'")
    return name


def own_toners(entries: Mapping[str, Entry], program: Mapping[str, Toner]) -> tuple[dict[str, Toner], dict[str, float]]:
    """Return the toners that follow from entries, in their order, and the log-strength sd of those that say theirs.

    Raises :class:`TintError` when an entry resembles no known class, or is a weak version of a toner that is not there
    or is weak itself.
    """
    toners = {name: _toner(name, entry, entries, program) for name, entry in entries.items()}
    spread = {name: sd for name, entry in entries.items() if (sd := _log_sd(entry)) is not None}
    for name, entry in entries.items():
        if isinstance(entry, WeakEntry) and name not in spread and entry.weak_of in spread:
            spread[name] = spread[entry.weak_of]
    return toners, spread


def _toner(name: str, entry: Entry, entries: Mapping[str, Entry], program: Mapping[str, Toner]) -> Toner:
    if entry.own_binder not in BINDER_WORDS:
        raise TintError(f"the toner {name!r} has own binder {entry.own_binder!r}: write yes or no, or leave it out")
    bounds = () if isinstance(entry, MeasuredEntry) else entry.bounds
    if bounds and not (len(bounds) == 2 and bounds[0] < bounds[1] and bounds[0] <= _strength(entry) <= bounds[1]):
        raise TintError(f"the toner {name!r} has a strength outside its bounds: give the lowest, then the highest")
    return replace(_plain(name, entry, entries, program), own_binder=BINDER_WORDS[entry.own_binder])


def _plain(name: str, entry: Entry, entries: Mapping[str, Entry], program: Mapping[str, Toner]) -> Toner:
    if isinstance(entry, NamedEntry):
        if entry.like not in program:
            raise TintError(
                f"the toner {name!r} is said to be like {entry.like!r}, which is not known: "
                f"use one of {', '.join(program)}"
            )
        return named_toner(name, program[entry.like], entry.strength)
    if isinstance(entry, MeasuredEntry):
        K, S = (np.array(values, dtype=np.float64) for values in (entry.absorption, entry.scattering))
        return Toner(name, K, S, 1.0, "measured from let-downs")
    strong = entries.get(entry.weak_of)
    if strong is None or isinstance(strong, WeakEntry):
        raise TintError(
            f"the toner {name!r} is said to be a weak version of {entry.weak_of!r}, which is not a full-strength toner "
            "of this shelf: correct that name"
        )
    toner = _plain(entry.weak_of, strong, entries, program)
    return replace(toner.with_strength(toner.strength * entry.strength), name=name, weak_of=entry.weak_of)


def _strength(entry: Entry) -> float:
    return 1.0 if isinstance(entry, MeasuredEntry) else entry.strength


def _log_sd(entry: Entry) -> float | None:
    if isinstance(entry, MeasuredEntry):
        return entry.log_strength_sd
    return log_sd_of(entry.bounds) if len(entry.bounds) == 2 else None


def log_sd_of(bounds: tuple[float, ...]) -> float:
    """Return the sd of the logarithm of a strength that lies within ``bounds`` 95 times in 100."""
    return float(np.log(bounds[1] / bounds[0]) / (2 * Z95))
