"""Edit, delete and bring back records without ever losing what they said before."""

from collections.abc import Mapping
from dataclasses import asdict, fields
from functools import cache
from typing import Any

from sqlalchemy import Connection, RowMapping, Table, Update, func, insert, select, update

from match.errors import StoreError
from match.history import tables
from match.history.digests import seal, seal_revision
from match.history.portable import encoded
from match.history.readable import require_readable
from match.history.record_kinds import (
    BY_TABLE,
    CARD,
    CHECK,
    COLOUR,
    JOB,
    KINDS,
    TINT_STEP,
    Kind,
    absent,
    not_live,
    public_select,
    record_of,
)
from match.history.records import Kept
from match.history.saving import Writer, inherited_links, random_id, refresh_search, require_one_colour
from match.history.validation import checked


def edit(writer: Writer, record: Kept) -> Any:
    """Keep the edited copy of a record, and what it said before as a revision; return the record as kept.

    Raises :class:`StoreError` when someone else edited it meanwhile, it is deleted, or a field was changed that is
    never edited.
    """
    kind = _kind_of(record)
    row = _held(writer.connection, kind, record.id)
    require_readable(kind, row)
    before = record_of(kind, row)
    if before.version != record.version:
        raise StoreError(f"the {kind.title} was changed meanwhile: load it again, then repeat your change")
    changed = {field.name for field in fields(record) if getattr(record, field.name) != getattr(before, field.name)}
    if fixed := sorted(changed - kind.editable):
        raise StoreError(f"the {', '.join(fixed)} of a {kind.title} cannot be edited: add a new {kind.title} instead")
    if changed:
        _rewrite(writer, kind, row, asdict(record), {name for name in changed if name in kind.links})
    return record_of(kind, _held(writer.connection, kind, record.id))


def edit_check(writer: Writer, public_id: str, changes: Mapping[str, str | None]) -> None:
    """Change a check's note, or the colour, job or card it belongs to; its measurement is never edited."""
    row = _held(writer.connection, CHECK, public_id)
    require_readable(CHECK, row)
    values = {**row, **changes}
    changed = {name for name, value in changes.items() if row[name] != value}
    if changed:
        _rewrite(writer, CHECK, row, values, changed & set(CHECK.links))


def _rewrite(writer: Writer, kind: Kind, row: RowMapping, values: dict[str, Any], relinked: set[str]) -> None:
    connection, table = writer.connection, kind.table
    links = {f"{name}_id": writer.link(BY_TABLE[kind.links[name]], values[name]) for name in relinked}
    current = connection.execute(select(table).where(table.c.uid == row["id"])).mappings().one()
    linked = {name: current[name] for name in (f"{link}_id" for link in kind.links)} | links
    if kind is TINT_STEP:
        require_one_colour(connection, linked["card_before_id"], linked["card_after_id"])
    if kind is CHECK:
        links |= inherited_links(connection, linked)
    if kind is CARD and "job" in relinked:
        _require_same_job(connection, current["id"], linked["job_id"])
    connection.execute(
        update(table)
        .where(table.c.id == current["id"])
        .values(version=table.c.version + 1, **checked(kind, values), **links)
    )
    if kind in (COLOUR, JOB, CHECK):
        refresh_search(connection, tables.check.c["id" if kind is CHECK else f"{kind.name}_id"] == current["id"])
    seal(connection, kind, [row["id"]])
    _remember(writer, kind, row["id"], "edit", encoded(kind, row))


def _require_same_job(connection: Connection, card_key: int, job_key: int | None) -> None:
    """Refuse to move a card to a job while checks of it stay with another."""
    other = select(tables.check.c.id).where(tables.check.c.card_id == card_key, tables.check.c.job_id != job_key)
    if job_key is not None and connection.execute(other.limit(1)).first():
        raise StoreError("checks of this spray-out card belong to another job: move or delete those checks first")


def delete(writer: Writer, public_id: str) -> None:
    """Mark a record, and everything that hangs from it, as deleted."""
    kind = kind_holding(writer.connection, public_id)
    _held(writer.connection, kind, public_id)
    mark = update(kind.table).where(kind.table.c.uid == public_id)
    writer.connection.execute(mark.values(deleted_at=writer.at, deleted_with=public_id))
    settle(writer.connection)
    _remember(writer, kind, public_id, "delete", {})


def undelete(writer: Writer, public_id: str) -> None:
    """Bring back a deleted record and everything that was deleted along with it.

    Raises :class:`StoreError` when it is not deleted, or what it hangs from is still deleted.
    """
    connection = writer.connection
    kind = kind_holding(connection, public_id)
    row = connection.execute(select(kind.table).where(kind.table.c.uid == public_id).with_for_update()).mappings().one()
    if row["deleted_at"] is None:
        raise StoreError(f"the {kind.title} {public_id} is not deleted: there is nothing to bring back")
    for name in kind.owners:
        _require_live_owner(connection, kind, kind.links[name], row[f"{name}_id"])
    for each in KINDS:
        swept = each.table.c.deleted_with == public_id
        own = each.table.c.uid == public_id
        connection.execute(
            update(each.table).where(swept | own if each is kind else swept).values(deleted_at=None, deleted_with=None)
        )
    settle(connection)
    _remember(writer, kind, public_id, "undelete", {})


def _require_live_owner(connection: Connection, kind: Kind, owner: Table, key: int | None) -> None:
    gone = select(owner.c.uid).where(owner.c.id == key, owner.c.deleted_at.is_not(None))
    if key is not None and (found := connection.execute(gone).scalar()) is not None:
        title = BY_TABLE[owner].title
        raise StoreError(f"the {title} of this {kind.title} is deleted: bring back the {title} {found} first")


def settle(connection: Connection) -> None:
    """Delete what hangs from a deleted record along with it, so that whatever is live hangs from live records only."""
    for statement in _settling():
        connection.execute(statement)


@cache
def _settling() -> tuple[Update, ...]:
    """Return one statement for each way in which a record hangs from another, owners first."""
    statements = []
    for kind in KINDS:
        for name in kind.owners:
            owner = kind.links[name].alias("owner")
            column = kind.table.c[f"{name}_id"]
            gone = select(owner.c.id).where(owner.c.deleted_with.is_not(None))
            mark = {
                field: select(owner.c[field]).where(owner.c.id == column).scalar_subquery()
                for field in ("deleted_at", "deleted_with")
            }
            statements.append(
                update(kind.table).where(kind.table.c.deleted_at.is_(None), column.in_(gone)).values(**mark)
            )
    return tuple(statements)


def kind_holding(connection: Connection, public_id: str) -> Kind:
    """Return the kind of the record with this public id."""
    for kind in KINDS:
        if connection.execute(select(kind.table.c.id).where(kind.table.c.uid == public_id)).first():
            return kind
    raise absent("record", public_id)


def _kind_of(record: Kept) -> Kind:
    for kind in KINDS:
        if kind is not CHECK and type(record) is kind.record:
            return kind
    raise StoreError(f"a {type(record).__name__} cannot be edited: save a correction as a new check instead")


def _held(connection: Connection, kind: Kind, public_id: str) -> RowMapping:
    """Return a live record's row, locked until the transaction ends."""
    statement = public_select(kind).where(kind.table.c.uid == public_id).with_for_update(of=kind.table)
    row = connection.execute(statement).mappings().one_or_none()
    if row is None:
        raise absent(kind.title, public_id)
    if row["deleted_at"] is not None:
        raise not_live(kind.title, public_id)
    return row


def _remember(writer: Writer, kind: Kind, public_id: str, change: str, before: Mapping[str, Any]) -> None:
    revision = tables.revision
    earlier = select(func.coalesce(func.max(revision.c.number), 0)).where(revision.c.record == public_id)
    own_id = random_id()
    writer.connection.execute(
        insert(revision).values(
            uid=own_id,
            created_at=writer.at,
            kind=kind.name,
            record=public_id,
            number=writer.connection.execute(earlier).scalar_one() + 1,
            change=change,
            before=before,
        )
    )
    seal_revision(writer.connection, own_id)
