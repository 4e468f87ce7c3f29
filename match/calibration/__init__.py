"""Read ``calibration/*.toml`` into frozen dataclasses, checking every unit and source.

One fact, one place: a number of physics, vision or trade practice is a table with ``value``, ``unit`` and ``source`` in
a TOML file (or, where another file holds the same fact, ``same_as`` in place of ``value``), and the code that needs it
is a frozen dataclass whose fields are declared with :func:`quantity`. A field's unit and the file's unit must be the
same text, so a value can never be read in a unit it was not written in.

A shop's own file takes the place of the shipped one. A wrong number refuses it whole, with the line: no verdict is
given by numbers other than those that the shop asked for. What it lacks, since it is from before, is taken from the
shipped file and said (:mod:`match.calibration.completed`). What a number can be is said by
:mod:`match.calibration.plausible`.
"""

from match.calibration.build import build, load, quantity
from match.calibration.completed import taken_from_shipped
from match.calibration.parsed import UNITS, fingerprint, read_again, read_table, require_plausible, unit_ranges
from match.calibration.places import (
    APPLICATION,
    OVERRIDE_VARIABLE,
    Place,
    override_folder,
    own_file,
    shipped_folder,
    source_file,
)

__all__ = [
    "APPLICATION",
    "OVERRIDE_VARIABLE",
    "UNITS",
    "Place",
    "build",
    "fingerprint",
    "load",
    "override_folder",
    "own_file",
    "quantity",
    "read_again",
    "read_table",
    "require_plausible",
    "shipped_folder",
    "source_file",
    "taken_from_shipped",
    "unit_ranges",
]
