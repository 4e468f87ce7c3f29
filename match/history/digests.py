"""What each record said when it was last written, as a SHA-256 of its JSON: a changed or lost one betrays itself.

The mark of a deletion is left out, since one deletion marks many records.
"""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from match.history import tables
from match.history.canonical import to_json
from match.history.portable import BATCH, REVISION, objects, revision_objects
from match.history.readable import fault_in, fault_in_revision
from match.history.record_kinds import KINDS, Kind

_NOT_SAID = ("deleted_at", "deleted_with")


def digest_of(plain: Mapping[str, Any]) -> str:
    """Return the SHA-256, 64 hexadecimal digits, of a record as a JSON object."""
    said = {name: value for name, value in plain.items() if name not in _NOT_SAID}
    return hashlib.sha256(to_json(said).encode("ascii")).hexdigest()


def seal(connection: Connection, kind: Kind, public_ids: Sequence[str]) -> None:
    """Note what these records say now; the last step of every writing of them."""
    _note(connection, kind.name, objects(connection, kind, public_ids))


def seal_revision(connection: Connection, public_id: str) -> None:
    """Note what an old version says."""
    _note(connection, REVISION, revision_objects(connection, public_id))


def seal_everything(connection: Connection) -> None:
    """Note what every record says that can be read and has no digest, as after a migration from before digests."""
    known = tables.record_digest.c.record
    for kind in KINDS:
        column = kind.table.c.uid
        open_ids = connection.execute(select(column).where(column.not_in(select(known)))).scalars().all()
        ids = [public_id for public_id in open_ids if isinstance(public_id, str)]
        sound = (plain for plain in objects(connection, kind, ids) if fault_in(kind, plain) is None)
        _note(connection, kind.name, sound)
    sealed = set(connection.execute(select(known).where(tables.record_digest.c.kind == REVISION)).scalars())
    fresh = (plain for plain in revision_objects(connection) if fault_in_revision(plain) is None)
    _note(connection, REVISION, (plain for plain in fresh if plain["id"] not in sealed))


def _note(connection: Connection, kind: str, found: Iterable[Mapping[str, Any]]) -> None:
    # All of them before the first is written: a table is not read on while it is written.
    digests = [{"record": plain["id"], "kind": kind, "sha256": digest_of(plain)} for plain in found]
    for start in range(0, len(digests), BATCH):
        batch = digests[start : start + BATCH]
        ids = [entry["record"] for entry in batch]
        connection.execute(delete(tables.record_digest).where(tables.record_digest.c.record.in_(ids)))
        connection.execute(insert(tables.record_digest), batch)


def noted(connection: Connection, kind: str) -> dict[str, str]:
    """Return the digests of a kind by public id."""
    table = tables.record_digest.c
    rows = connection.execute(select(table.record, table.sha256).where(table.kind == kind))
    return {row.record: row.sha256 for row in rows}
