"""Unfinished work, kept for the browser it belongs to: what lies on a bench, and the photos on it.

No record: it is replaced in place, belongs to no archive, and is cleared when it is old. Its photos have a folder of
their own, on the disk of the computer that runs the app also where the history is on a server: whoever comes back comes
back to that computer. A photo gets its name before a row refers to it, and both in one transaction, so a kill leaves
the bench as it was or as it is.
"""

import os
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from match.calibration import load, quantity
from match.history import tables
from match.history.database import Database
from match.history.photos import PhotoFolder

FOLDER = "bench"
_JUST_WRITTEN_SECONDS = 3600.0
"""Engineering choice: a photo that no row names yet may be one that another program is about to name."""

_ROW = tables.bench.c


@dataclass(frozen=True)
class BenchLimits:
    """How much unfinished work is kept; the table ``bench`` of ``calibration/intake.toml``."""

    most_benches: float = quantity("entries")
    age_days: float = quantity("days")
    photo_megabytes: float = quantity("MB")


@dataclass(frozen=True)
class KeptBench:
    """What one visit left: ``document`` is JSON whose meaning is the pages' own."""

    id: str
    saved_at: datetime
    document: Mapping[str, Any]


class Benches:
    """The benches of every browser; raises :class:`match.errors.StoreError` where one cannot be kept or read."""

    def __init__(self, database: Database, clock: Callable[[], datetime]) -> None:
        self._database, self._now = database, clock
        self._photos = PhotoFolder(database.place.folder, FOLDER)

    def keep(
        self,
        bench_id: str,
        owner: str,
        document: Mapping[str, Any],
        photos: Mapping[str, bytes],
        seen: datetime | None = None,
    ) -> datetime | None:
        """Keep a bench in place of what it was, with every photo on it (bytes by SHA-256), all or nothing.

        ``bench_id`` and ``owner`` are 32 hexadecimal digits. Photos that are here already are not written again.
        Returns when it was kept; None, and the bench stays as it is, where it was kept since it was ``seen``.
        """
        self._database.require_writable()
        lacking = [content for sha256, content in photos.items() if not self._has(sha256, len(content))]
        if lacking or not self._photos.root.is_dir():
            self._photos.prepare()  # the folder alone tells that something was kept here
        with self._photos.staging() as staging:
            for content in lacking:
                staging.add(content)
            with self._database.writing() as connection:
                was = connection.execute(select(_ROW.saved_at).where(_ROW.uid == bench_id)).scalar_one_or_none()
                if seen is not None and was not in (None, seen):
                    return None
                staging.publish()
                connection.execute(delete(tables.bench).where(_ROW.uid == bench_id))
                kept_at = self._now()
                values = {"uid": bench_id, "owner": owner, "saved_at": kept_at}
                named = {sha256: len(content) for sha256, content in photos.items()}
                connection.execute(insert(tables.bench).values(**values, photos=named, document=dict(document)))
                unnamed = self._clear_old(connection) if lacking or was is None else frozenset()
        for sha256 in unnamed:  # only now: a row that a failed commit brings back still has its photos
            self._remove(sha256)
        return kept_at

    def of(self, owner: str) -> tuple[KeptBench, ...]:
        """Return what a browser left, the newest first; a row that cannot be read is passed over."""
        newest_first = select(tables.bench).where(_ROW.owner == owner).order_by(_ROW.saved_at.desc(), _ROW.uid)
        with self._database.reading() as connection:
            rows = connection.execute(newest_first).all()
        return tuple(
            KeptBench(row.uid, row.saved_at, row.document)
            for row in rows
            if isinstance(row.document, dict) and isinstance(row.saved_at, datetime)
        )

    def photo(self, sha256: str) -> bytes:
        """Return the bytes of a photo on a bench, checked against its hash."""
        return self._photos.read(sha256)

    def forget(self, bench_id: str, owner: str) -> None:
        """Clear a bench; its photos go with the next clearing."""
        with self._database.writing() as connection:
            connection.execute(delete(tables.bench).where(_ROW.uid == bench_id, _ROW.owner == owner))

    def _has(self, sha256: str, size_bytes: int) -> bool:
        """Return whether a photo is here, and make it young again, so that no clearing takes it before it is named."""
        path = self._photos.path(sha256)
        try:
            os.utime(path)
            return path.stat().st_size == size_bytes
        except OSError:
            return False

    def _clear_old(self, connection: Connection) -> frozenset[str]:
        """Keep the newest benches within the limits, the one just kept always; return the photos that none names."""
        limits = load(BenchLimits, "intake", "bench")
        rows = connection.execute(
            select(_ROW.uid, _ROW.saved_at, _ROW.photos).order_by(_ROW.saved_at.desc(), _ROW.uid)
        ).all()
        oldest = self._now() - timedelta(days=limits.age_days)
        kept: dict[str, int] = {}
        for place, row in enumerate(rows):
            named = row.photos if isinstance(row.photos, dict) else {}
            together = {**kept, **named}
            fits = sum(together.values()) <= 1e6 * limits.photo_megabytes and row.saved_at >= oldest
            if place == 0 or (fits and place < limits.most_benches):
                kept = together
            else:
                connection.execute(delete(tables.bench).where(_ROW.uid == row.uid))
        return frozenset(self._photos.names() - kept.keys())

    def _remove(self, sha256: str) -> None:
        path = self._photos.path(sha256)
        with suppress(OSError):
            if time.time() - path.stat().st_mtime > _JUST_WRITTEN_SECONDS:
                path.unlink()
