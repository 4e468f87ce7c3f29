"""Photos as files named by the SHA-256 of their bytes, so that none is kept twice and a changed one betrays itself.

A photo is written under a temporary name, flushed to the disk, and given its real name only when it is whole; the
folder is flushed too. Only then may a record refer to it. A crash can leave a file that nothing refers to, never a
record without its photo.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import IO

from match.errors import StoreError
from match.files import sync_folder
from match.history.database import make_own_folder
from match.history.failures import as_store_error
from match.history.records import PhotoState
from match.history.scratch import ABANDONED_AFTER_SECONDS, scratch_beside

_CHUNK_BYTES = 1 << 20
_NAME = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class StagedPhoto:
    """A photo on the disk that has not got its real name yet."""

    sha256: str
    size_bytes: int
    part: Path


@dataclass
class Staging:
    """Photos being brought in together; they get their names in :meth:`publish`, or vanish."""

    folder: PhotoFolder
    scratch: Callable[[], Path]
    staged: list[StagedPhoto] = field(default_factory=list)

    def add(self, source: bytes | IO[bytes]) -> StagedPhoto:
        """Write one photo under a temporary name and flush it."""
        stream = io.BytesIO(source) if isinstance(source, bytes) else source
        part = self.scratch() / f"{uuid.uuid4().hex}.part"
        photo = StagedPhoto("", 0, part)
        self.staged.append(photo)
        with open(part, "xb", opener=self._open) as target:
            sha256, size = copied(stream, target)
            target.flush()
            os.fsync(target.fileno())
        if size == 0:
            raise StoreError("a photo is empty: choose the file again")
        self.staged[-1] = StagedPhoto(sha256, size, part)
        return self.staged[-1]

    def _open(self, path: str, flags: int) -> int:
        return os.open(path, flags, _rights(self.folder.root) & 0o666)

    def publish(self) -> None:
        """Give every staged photo its real name; a damaged file of that name is thereby repaired."""
        self.folder.keep(self.staged)


def copied(source: IO[bytes], target: IO[bytes]) -> tuple[str, int]:
    """Copy a stream piece by piece; return the SHA-256 of its bytes, 64 hexadecimal digits, and how many they are."""
    digest, size = hashlib.sha256(), 0
    while chunk := source.read(_CHUNK_BYTES):
        digest.update(chunk)
        size += target.write(chunk)
    return digest.hexdigest(), size


def _rights(folder: Path) -> int:
    """Return who may look into a folder: what is made in it is shown to nobody else."""
    return folder.stat().st_mode & 0o777


class PhotoFolder:
    """A folder of a data folder, usually ``photos``: ``ab/abcdef...`` is the photo whose SHA-256 is abcdef..."""

    def __init__(self, data_folder: Path, name: str = "photos") -> None:
        self.root = data_folder / name
        self.incoming = self.root / "incoming"
        self.label = str(self.root)

    def prepare(self) -> None:
        """Make the folders, and clear away what a crash more than a day ago left half written."""
        with as_store_error(str(self.root)):
            make_own_folder(self.root.parent)
            self.root.mkdir(mode=_rights(self.root.parent), exist_ok=True)
            self.incoming.mkdir(mode=_rights(self.root), exist_ok=True)
            for part in self.incoming.glob("[!.]*.part"):
                if time.time() - part.stat().st_mtime > ABANDONED_AFTER_SECONDS:
                    part.unlink(missing_ok=True)

    def keep(self, staged: Sequence[StagedPhoto]) -> None:
        """Give staged photos their real names."""
        homes = [self.path(photo.sha256) for photo in staged]
        for photo, home in zip(staged, homes, strict=True):
            if self.state(photo.sha256, photo.size_bytes) != "whole":
                home.parent.mkdir(mode=_rights(self.root), exist_ok=True)
                os.replace(photo.part, home)
        for folder in {home.parent for home in homes}:
            sync_folder(folder)
        if homes:
            sync_folder(self.root)

    def called(self, sha256: str) -> str:
        """Return what a photo is called in sentences."""
        return str(self.path(sha256))

    def path(self, sha256: str) -> Path:
        """Return where the photo of this hash is kept."""
        if not _NAME.fullmatch(sha256):
            raise StoreError(f"{sha256!r} is not a SHA-256, expected 64 hexadecimal digits")
        return self.root / sha256[:2] / sha256

    @contextmanager
    def staging(self) -> Iterator[Staging]:
        """Bring photos in together: what is not published when the block ends is removed again."""

        @cache
        def scratch() -> Path:
            return made.enter_context(scratch_beside(self.incoming / "photos"))

        with as_store_error(str(self.root)), ExitStack() as made:
            yield Staging(self, scratch)

    def state(self, sha256: str, size_bytes: int) -> PhotoState:
        """Say whether the photo's file is whole, missing, or no longer the bytes that were saved."""
        path = self.path(sha256)
        try:
            if path.stat().st_size != size_bytes:
                return "changed"
            with open(path, "rb") as file:
                return "whole" if hashlib.file_digest(file, "sha256").hexdigest() == sha256 else "changed"
        except FileNotFoundError:
            return "missing"

    def read(self, sha256: str) -> bytes:
        """Return the bytes of a photo, checked against its name.

        Raises :class:`StoreError` when the file is missing or is no longer what was saved.
        """
        path = self.path(sha256)
        with as_store_error(str(self.root)):
            try:
                content = path.read_bytes()
            except FileNotFoundError:
                raise StoreError(f"the photo {path} is missing: put it back from a backup") from None
        if hashlib.sha256(content).hexdigest() != sha256:
            raise StoreError(f"the photo {path} is no longer what was saved: put it back from a backup")
        return content

    def names(self) -> set[str]:
        """Return the hashes of every photo file there is."""
        return {path.name for path in self.root.glob("[0-9a-f][0-9a-f]/*") if _NAME.fullmatch(path.name)}
