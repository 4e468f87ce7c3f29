"""What columns of the history hold: times, days and JSON, alike in every database, and what is broken as such."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import Date, DateTime, Dialect, String, Text
from sqlalchemy.types import TypeDecorator

from match.history.canonical import Unreadable, from_json, to_json


class _Guarded(TypeDecorator[Any]):
    """A type whose broken values are read as :class:`Unreadable`, so that one of them does not hide every other row."""

    cache_ok = True
    meant = ""

    def result_processor(self, dialect: Dialect, coltype: object) -> Callable[[Any], Any]:
        """Return the type's own reading, guarded."""
        read = super().result_processor(dialect, coltype)

        def guarded(value: Any) -> Any:
            if isinstance(value, Unreadable):
                return value
            try:
                return value if read is None else read(value)
            except (ValueError, TypeError, AttributeError, OverflowError, RecursionError):
                return Unreadable(f"it is not {self.meant}")

        return guarded


class UtcTime(_Guarded):
    """An aware UTC time, kept without its zone so that every database sorts it alike."""

    impl = DateTime
    cache_ok = True
    meant = "a time"

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Store the UTC wall time."""
        return None if value is None else value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: Any | None, dialect: Dialect) -> datetime | None:
        """Give the zone back."""
        return None if value is None else value.replace(tzinfo=UTC)


class Day(_Guarded):
    """A day of the calendar."""

    impl = Date
    cache_ok = True
    meant = "a date"

    def process_result_value(self, value: date | None, dialect: Dialect) -> date | None:
        """Return it as it is; the guard is about what comes before."""
        return value


class JsonText(_Guarded):
    """JSON kept as its canonical text, which is the same bytes in every database and every archive."""

    impl = Text
    cache_ok = True
    meant = "JSON"

    def process_bind_param(self, value: Any | None, dialect: Dialect) -> str | None:
        """Write canonical JSON."""
        return None if value is None else to_json(value)

    def process_result_value(self, value: Any | None, dialect: Dialect) -> Any | None:
        """Read it back."""
        return None if value is None else from_json(value)


def key_text(length: int) -> String:
    """Return a text type that sorts by code point everywhere, for ids and prefix searches."""
    return String(length).with_variant(String(length, collation="C"), "postgresql")
