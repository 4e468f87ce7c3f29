"""What is let in as a photo: one policy for every format, its numbers in ``calibration/intake.toml``.

A file is refused by what its header claims, before anything is unpacked: a few bytes can claim a picture, a profile or
a directory larger than memory.
"""

import os
import stat
import struct
import zlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from match import calibration
from match.calibration import quantity
from match.errors import PhotoError

_IFD_POINTERS = (34665, 40965)  # Exif 2.32: the Exif and the interoperability directory
_BYTES_OF_TYPE = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
"""TIFF 6.0, section 2; type 13 (a directory's place) from TIFF Technical Note 1, from memory."""


@dataclass(frozen=True)
class PhotoLimits:
    """The table ``photo`` of ``calibration/intake.toml``."""

    file_megabytes: float = quantity("MB")
    megapixels: float = quantity("million px")
    decoded_megabytes: float = quantity("MB")
    least_side_px: float = quantity("px")
    profile_megabytes: float = quantity("MB")
    profile_light: float = quantity("1")
    profile_white: tuple[float, ...] = quantity("1")
    directory_megabytes: float = quantity("MB")
    directory_entries: float = quantity("entries")
    scans: float = quantity("scans")
    dense_from_megapixels: float = quantity("million px")
    least_bytes_per_px: float = quantity("bytes per px")


@cache
def photo_limits() -> PhotoLimits:
    """Return the limits, read once a process."""
    return calibration.load(PhotoLimits, "intake", "photo")


def read_file(path: Path, name: str) -> bytes:
    """Return the bytes of a regular file of a photo's size; ``name`` is its name in sentences.

    Raises :class:`PhotoError` when there is none, it may not be read, is too large, or is a folder, pipe or device:
    those never end.
    """
    try:
        # Without O_NONBLOCK, opening a pipe waits for a writer for ever.
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with os.fdopen(descriptor, "rb") as file:
            status = os.fstat(descriptor)
            if not stat.S_ISREG(status.st_mode):
                raise PhotoError(
                    f"{name}: this is not an ordinary file but a pipe or a device: choose a photo", begins_with=name
                )
            check_bytes(status.st_size, name)
            content = file.read(_bytes(photo_limits().file_megabytes) + 1)
        check_bytes(len(content), name)
        return content
    except FileNotFoundError:
        raise PhotoError(f"{name}: there is no such file: check the name and the folder", begins_with=name) from None
    except IsADirectoryError:
        raise PhotoError(f"{name}: this is a folder: choose one photo inside it", begins_with=name) from None
    except PermissionError:
        kind = (
            "this is a folder: choose one photo inside it"
            if path.is_dir()
            else ("the file may not be read by this user: change its permissions, or copy it to your own folder")
        )
        raise PhotoError(f"{name}: {kind}", begins_with=name) from None
    except PhotoError:
        raise
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise PhotoError(
            f"{name}: the file cannot be read ({reason}): copy it from the camera again", begins_with=name
        ) from None


def check_bytes(size_bytes: int, name: str) -> None:
    """Raise :class:`PhotoError` for a file too large to be a photo."""
    most = photo_limits().file_megabytes
    if size_bytes > _bytes(most):
        raise PhotoError(
            f"{name}: the file has {size_bytes / 1e6:.0f} MB, more than the {most:g} that are read: "
            "set the camera to a smaller picture size",
            begins_with=name,
        )


def check_picture(width: int, height: int, packed_bytes: int, bytes_per_px: float = 3.0) -> None:
    """Raise :class:`PhotoError` for a claimed size that no photo has.

    Parameters
    ----------
    width, height : pixels as the header claims them
    packed_bytes : size of the whole file
    bytes_per_px : what a pixel takes when it is unpacked
    """
    limits, pixels = photo_limits(), width * height
    if width <= 0 or height <= 0:
        raise damaged()
    if min(width, height) < limits.least_side_px:
        raise PhotoError(
            f"the picture has {width} x {height} pixels, too small to measure: "
            "use the camera's original photo, not a thumbnail"
        )
    if pixels > limits.megapixels * 1e6:
        raise PhotoError(
            f"the photo has {width} x {height} pixels, more than the {limits.megapixels:g} million that can be read: "
            "set the camera to a smaller picture size"
        )
    if pixels * bytes_per_px > limits.decoded_megabytes * 1e6:
        raise PhotoError(
            f"the photo of {width} x {height} pixels unpacks to {pixels * bytes_per_px / 1e6:.0f} MB, more than the "
            f"{limits.decoded_megabytes:g} that can be held: set the camera to a smaller picture size"
        )
    if pixels > limits.dense_from_megapixels * 1e6 and packed_bytes < limits.least_bytes_per_px * pixels:
        raise PhotoError(
            f"a file of {packed_bytes / 1e6:.2g} MB claims {pixels / 1e6:.0f} million pixels, which no camera's photo "
            "does: use the camera's original photo"
        )


def inflated_profile(packed: bytes) -> bytes | None:
    """Return a profile packed with zlib, unpacked no further than a profile can be; None for a damaged one."""
    most = _bytes(photo_limits().profile_megabytes)
    unpacker = zlib.decompressobj()
    try:
        profile = unpacker.decompress(packed, most)
    except zlib.error:
        return None
    if unpacker.unconsumed_tail:
        raise PhotoError(
            f"the photo's colour profile unpacks to more than {most // 1_000_000} MB, which no profile does: "
            "use the camera's original file, or export the photo again as sRGB"
        )
    return profile if unpacker.eof else None


def is_light(light: NDArray[np.float64], white: NDArray[np.float64]) -> bool:
    """Return whether a profile gives light that a picture can hold.

    Parameters
    ----------
    light : (..., 3), linear light in sRGB primaries of some of its codes, the file's white being 1
    white : (3,), that of the codes of white
    """
    limits = photo_limits()
    least, most = limits.profile_white
    if not np.all(np.isfinite(light)) or np.max(np.abs(light)) > limits.profile_light:
        return False
    return bool(np.all((least <= white) & (white <= most)))


def check_directories(block: bytes) -> None:
    """Raise :class:`PhotoError` when the directories of a TIFF structure are endless or name more bytes than any does.

    Every entry may claim the whole file as its value, so a reader that copies each runs out of memory (TIFF 6.0,
    section 2: 12 bytes an entry, values longer than 4 bytes elsewhere).
    """
    limits, order = photo_limits(), "<" if block[:2] == b"II" else ">"
    if block[:4] not in (b"II*\0", b"MM\0*") or len(block) < 8:
        raise damaged()
    chained = False  # of further pictures only the first is ever asked for
    waiting, seen, named, entries = [struct.unpack_from(f"{order}I", block, 4)[0]], set[int](), 0, 0
    while waiting:
        place = waiting.pop()
        if place == 0 or place in seen or place + 2 > len(block):
            continue
        seen.add(place)
        (count,) = struct.unpack_from(f"{order}H", block, place)
        last = min(count, (len(block) - place - 2) // 12)
        entries += last
        if entries > limits.directory_entries:
            raise damaged()
        for index in range(last):
            tag, kind, number, value = struct.unpack_from(f"{order}HHII", block, place + 2 + 12 * index)
            size = number * _BYTES_OF_TYPE.get(kind, 1)
            named += min(size, len(block)) if size > 4 else 0
            if tag in _IFD_POINTERS:
                waiting.append(value)
        if named > _bytes(limits.directory_megabytes):
            raise damaged()
        following = place + 2 + 12 * last
        if not chained and last == count and following + 4 <= len(block):
            chained = True
            waiting.append(struct.unpack_from(f"{order}I", block, following)[0])


def damaged() -> PhotoError:
    """Return the error for a file that ends early or cannot be decoded."""
    return PhotoError("the photo is damaged or cut short: copy it from the camera again, or take it again")


def _bytes(megabytes: float) -> int:
    return int(megabytes * 1e6)
