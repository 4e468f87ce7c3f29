"""The zip file of an archive or backup: written whole or not at all, and read with suspicion.

Layout, open to anyone: ``manifest.json`` names the kind, the version and the SHA-256 of every other part; records stand
in ``tables/<kind>.jsonl``, one JSON object a line; or, in a backup, in the database file ``history.sqlite``; a photo is
``photos/ab/abcdef...``, named by the SHA-256 of its bytes.
"""

import hashlib
import json
import os
import re
import shutil
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, BinaryIO

from match.errors import FileError, StoreError
from match.files import MOST_BYTES, parse_json, sync_folder
from match.history.failures import as_store_error
from match.history.photos import PhotoFolder, copied
from match.history.scratch import scratch_beside

FORMAT = "sprayout-match history"
FORMAT_VERSION = 3
READABLE_VERSIONS = (1, 2, 3)
"""Version 1 had no pots, version 2 no panels."""

RECORDS, BACKUP = "records", "backup"
MANIFEST = "manifest.json"
DATABASE_PART = "history.sqlite"
_PHOTO_PART = re.compile(r"photos/([0-9a-f]{2})/(\1[0-9a-f]{62})")
_TABLE_PART = re.compile(r"tables/[a-z_]+\.jsonl")


@dataclass(frozen=True)
class ArchiveLimits:
    """How big the parts of an archive may be before it is refused; far above what a shop ever has.

    Engineering choices: a check of many photos is a line of some 100 kB, and parsed it takes up to thirty times its
    size; so many lines are taken together as fit in ``batch_bytes``. A part of more than ``dense_bytes`` that unpacks
    to more than ``ratio`` times itself was made to fill a disk: records shrink to a tenth or so.
    """

    manifest_bytes: int = MOST_BYTES
    line_bytes: int = 4 << 20
    batch_bytes: int = 4 << 20
    photo_bytes: int = 256 << 20
    part_bytes: int = 64 << 30
    dense_bytes: int = 64 << 20
    ratio: int = 150


class ArchiveWriter:
    """Writes the parts of an archive and remembers their hashes."""

    def __init__(self, packed: zipfile.ZipFile, scratch: Path) -> None:
        self._packed = packed
        self.scratch = scratch
        self.missing_photos: list[str] = []
        self.photos = 0

    def table(self, part: str, objects: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
        """Write one table as JSON Lines; return its entry for the manifest."""
        digest, rows = hashlib.sha256(), 0
        with self._packed.open(part, "w", force_zip64=True) as target:
            for line in json_lines(objects):
                digest.update(line)
                target.write(line)
                rows += 1
        return {"file": part, "rows": rows, "sha256": digest.hexdigest()}

    def file(self, part: str, source: Path) -> dict[str, Any]:
        """Copy a file in; return its entry for the manifest."""
        with source.open("rb") as stream, self._packed.open(part, "w", force_zip64=True) as target:
            sha256, size = copied(stream, target)
        return {"file": part, "size_bytes": size, "sha256": sha256}

    def add_photos(self, folder: PhotoFolder, sha256s: Iterable[str]) -> None:
        """Copy photos in as they are; one that is missing or changed is listed, never packed as if it were whole."""
        for sha256 in sha256s:
            try:
                content = folder.read(sha256)
            except StoreError:
                self.missing_photos.append(sha256)
                continue
            information = zipfile.ZipInfo(f"photos/{sha256[:2]}/{sha256}")
            self._packed.writestr(information, content, compress_type=zipfile.ZIP_STORED)
            self.photos += 1

    def manifest(self, kind: str, created_at: str, parts: Mapping[str, Any]) -> None:
        """Write the manifest, last."""
        head = {"format": FORMAT, "format_version": FORMAT_VERSION, "kind": kind, "created_at": created_at}
        photos = {"photos": self.photos, "missing_photos": self.missing_photos}
        self._packed.writestr(MANIFEST, json.dumps(head | dict(parts) | photos, indent=2) + "\n")


def json_lines(objects: Iterable[Mapping[str, Any]]) -> Iterator[bytes]:
    """Yield each object as one line of canonical JSON."""
    for plain in objects:
        yield json.dumps(plain, sort_keys=True, separators=(",", ":"), allow_nan=False).encode("ascii") + b"\n"


@contextmanager
def writing(target: Path, noted_in: Path | None = None) -> Iterator[ArchiveWriter]:
    """Write an archive in a scratch folder and give it the name ``target`` only when it is whole and on the disk.

    ``noted_in`` is the data folder that remembers it meanwhile.

    Raises :class:`StoreError` when there is a file of that name already, or the disk fails.
    """
    if os.path.lexists(target):
        raise _taken(target)
    with as_store_error(str(target)), scratch_beside(target, noted_in) as scratch:
        part = scratch / target.name
        with part.open("xb") as file:
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, strict_timestamps=False) as packed:
                yield ArchiveWriter(packed, scratch)
            file.flush()
            os.fsync(file.fileno())
        _named(part, target)
        sync_folder(target.absolute().parent)


def _named(part: Path, target: Path) -> None:
    """Give a file its name, unless another program has taken that meanwhile."""
    try:
        os.link(part, target)
    except FileExistsError:
        raise _taken(target) from None
    except OSError:  # a disk that knows no second name for a file
        if os.path.lexists(target):
            raise _taken(target) from None
        part.replace(target)


def _taken(target: Path) -> StoreError:
    return StoreError(f"{target} exists already: choose another name, nothing is overwritten", begins_with=str(target))


class ArchiveReader:
    """An opened archive whose names, sizes and manifest have been checked; no part is unpacked by its own name."""

    def __init__(self, packed: zipfile.ZipFile, limits: ArchiveLimits) -> None:
        self._packed = packed
        self.limits = limits
        self._parts = _checked_parts(packed, limits)
        self.manifest = self._manifest()
        self.kind = str(self.manifest["kind"])

    def _manifest(self) -> dict[str, Any]:
        try:
            with self._open(MANIFEST) as stream:  # its size is bounded
                found = parse_json(stream.read(), "the manifest")
        except FileError:
            raise StoreError("the manifest cannot be read: the archive is damaged, take another copy") from None
        if not isinstance(found, dict) or found.get("format") != FORMAT or found.get("kind") not in (RECORDS, BACKUP):
            raise StoreError(
                "the manifest is not one of this program's: choose an archive made by its export or backup"
            )
        if found.get("format_version") not in READABLE_VERSIONS:
            raise StoreError(
                f"the archive has format version {found.get('format_version')!r}, expected at most {FORMAT_VERSION}: "
                "update the program"
            )
        missing = found.get("missing_photos")
        if not isinstance(missing, list) or not all(isinstance(item, str) for item in missing):
            raise StoreError("the manifest has no list of missing photos: the archive is damaged, take another copy")
        return found

    @property
    def photo_names(self) -> set[str]:
        """The hashes of the photos inside."""
        return {part.rsplit("/", 1)[1] for part in self._parts if part.startswith("photos/")}

    def open_photo(self, sha256: str) -> IO[bytes]:
        """Open a photo for reading."""
        return self._open(f"photos/{sha256[:2]}/{sha256}")

    def lines(self, part: str, entry: Mapping[str, Any]) -> Iterator[bytes]:
        """Yield the lines of a table; after the last, refuse a table that is not the one the manifest means."""
        digest, rows = hashlib.sha256(), 0
        with self._open(part) as stream:
            while line := stream.readline(self.limits.line_bytes):
                if not line.endswith(b"\n"):
                    raise StoreError(
                        f"{part} has a line that is cut off or too long: take another copy of the archive",
                        begins_with=str(part),
                    )
                digest.update(line)
                rows += 1
                yield line
        if digest.hexdigest() != entry.get("sha256") or rows != entry.get("rows"):
            raise _not_as_listed(part)

    def unpack(self, part: str, entry: Mapping[str, Any], target: Path) -> None:
        """Copy a part to a new file, checked against the manifest and flushed to the disk."""
        with self._open(part) as stream, target.open("xb") as file:
            sha256, _ = copied(stream, file)
            file.flush()
            os.fsync(file.fileno())
        if sha256 != entry.get("sha256"):
            raise _not_as_listed(part)

    def _open(self, part: str) -> IO[bytes]:
        if part not in self._parts:
            raise StoreError(f"{part} is missing from the archive: take another copy", begins_with=str(part))
        try:
            return self._packed.open(part)
        except ValueError as error:  # a place before the beginning of the file, says the file itself
            raise StoreError(
                f"{part} is not where the zip file says ({error}): take another copy", begins_with=str(part)
            ) from None

    def require_room(self, folder: Path) -> None:
        """Refuse an archive that the disk of ``folder`` cannot hold."""
        needed = sum(information.file_size for information in self._parts.values())
        free = shutil.disk_usage(folder).free
        if needed > free:
            raise StoreError(
                f"the archive needs {needed >> 20} MiB and the disk has {free >> 20} MiB left: make room first"
            )


def _not_as_listed(part: str) -> StoreError:
    return StoreError(
        f"{part} is not what the manifest says: the archive is damaged, take another copy", begins_with=part
    )


def _checked_parts(packed: zipfile.ZipFile, limits: ArchiveLimits) -> dict[str, zipfile.ZipInfo]:
    """Allow only the names the layout has, each once, each of a possible size."""
    parts: dict[str, zipfile.ZipInfo] = {}
    for information in packed.infolist():
        name = information.filename
        if name == MANIFEST:
            most = limits.manifest_bytes
        elif _PHOTO_PART.fullmatch(name):
            most = limits.photo_bytes
        elif name == DATABASE_PART or _TABLE_PART.fullmatch(name):
            most = limits.part_bytes
        else:
            raise StoreError(f"the archive holds {name!r}, which does not belong in it: nothing was read from it")
        if name in parts:
            raise StoreError(f"the archive holds {name} twice: nothing was read from it")
        if information.file_size > most:
            raise StoreError(
                f"{name} unpacks to {information.file_size >> 20} MiB, more than {most >> 20}: refused",
                begins_with=str(name),
            )
        if information.file_size > max(limits.dense_bytes, limits.ratio * information.compress_size):
            raise StoreError(
                f"{name} unpacks to {information.file_size >> 20} MiB from {information.compress_size >> 10} KiB, "
                "which no records do: refused"
            )
        parts[name] = information
    if MANIFEST not in parts:
        raise StoreError("the zip file has no manifest.json: choose an archive made by this program's export or backup")
    return parts


def _listed(source: Path | BinaryIO) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(source)
    except (ValueError, OverflowError) as error:  # names that are no text, numbers that no file can have
        raise zipfile.BadZipFile(str(error)) from None


@contextmanager
def reading(source: Path | BinaryIO, limits: ArchiveLimits) -> Iterator[ArchiveReader]:
    """Open an archive; whatever is wrong with the zip file becomes a :class:`StoreError`."""
    name = str(source) if isinstance(source, Path) else "the archive"
    with as_store_error(name):
        # To open a pipe would last until somebody writes into it.
        if isinstance(source, Path) and source.exists() and not source.is_file():
            raise StoreError(
                f"{name} is not an ordinary file: choose an archive made by export or backup", begins_with=str(name)
            )
        try:
            with _listed(source) as packed:
                yield ArchiveReader(packed, limits)
        except StoreError:
            raise
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
            raise StoreError(
                f"{name} is not a whole zip file ({error}): take another copy; nothing was changed"
            ) from None
