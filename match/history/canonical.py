"""One way to write text and JSON, so that equal content is equal bytes in every database and archive."""

import json
import unicodedata
from dataclasses import dataclass
from typing import Any

from match import files
from match.errors import FileError, StoreError


@dataclass(frozen=True)
class Unreadable:
    """What stands in a row in place of a value that is no longer what was saved; ``why`` as in "it is not text"."""

    why: str


def to_json(value: Any) -> str:
    """Return ``value`` as canonical JSON: keys sorted, no spaces, ASCII only, finite numbers only.

    Raises :class:`StoreError` when the value is not JSON: not a number, infinite, an array, a set, a key that is not
    text.
    """
    try:
        plain = _text_keys(value)
        text = json.dumps(plain, sort_keys=True, separators=(",", ":"), allow_nan=False)
        files.sound(plain, "a record")
        return text
    except FileError as error:
        raise StoreError(str(error)) from None
    except (TypeError, ValueError, RecursionError) as error:
        raise StoreError(
            f"a record holds something that JSON cannot ({error}): turn arrays into lists and missing numbers into null"
        ) from None


def _text_keys(value: Any) -> Any:
    """Refuse keys that JSON would silently turn into text."""
    if isinstance(value, dict):
        for key in value:
            if not isinstance(key, str):
                raise TypeError(f"the key {key!r} is not text")
        return {key: _text_keys(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_text_keys(item) for item in value]
    return value


def from_json(text: str) -> Any:
    """Parse JSON; raises ValueError when it is none, or is nothing that :func:`to_json` writes."""
    return files.parse_json(text, "a record")


def clean_text(value: str, what: str, longest: int = 20_000) -> str:
    """Return ``value`` unchanged when every database can keep it; ``what`` names it in the message.

    Raises :class:`StoreError` when it is not text, is longer than ``longest`` characters, or holds characters no
    database keeps.
    """
    if not isinstance(value, str):
        raise StoreError(f"{what} is {type(value).__name__}, expected text: write it as text")
    if len(value) > longest:
        raise StoreError(f"{what} is {len(value)} characters long: shorten it to {longest}")
    if "\x00" in value or any("\ud800" <= character <= "\udfff" for character in value):
        raise StoreError(f"{what} holds a character that is not text: type it again")
    return value


def folded(*texts: str) -> str:
    """Return texts joined for searching: width, case and runs of spaces made alike."""
    joined = unicodedata.normalize("NFKC", "\n".join(text for text in texts if text)).casefold()
    return "\n".join(" ".join(line.split()) for line in joined.split("\n"))


def compact(text: str) -> str:
    """Return the letters and digits of a text only, so that ``ab-12``, ``AB 12`` and ``ab12`` are alike."""
    return "".join(character for character in folded(text) if character.isalnum())


def found_by(*names: str) -> str:
    """Return names joined for searching, a line each, and those that are written with signs or spaces without them."""
    lines = folded(*names)
    more = dict.fromkeys(compact(name) for name in names)
    return "\n".join((lines, *(each for each in more if each not in lines)))


def code_key(code: str) -> str:
    """Return a paint code's letters and digits only, as much as an index holds."""
    return compact(code)[:200]
