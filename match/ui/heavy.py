"""Heavy work, one piece at a time for all visitors, and the few decoded photos that are kept between two looks."""

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import wraps
from typing import ParamSpec, TypeVar

from match.calibration import quantity
from match.photo.load import Photo

_TURN = threading.RLock()
Given = ParamSpec("Given")
Made = TypeVar("Made")


@dataclass(frozen=True)
class AppLimits:
    """The table ``app`` of ``calibration/intake.toml``."""

    decoded_megabytes: float = quantity("MB")


@contextmanager
def heavy_work() -> Iterator[None]:
    """Wait for the turn to decode or search a photo: two at once would need twice the memory, and finish no sooner.

    Take it before a cached function is entered, never inside one: Streamlit holds a lock of its own there.
    """
    with _TURN:
        yield


def in_turn(work: Callable[Given, Made]) -> Callable[Given, Made]:
    """Have a cached function wait for :func:`heavy_work` before it is entered; the outermost of its decorators."""

    @wraps(work)
    def waiting(*args: Given.args, **kwargs: Given.kwargs) -> Made:
        with heavy_work():
            return work(*args, **kwargs)

    return waiting


class DecodedPhotos:
    """The photos last looked at, decoded, by digest; as many as fit in ``most_bytes``, and always the last one.

    Use it within :func:`heavy_work`.
    """

    def __init__(self, most_bytes: float) -> None:
        self._most_bytes = most_bytes
        self._photos: OrderedDict[str, Photo] = OrderedDict()

    def get(self, digest: str) -> Photo | None:
        """Return the photo where it is still here."""
        found = self._photos.get(digest)
        if found is not None:
            self._photos.move_to_end(digest)
        return found

    def put(self, digest: str, photo: Photo) -> Photo:
        """Keep a photo, letting go of those not looked at for longest; return it."""
        self._photos[digest] = photo
        self._photos.move_to_end(digest)
        while len(self._photos) > 1 and sum(each.size_bytes for each in self._photos.values()) > self._most_bytes:
            self._photos.popitem(last=False)
        return photo
