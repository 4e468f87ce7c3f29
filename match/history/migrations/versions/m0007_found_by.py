"""Let colours and cars be found by their letters and digits alone: write what they are found by anew.

The rules stand here as they were then; see ``match.history.canonical`` for those of today.
"""

import unicodedata
from collections.abc import Callable

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

_AT_A_TIME = 1000


def _folded(*texts: str) -> str:
    joined = unicodedata.normalize("NFKC", "\n".join(text for text in texts if text)).casefold()
    return "\n".join(" ".join(line.split()) for line in joined.split("\n"))


def _found_by(*names: str) -> str:
    lines = _folded(*names)
    more = dict.fromkeys("".join(sign for sign in _folded(name) if sign.isalnum()) for name in names)
    return "\n".join((lines, *(each for each in more if each and each not in lines)))


def _colour(code: str, name: str, finish: str, notes: str) -> dict[str, str]:
    return {"key": _found_by(name), "search": _found_by(code, name) + "\n" + _folded(finish, notes)}


def _job(car: str, plate: str, notes: str) -> dict[str, str]:
    return {"key": _found_by(car, plate), "search": _found_by(car, plate) + "\n" + _folded(notes)}


def upgrade() -> None:
    """Write the words of colours and jobs, then those of the checks, which hold both."""
    _rewrite("colour", "name_key", ("code", "name", "finish", "notes"), _colour)
    _rewrite("job", "car_key", ("car", "plate", "notes"), _job)
    op.execute(
        "UPDATE colour_check SET search = "
        "coalesce((SELECT search FROM colour WHERE colour.id = colour_check.colour_id), '') || '\n' || "
        "coalesce((SELECT search FROM job WHERE job.id = colour_check.job_id), '') || '\n' || note_key"
    )


def _rewrite(table: str, key: str, names: tuple[str, ...], made: Callable[..., dict[str, str]]) -> None:
    bind = op.get_bind()
    rows = bind.execute(sa.text(f"SELECT id, {', '.join(names)} FROM {table}")).all()
    write = sa.text(f"UPDATE {table} SET {key} = :key, search = :search WHERE id = :id")
    ready = [{"id": row[0], **made(*row[1:])} for row in rows if all(isinstance(each, str) for each in row[1:])]
    for start in range(0, len(ready), _AT_A_TIME):
        bind.execute(write, ready[start : start + _AT_A_TIME])
