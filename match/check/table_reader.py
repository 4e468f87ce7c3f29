"""Read the figures in a table of a check's document: each is there, finite and what it says it is, or one sentence."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Self, TypeVar

import numpy as np

from match.check.verdict import Thresholds
from match.colorimetry import LARGEST_COLOUR, LARGEST_VARIANCE, Array, is_covariance
from match.errors import SavedCheckError
from match.measure.confidence import ConfidenceCurve
from match.words import shown

MOST_POINTS = 20_000
"""Of a confidence curve; engineering choice, far more than any is written with."""

CURVE_ROUNDING = 2e-5
"""A curve's numbers are rounded to five decimals."""

Choice = TypeVar("Choice", bound=StrEnum)
Triple = tuple[float, float, float]


@dataclass(frozen=True)
class TableReader:
    """A table of the document called ``name``: each key is read with the sentence that says what is wrong with it."""

    table: Mapping[str, Any]
    name: str

    def fault(self, what: str) -> SavedCheckError:
        """Return the sentence that the document is damaged, and what to do."""
        return SavedCheckError(
            f"the check {self.name} is damaged ({what}): write it again with `check PHOTO --json`, or save it again on "
            "the check page"
        )

    def value(self, key: str) -> Any:
        """Return what stands under a key, which must be there."""
        if key not in self.table or self.table[key] is None:
            raise self.fault(f"its {key} is missing")
        return self.table[key]

    def wrong(self, key: str, value: object, wanted: str) -> SavedCheckError:
        """Return the sentence that a value is not what was wanted."""
        return self.fault(f"its {key} is {shown(value)}, not {wanted}")

    def choice(self, key: str, kind: type[Choice]) -> Choice:
        """Return one of the values of an enumeration."""
        value = self.value(key)
        if not isinstance(value, str) or value not in [each.value for each in kind]:
            raise self.wrong(key, value, "one of " + ", ".join(each.value for each in kind))
        return kind(value)

    def said(self, key: str, otherwise: bool) -> bool:
        """Return true or false."""
        value = self.table.get(key, otherwise)
        if not isinstance(value, bool):
            raise self.wrong(key, value, "true or false")
        return value

    def size(self, key: str, value: object = None, least: float = 0.0, most: float = LARGEST_COLOUR) -> float:
        """Return a finite number between two limits; ``value`` where it does not stand under ``key`` itself."""
        value = self.value(key) if value is None else value
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if not is_number or not least <= value <= most:  # type: ignore[operator]
            raise self.wrong(key, value, f"a number from {least:g} to {most:g}")
        return float(value)  # type: ignore[arg-type]

    def row(self, key: str, value: object, count: int, least: float, most: float) -> tuple[float, ...]:
        """Return ``count`` finite numbers between two limits."""
        if not isinstance(value, list | tuple) or len(value) != count:
            raise self.wrong(key, value, f"a list of {count} numbers")
        if any(each is None for each in value):
            raise self.wrong(key, value, f"{count} numbers")
        return tuple(self.size(key, each, least, most) for each in value)

    def colour(self, key: str) -> Triple:
        """Return a colour or a difference in CIELAB units."""
        first, second, third = self.row(key, self.value(key), 3, -LARGEST_COLOUR, LARGEST_COLOUR)
        return first, second, third

    def interval(self, key: str) -> tuple[float, float]:
        """Return the low and the high end of a CIEDE2000 interval."""
        low, high = self.row(key, self.value(key), 2, 0.0, LARGEST_COLOUR)
        if low > high:
            raise self.wrong(key, [low, high], "a low and a high end")
        return low, high

    def confidence(self) -> ConfidenceCurve | None:
        """Return the confidence curve, where one was written."""
        if self.table.get("confidence") is None:
            return None
        within = self.table_of("confidence")
        size, at_most, perhaps = (within.rising(key) for key in ("size", "at_most", "perhaps_at_most"))
        if not len(size) == len(at_most) == len(perhaps):
            raise self.fault("the columns of its confidence differ in length")
        return ConfidenceCurve(size, perhaps, at_most)

    def rising(self, key: str) -> Array:
        """Return a list of two or more finite numbers from 0 upwards that never fall."""
        value = self.value(key)
        if not isinstance(value, list | tuple) or not 2 <= len(value) <= MOST_POINTS:
            raise self.wrong(key, value, "a list of numbers")
        numbers = np.array([self.size(key, each) for each in value])
        if np.any(np.diff(numbers) < -CURVE_ROUNDING):
            raise self.wrong(key, value, "rising numbers")
        return np.maximum.accumulate(numbers)

    def thresholds(self) -> Thresholds:
        """Return the two limits between the verdicts."""
        within = self.table_of("thresholds")
        return Thresholds(within.size("go_below"), within.size("blend_below"))

    def covariance(self, key: str) -> tuple[Triple, ...]:
        """Return a 3 x 3 covariance in squared CIELAB units."""
        rows = self.value(key)
        if not isinstance(rows, list | tuple) or len(rows) != 3:
            raise self.wrong(key, rows, "3 rows of 3 numbers")
        read = [self.row(key, row, 3, -LARGEST_VARIANCE, LARGEST_VARIANCE) for row in rows]
        if not is_covariance(np.array(read)):
            raise self.fault(f"its {key} is not a covariance")
        return tuple((a, b, c) for a, b, c in read)

    def table_of(self, key: str) -> Self:
        """Return the reader of a table within this one."""
        value = self.value(key)
        if not isinstance(value, Mapping):
            raise self.wrong(key, value, "a table")
        return type(self)(value, self.name)

    def tables(self, key: str, value: object) -> list[Self]:
        """Return the readers of the tables in a list, which stands under ``key``."""
        if not isinstance(value, list | tuple) or not all(isinstance(each, Mapping) for each in value):
            raise self.wrong(key, value, "a list of tables")
        return [type(self)(each, self.name) for each in value]
