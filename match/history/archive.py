"""Take everything away and bring it back: all records and photos as one zip file in an open layout.

An import adds what is not there yet and never changes what is: records are known by their public ids, so importing the
same archive twice, or an archive of this very store, adds nothing.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

from sqlalchemy import Connection, select

from match.errors import StoreError
from match.history import container, tables
from match.history.database import Database
from match.history.incoming import Tally, import_tables, line_named, parsed_lines, part_name
from match.history.packing import LeftOut, everything
from match.history.photos import PhotoFolder, Staging
from match.history.portable import REVISION, photos_of
from match.history.record_kinds import BY_NAME, CHECK, KINDS, PANEL, POT
from match.history.records import UnreadableRecord

FIRST_VERSION = {POT.name: 2, PANEL.name: 3}
"""The format's version in which a kind came; the others were there from the first."""


@dataclass(frozen=True)
class ExportSummary:
    """What an export or backup packed: records by kind, photos, and the hashes of photos that are no longer whole.

    ``left_out`` are the records that cannot be read; ``unlinked`` those packed without a link to one of them, which
    their ``fault`` names.
    """

    records: Mapping[str, int]
    photos: int
    missing_photos: tuple[str, ...]
    left_out: tuple[UnreadableRecord, ...] = ()
    unlinked: tuple[UnreadableRecord, ...] = ()


@dataclass(frozen=True)
class ImportSummary:
    """What an import did, by kind: records added, already here and equal, and here but different (ours were kept)."""

    added: Mapping[str, int]
    already_here: Mapping[str, int]
    different: Mapping[str, int]
    photos_added: int


def export(database: Database, photos: PhotoFolder, target: Path, at: datetime) -> ExportSummary:
    """Write every record, deleted ones and old versions too, and every photo to the new zip file ``target``.

    A record that cannot be read is left out and named.
    """
    left_out = LeftOut()
    with container.writing(target, photos.root.parent) as writer, database.reading() as connection:
        parts = {name: writer.table(part_name(name), rows) for name, rows in everything(connection, left_out)}
        writer.add_photos(photos, referenced_photos(connection))
        writer.manifest(container.RECORDS, at.isoformat(), {"tables": parts})
        records = {name: entry["rows"] for name, entry in parts.items()}
        missing = tuple(writer.missing_photos)
        return ExportSummary(records, writer.photos, missing, tuple(left_out.records), tuple(left_out.links))


def referenced_photos(connection: Connection) -> list[str]:
    """Return the hash of every photo that a check refers to."""
    column = tables.check_photo.c.sha256
    found = connection.execute(select(column).distinct().order_by(column)).scalars()
    return [sha256 for sha256 in found if isinstance(sha256, str)]


def bring_in(
    database: Database,
    photos: PhotoFolder,
    source: Path | BinaryIO,
    limits: container.ArchiveLimits,
    *,
    into_empty: bool = False,
) -> ImportSummary:
    """Import an archive in one transaction; ``into_empty`` demands an empty store and compares it byte for byte.

    Raises :class:`StoreError` when the archive is damaged, incomplete, not ours or too big; nothing is changed then.
    """
    database.require_writable()
    with container.reading(source, limits) as reader:
        if reader.kind != container.RECORDS:
            raise StoreError("this is a backup, not an export: restore it into a new data folder instead")
        entries = _table_entries(reader)
        wanted = _photos_wanted(reader, entries)
        reader.require_room(photos.root)
        with photos.staging() as staging:
            added_photos = _stage_photos(reader, photos, staging, wanted)
            with database.writing() as connection:
                if into_empty and any(connection.execute(select(kind.table.c.id).limit(1)).first() for kind in KINDS):
                    raise StoreError("the store is not empty: restore into a new data folder, or import instead")
                tally = Tally()
                import_tables(connection, reader, entries, tally)
                if into_empty:
                    _compare_with_manifest(connection, entries)
                staging.publish()
    added, already_here, different = (
        {name: counter[name] for name in entries} for counter in (tally.added, tally.already_here, tally.different)
    )
    return ImportSummary(added, already_here, different, added_photos)


def _table_entries(reader: container.ArchiveReader) -> dict[str, Mapping[str, Any]]:
    entries = reader.manifest.get("tables")
    version = reader.manifest["format_version"]
    names = [name for name in (*BY_NAME, REVISION) if version >= FIRST_VERSION.get(name, 1)]
    if not isinstance(entries, dict) or set(entries) != set(names):
        raise StoreError(f"the manifest does not list the tables {', '.join(names)}: take another copy of the archive")
    if not all(isinstance(entry, dict) for entry in entries.values()):
        raise StoreError("the manifest's list of tables is damaged: take another copy of the archive")
    return {name: entries[name] for name in names}


def _photos_wanted(reader: container.ArchiveReader, entries: Mapping[str, Mapping[str, Any]]) -> dict[str, int]:
    """Read every table through once, checking its hash; return the photos its checks refer to, with their sizes."""
    wanted: dict[str, int] = {}
    for name, entry in entries.items():
        for number, _, plain in parsed_lines(reader, name, entry):
            if name == CHECK.name:
                with line_named(name, number):
                    found = photos_of(plain)
                wanted |= {photo["sha256"]: photo["size_bytes"] for photo in found}
    return wanted


def _stage_photos(
    reader: container.ArchiveReader, photos: PhotoFolder, staging: Staging, wanted: Mapping[str, int]
) -> int:
    packed, known_missing = reader.photo_names, set(reader.manifest["missing_photos"])
    for sha256, size_bytes in wanted.items():
        if photos.state(sha256, size_bytes) == "whole":
            continue
        if sha256 not in packed:
            if sha256 not in known_missing:
                raise StoreError(f"the photo {sha256} is missing from the archive: take another copy")
            continue
        with reader.open_photo(sha256) as stream:
            staged = staging.add(stream)
        if (staged.sha256, staged.size_bytes) != (sha256, size_bytes):
            raise StoreError(f"the photo {sha256} is not what its name says: the archive is damaged, take another copy")
    return len(staging.staged)


def _compare_with_manifest(connection: Connection, entries: Mapping[str, Mapping[str, Any]]) -> None:
    """Write every table again, as an export would, and refuse the restore if one byte differs."""
    for name, rows in everything(connection, LeftOut()):
        if name not in entries:
            continue
        digest = hashlib.sha256()
        for line in container.json_lines(rows):
            digest.update(line)
        if digest.hexdigest() != entries[name].get("sha256"):
            raise StoreError(f"the restored {name} records differ from the archive: nothing was restored")
