"""Photos that phones sent, in the data folder of this computer until somebody takes them up or they are old.

Each is a file named by its SHA-256, and beside it a small one that says what it was called and when it came: written
last, so that a photo without one is a leftover. What is worth keeping is kept with a check; here it is no record.
"""

import hashlib
import json
import re
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from match.calibration import quantity
from match.errors import FileError, StoreError
from match.files import read_json, write_whole

FOLDER = "from-phones"
MOST_NAME = 120
"""Engineering choice: signs of a file's name that are kept."""

_NOTE, _PHOTO = ".json", ".photo"
_DIGEST = re.compile(r"[0-9a-f]{64}")
_LEFT_AFTER_SECONDS = 3600.0
"""Engineering choice: a photo without its note may be one that is just coming in."""


@dataclass(frozen=True)
class InboxLimits:
    """The table ``inbox`` of ``calibration/network.toml``."""

    photos: float = quantity("count")
    age: float = quantity("days")
    size: float = quantity("MB")


@dataclass(frozen=True)
class SentPhoto:
    """A photo that a phone sent: the SHA-256 of its bytes, what it was called, when it came (UTC), how large it is."""

    digest: str
    name: str
    arrived: datetime
    size_bytes: int


class Inbox:
    """The folder of photos from phones in a data folder; ``clock`` gives the time of day in UTC."""

    def __init__(
        self, data_folder: Path, limits: InboxLimits, clock: Callable[[], datetime] = lambda: datetime.now(UTC)
    ) -> None:
        self._folder, self._limits, self._now = data_folder / FOLDER, limits, clock

    def put(self, name: str, content: bytes) -> str:
        """Keep a photo and return its digest; the oldest go where there are too many. One that is here comes anew.

        Raises :class:`FileError` when it cannot be written; nothing that was here is lost then.
        """
        from match.history.database import make_own_folder  # not for the first screen, which only counts

        digest = hashlib.sha256(content).hexdigest()
        photo = self._photo(digest)
        make_own_folder(self._folder.parent)
        make_own_folder(self._folder)
        if not (photo.is_file() and photo.stat().st_size == len(content)):
            write_whole(photo, content, "the photo")
        note = {"name": " ".join(name.split())[:MOST_NAME], "arrived": self._now().isoformat()}
        write_whole(self._note(digest), json.dumps(note), "the note of a photo")
        self._clear_old()
        return digest

    def photos(self) -> tuple[SentPhoto, ...]:
        """Return what is here, the newest first; what cannot be read is passed over, and what is too old."""
        found = [self._read(note) for note in self._listed(_NOTE)]
        oldest = self._now() - timedelta(days=self._limits.age)
        here = [photo for photo in found if photo is not None and photo.arrived >= oldest]
        return tuple(sorted(here, key=lambda photo: (photo.arrived, photo.digest), reverse=True))

    def content(self, digest: str) -> bytes:
        """Return the bytes of a photo, checked against its name; raises :class:`StoreError` where it is gone."""
        try:
            content = self._photo(digest).read_bytes()
        except OSError:
            content = b""
        if hashlib.sha256(content).hexdigest() != digest:
            raise StoreError("this photo is no longer here: send it from the phone again")
        return content

    def remove(self, digest: str) -> None:
        """Take a photo away; one that is gone already stays gone."""
        for path in (self._note(digest), self._photo(digest)):
            with suppress(OSError):
                path.unlink(missing_ok=True)

    def _clear_old(self) -> None:
        kept, size = set(), 0.0
        for place, photo in enumerate(self.photos()):
            size += photo.size_bytes / 1e6
            if place == 0 or (place < self._limits.photos and size <= self._limits.size):
                kept.add(photo.digest)
        for path in (*self._listed(_NOTE), *self._listed(_PHOTO)):
            if path.stem not in kept and (self._note(path.stem).is_file() or _is_left(path)):
                self.remove(path.stem)

    def _read(self, note: Path) -> SentPhoto | None:
        try:
            said = read_json(note, "the note of a photo")
            arrived = datetime.fromisoformat(str(said["arrived"]))
            size = self._photo(note.stem).stat().st_size
        except (FileError, OSError, ValueError, KeyError, TypeError):
            return None
        if arrived.tzinfo is None:
            return None
        return SentPhoto(note.stem, str(said.get("name", "")), arrived, size)

    def _listed(self, end: str) -> list[Path]:
        with suppress(OSError):
            return [path for path in self._folder.iterdir() if path.suffix == end and _DIGEST.fullmatch(path.stem)]
        return []

    def _photo(self, digest: str) -> Path:
        if not _DIGEST.fullmatch(digest):
            raise StoreError(f"{digest!r} is not a SHA-256, expected 64 hexadecimal digits")
        return self._folder / f"{digest}{_PHOTO}"

    def _note(self, digest: str) -> Path:
        return self._photo(digest).with_suffix(_NOTE)


def _is_left(path: Path) -> bool:
    with suppress(OSError):
        return time.time() - path.stat().st_mtime > _LEFT_AFTER_SECONDS
    return False
