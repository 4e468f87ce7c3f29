"""Results as plain dictionaries, so that a command line can print JSON and a history can store it."""

import dataclasses
import math
from collections.abc import Iterable, Mapping
from enum import Enum
from typing import Any

import numpy as np


class Record:
    """A frozen dataclass whose :meth:`as_dict` holds only what JSON knows."""

    def as_dict(self) -> dict[str, Any]:
        """Return the fields by name; arrays become lists, nested records dictionaries."""
        return {field.name: plain(getattr(self, field.name)) for field in dataclasses.fields(self)}  # type: ignore[arg-type]


class Rounded(Record):
    """A record whose numbers are rounded to four decimals: more than any measurement here tells."""

    def as_dict(self) -> dict[str, Any]:
        """Return the fields by name."""
        return {name: _to_four_decimals(value) for name, value in super().as_dict().items()}


def by_name(record: Any, *names: str) -> dict[str, Any]:
    """Return some fields and properties of a record by name, as JSON knows them, numbers to four decimals."""
    return {name: _to_four_decimals(value) for name, value in unrounded(record, *names).items()}


def unrounded(record: Any, *names: str) -> dict[str, Any]:
    """Return some fields and properties of a record by name, as JSON knows them."""
    return {name: plain(getattr(record, name)) for name in names}


def _to_four_decimals(value: Any) -> Any:
    if isinstance(value, list):
        return [_to_four_decimals(each) for each in value]
    if isinstance(value, dict):
        return {name: _to_four_decimals(each) for name, each in value.items()}
    return round(value, 4) if isinstance(value, float) else value


def plain(value: Any) -> Any:
    """Return ``value`` with arrays, tuples and dataclasses turned into what JSON knows; no number becomes null."""
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, Enum):
        return plain(value.value)
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    return value


def rounded(values: Iterable[Any]) -> list[float]:
    """Return numbers to four decimals."""
    return [round(float(value), 4) for value in values]


def numbers(saved: Any, shape: tuple[int, ...]) -> np.ndarray:
    """Return finite numbers of a shape from what :func:`plain` made of them; a ``ValueError`` for anything else."""
    read = np.asarray(saved, dtype=np.float64)
    if read.shape != shape or not np.isfinite(read).all():
        raise ValueError(f"not {shape} numbers")
    return read
