"""Copy a whole SQLite history while it is in use, and restore such a copy into a new data folder."""

import sqlite3
from collections.abc import Mapping
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

from match.errors import StoreError
from match.files import sync_folder
from match.history import container
from match.history.archive import ExportSummary, referenced_photos
from match.history.database import Database, locate
from match.history.failures import as_store_error
from match.history.photos import PhotoFolder
from match.history.place import DATABASE_FILE
from match.history.row_copy import copy_rows
from match.history.scratch import scratch_beside


def back_up(database: Database, photos: PhotoFolder, target: Path, at: datetime) -> ExportSummary:
    """Write the database, as it stands at one moment, and its photos to the new zip file ``target``.

    SQLite's online backup copies the file page by page while others go on reading and writing.

    Raises :class:`StoreError` when the history is on a database server, whose own tools make backups.
    """
    if database.place.database_file is None:
        raise StoreError("a history on a database server is backed up with the server's own tools: or use export")
    with container.writing(target, photos.root.parent) as writer:
        folder = writer.scratch / "copy"
        folder.mkdir()
        copy = folder / DATABASE_FILE
        database.copy_to(copy)
        _clear_benches(copy)
        entry = writer.file(container.DATABASE_PART, copy)
        snapshot = Database(locate(folder, None))
        try:
            with snapshot.reading() as connection:
                wanted = referenced_photos(connection)
        finally:
            snapshot.close()
        writer.add_photos(photos, wanted)
        writer.manifest(container.BACKUP, at.isoformat(), {"database": entry})
        return ExportSummary({}, writer.photos, tuple(writer.missing_photos))


def _clear_benches(copy: Path) -> None:
    """Take unfinished work out of a copy, so that nothing of it is left in the file: it belongs to one browser here."""
    with as_store_error(str(copy)), closing(sqlite3.connect(copy)) as still:
        still.execute("PRAGMA secure_delete=ON")
        still.execute("DELETE FROM bench")
        still.commit()


def restore_backup(source: Path | BinaryIO, folder: Path, limits: container.ArchiveLimits) -> None:
    """Unpack a backup into a new data folder, all of it or nothing, every byte checked against its hash.

    Raises :class:`StoreError` when the folder holds anything, or the backup is damaged.
    """
    with container.reading(source, limits) as reader:
        if reader.kind != container.BACKUP:
            raise StoreError("this is an export, not a backup: import it instead")
        entry = reader.manifest.get("database")
        if not isinstance(entry, dict):
            raise StoreError("the manifest does not describe the database: take another copy of the backup")
        require_new_folder(folder)
        folder.parent.mkdir(parents=True, exist_ok=True)
        reader.require_room(folder.parent)
        with scratch_beside(folder) as scratch:
            built = scratch / folder.name
            built.mkdir(mode=0o700)
            _unpack(reader, entry, built)
            put_in_place(built, folder)


def put_in_place(built: Path, folder: Path) -> None:
    """Give a data folder that was built elsewhere on the same disk its place, which holds nothing yet."""
    if folder.exists():
        folder.rmdir()
    built.replace(folder)
    sync_folder(folder.parent)


def require_new_folder(folder: Path) -> None:
    """Refuse a folder that holds anything."""
    with as_store_error(str(folder)):
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise StoreError(f"{folder} is not empty: restore into a new data folder, nothing is overwritten")


def _unpack(reader: container.ArchiveReader, entry: Mapping[str, Any], folder: Path) -> None:
    given = folder / "given.sqlite"
    reader.unpack(container.DATABASE_PART, entry, given)
    copy_rows(given, folder)
    given.unlink()
    photos = PhotoFolder(folder)
    photos.prepare()
    with photos.staging() as staging:
        for sha256 in sorted(reader.photo_names):
            with reader.open_photo(sha256) as stream:
                if staging.add(stream).sha256 != sha256:
                    raise StoreError(f"the photo {sha256} is not what its name says: take another copy of the backup")
        staging.publish()
    sync_folder(folder)
