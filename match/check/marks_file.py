"""Region files: the marks of a photo in a small JSON or TOML file, so that a photo can be checked again.

A file holds ``regions`` (a list of tables with ``kind``, ``x``, ``y``, ``width``, ``height`` and, for a grey,
``reflectance``) and may hold ``finish`` and ``junction``.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from match.check.verdict import Finish, Junction
from match.errors import RegionError
from match.photo.regions import Kind, Region, checked_reflectance


@dataclass(frozen=True)
class Marks:
    """What a region file says; ``finish`` and ``junction`` are None where it says nothing."""

    regions: tuple[Region, ...]
    finish: Finish | None = None
    junction: Junction | None = None


def read_marks(path: Path, default_reflectance: float) -> Marks:
    """Read a region file, raising :class:`RegionError` that names the file and what to correct."""
    return marks_from_table(_parse(path), path.name, default_reflectance)


def _parse(path: Path) -> Any:
    try:
        text = path.read_text(encoding="utf-8")
        return tomllib.loads(text) if path.suffix.lower() == ".toml" else json.loads(text)
    except OSError as error:
        raise RegionError(f"the region file {path} cannot be read ({error.strerror}): check its name") from None
    except (json.JSONDecodeError, tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise RegionError(f"the region file {path} is neither JSON nor TOML ({error}): correct it") from None


def marks_from_table(table: Any, name: str, default_reflectance: float) -> Marks:
    """Build :class:`Marks` from a parsed region file called ``name``."""
    if not isinstance(table, Mapping) or not isinstance(table.get("regions"), list):
        raise RegionError(f"the region file {name} has no list called regions: add one entry for each mark")
    regions = tuple(
        _region(entry, f"region {number} of {name}", default_reflectance)
        for number, entry in enumerate(table["regions"], start=1)
    )
    return Marks(regions, _choice(Finish, table, "finish", name), _choice(Junction, table, "junction", name))


def _region(entry: Any, where: str, default_reflectance: float) -> Region:
    if not isinstance(entry, Mapping):
        raise RegionError(f"{where} is not a table with kind, x, y, width and height: correct the file")
    try:
        kind = Kind(str(entry.get("kind")))
    except ValueError:
        known = ", ".join(kind.value for kind in Kind)
        raise RegionError(f"{where} has the kind {entry.get('kind')!r}: use one of {known}") from None
    numbers = []
    for key in ("x", "y", "width", "height"):
        value = entry.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or value != int(value):
            raise RegionError(f"{where} has {key} = {value!r}: give a whole number of pixels")
        numbers.append(int(value))
    reflectance = None
    if kind is Kind.GREY:
        given = entry.get("reflectance", default_reflectance)
        if isinstance(given, bool) or not isinstance(given, int | float):
            raise RegionError(f"{where} has the reflectance {given!r}: give a number such as 0.18")
        reflectance = checked_reflectance(float(given))
    x, y, width, height = numbers
    return Region(kind, x, y, width, height, reflectance)


def _choice(kind: type[Any], table: Mapping[str, Any], key: str, name: str) -> Any:
    if key not in table:
        return None
    try:
        return kind(table[key])
    except ValueError:
        known = ", ".join(choice.value for choice in kind)
        raise RegionError(f"{name} has {key} = {table[key]!r}: use one of {known}") from None


def marks_table(regions: Sequence[Region]) -> list[dict[str, Any]]:
    """Return regions as the tables a region file holds."""
    tables = []
    for region in regions:
        table: dict[str, Any] = {
            "kind": region.kind.value,
            "x": region.x,
            "y": region.y,
            "width": region.width,
            "height": region.height,
        }
        if region.reflectance is not None:
            table["reflectance"] = region.reflectance
        tables.append(table)
    return tables
