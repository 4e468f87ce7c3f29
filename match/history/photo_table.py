"""Photos in the database of a shop's server, so that every station that reaches the history sees them all.

In the database and not in a shared folder: one address is then all that a station has to know, no station can be set to
another folder than the rest, a photo is there as soon as its check is, and the server's own backup holds both. What it
costs is room in the database; a photo larger than the program reads at all is refused. The bytes are cut into rows, so
that no photo is in the memory whole while it is kept or looked through.
"""

import hashlib
from collections.abc import Iterator, Sequence

from sqlalchemy import delete, insert, select
from sqlalchemy.dialects import postgresql

from match.errors import StoreError
from match.history import tables
from match.history.archive import referenced_photos
from match.history.database import Database
from match.history.photos import PhotoFolder, StagedPhoto
from match.history.records import PhotoState
from match.photo.limits import photo_limits

_CHUNK_BYTES = 1 << 20
_KEPT = tables.photo_content.c


class PhotoTable(PhotoFolder):
    """The photos of a history on a server; the folder holds only what is on its way in."""

    def __init__(self, database: Database) -> None:
        super().__init__(database.place.folder)
        self._database = database
        self.label = f"in the database {database.place.label}"

    def called(self, sha256: str) -> str:
        """Return what a photo is called in sentences."""
        return sha256

    def keep(self, staged: Sequence[StagedPhoto]) -> None:
        """Put staged photos into the database; one that is there damaged is put right."""
        most = photo_limits().file_megabytes
        for photo in staged:
            if photo.size_bytes > most * 1e6:
                raise StoreError(f"a photo has more than {most:g} MB: make it smaller first")
            state = self.state(photo.sha256, photo.size_bytes)
            if state == "whole":
                continue
            with self._database.writing() as connection, open(photo.part, "rb") as file:
                if state == "changed":
                    connection.execute(delete(tables.photo_content).where(_KEPT.sha256 == photo.sha256))
                adding = postgresql.insert(tables.photo_content).on_conflict_do_nothing()
                plain = insert(tables.photo_content) if self._database.is_sqlite else adding
                for number, content in enumerate(iter(lambda: file.read(_CHUNK_BYTES), b"")):
                    connection.execute(plain, {"sha256": photo.sha256, "number": number, "content": content})

    def state(self, sha256: str, size_bytes: int) -> PhotoState:
        """Say whether the photo is whole, missing, or no longer the bytes that were saved."""
        digest, size = hashlib.sha256(), 0
        for content in self._rows(sha256):
            digest.update(content)
            size += len(content)
        if size == 0:
            return "missing"
        return "whole" if (digest.hexdigest(), size) == (sha256, size_bytes) else "changed"

    def read(self, sha256: str) -> bytes:
        """Return the bytes of a photo, checked against its name; raises as :meth:`PhotoFolder.read` does."""
        content = b"".join(self._rows(sha256))
        if not content:
            raise StoreError(f"the photo {sha256} is missing from the database: put it back from an export")
        if hashlib.sha256(content).hexdigest() != sha256:
            raise StoreError(f"the photo {sha256} is no longer what was saved: put it back from an export")
        return content

    def names(self) -> set[str]:
        """Return the hashes of every photo there is."""
        with self._database.reading() as connection:
            return set(connection.execute(select(_KEPT.sha256).distinct()).scalars())

    def adopt(self) -> int:
        """Take in photos that an earlier version kept in this station's own folder; return how many there were."""
        here = super().names()
        if not here:
            return 0
        with self._database.reading() as connection:
            wanted = set(referenced_photos(connection))
        lacking = sorted(wanted & here - self.names())
        with self.staging() as staging:
            for sha256 in lacking:
                with open(self.path(sha256), "rb") as file:
                    staging.add(file)
            staging.publish()
        return len(lacking)

    def _rows(self, sha256: str) -> Iterator[bytes]:
        self.path(sha256)  # refuses what is no hash
        asked = select(_KEPT.content).where(_KEPT.sha256 == sha256).order_by(_KEPT.number)
        with self._database.reading() as connection:
            for content in connection.execution_options(yield_per=4).execute(asked).scalars():
                yield bytes(content)
