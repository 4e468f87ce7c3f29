"""The checks as comma-separated values, for a spreadsheet."""

import csv
import io
from collections.abc import Iterable

from match.history.records import CheckRow, UnreadableRecord
from match.words import begins_formula

COLUMNS = (
    "id",
    "created_at_utc",
    "verdict",
    "delta_e00",
    "delta_e00_low",
    "delta_e00_high",
    "code",
    "colour_name",
    "finish",
    "car",
    "plate",
    "note",
    "card_l",
    "card_a",
    "card_b",
    "vehicle_l",
    "vehicle_a",
    "vehicle_b",
    "colour_id",
    "job_id",
    "card_id",
    "corrects",
    "corrected_by",
    "method_version",
    "tolerances_version",
    "tolerances_hash",
)


def checks_sheet(rows: Iterable[CheckRow | UnreadableRecord]) -> bytes:
    """Return checks as CSV (RFC 4180, UTF-8 with a byte order mark so that spreadsheets read the letters right).

    Text that a spreadsheet would run as a formula gets an apostrophe in front, also where the sign is a full-width one
    or stands behind spaces; line feeds and tabs become spaces, since some spreadsheets begin a new row or cell at each.
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    for row in rows:
        writer.writerow(_cells(row) if isinstance(row, CheckRow) else _told(row))
    return text.getvalue().encode("utf-8-sig")


def _told(record: UnreadableRecord) -> list[str]:
    """Return the line of a check that cannot be read: its id, and what is wrong in place of the note."""
    told = {"id": record.id, "note": f"cannot be read: {record.fault}"}
    return [_safe(told.get(name, "")) for name in COLUMNS]


def _cells(row: CheckRow) -> list[str]:
    low, high = row.delta_e00_interval or (None, None)
    numbers = (*(row.card_lab or (None,) * 3), *(row.vehicle_lab or (None,) * 3))
    return [
        row.id,
        row.created_at.isoformat(),
        _safe(row.verdict),
        *(_number(value) for value in (row.delta_e00, low, high)),
        *(_safe(text) for text in (row.code, row.colour_name, row.finish, row.car, row.plate, row.note)),
        *(_number(value) for value in numbers),
        *(public_id or "" for public_id in (row.colour, row.job, row.card, row.corrects, row.corrected_by)),
        *(_safe(text) for text in (row.method_version, row.tolerances_version, row.tolerances_hash)),
    ]


def _number(value: float | None) -> str:
    return "" if value is None else repr(value)


def _safe(text: str) -> str:
    line = " ".join(text.split()) if any(sign.isspace() and sign != " " for sign in text) else text
    return f"'{line}" if begins_formula(line) else line
