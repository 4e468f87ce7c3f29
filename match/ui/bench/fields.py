"""The fields whose values come back: every one that says something of the work, by its key; no button, no file.

Values are plain: text, numbers, yes or no, members of our enumerations, and tuples, lists and tables of them. What JSON
has no word for is written as what it is.
"""

import re
from collections.abc import Iterator, Mapping
from enum import Enum
from importlib import import_module
from typing import Any

import streamlit as st

WORK_PAGES = ("check", "blend", "tint", "coats", "camera")
"""The pages, by address, whose fields these are: on them work is done and can be gone on with."""

_NAMES = (
    r"session_(mirrored|card_name)",
    r"check_(finish|junction)",
    r"more_photos",
    r"blend_(sides|unit|lengths|three_stage|mid_coats|coats|undercoat|judge|lux|exaggerate|paint_line)",
    r"blend_(source|finish|junction|lab|end|line_on|break_known|room_known)_\w[\w-]*",
    r"blend_part_\d+",
    r"blend_(panel|repairs)",
    r"blend_sheet_(car|panel|colour|remarks|page)",
    r"tint_(finish|formula_on|rows|share|allowed|pot|batch|reserve|mix|on_top|next_row|not_cards|earlier_on)",
    r"tint_(toner|parts)_\d+",
    r"tint_saved(_steps)?",
    r"hiding_(coats|finish|carried)",
    r"coats_question|camera_trial",
    r"save_(saved|of_photo|last_colour)",
    r"guided_(step|places)",
)
_FIELD = re.compile("|".join(f"(?:{name})" for name in _NAMES))
_SEEN = "bench_seen"
_LENGTHS = "blend_lengths"
"""There only once a length was typed: that it is there is a change."""


def values() -> dict[str, Any]:
    """Return the value of every field that this visit has, as JSON keeps it."""
    return {key: packed(st.session_state[key]) for key in sorted(_present())}


def read(kept: Mapping[str, Any]) -> dict[str, Any]:
    """Return what :func:`values` returned as values again; raises :class:`ValueError` for anything else.

    A key that is no field's is passed over: a later version may have had it.
    """
    return {key: unpacked(value) for key, value in kept.items() if _FIELD.fullmatch(key)}


def is_field(key: str) -> bool:
    """Return whether the value under this key comes back."""
    return _FIELD.fullmatch(key) is not None


def is_room_planned() -> bool:
    """Return whether a person changed a field of the room: whether one has another value than when first seen."""
    seen = st.session_state.setdefault(_SEEN, {})
    changed = False
    for key in (each for each in _present() if each.startswith("blend_")):
        value = packed(st.session_state[key])
        changed |= seen.setdefault(key, packed({}) if key == _LENGTHS else value) != value
    return changed


def _present() -> Iterator[str]:
    return (str(key) for key in list(st.session_state) if _FIELD.fullmatch(str(key)))


def packed(value: Any) -> Any:
    """Return a plain value as JSON keeps it; raises :class:`TypeError` for anything else."""
    if value is None or isinstance(value, bool | int | float):
        return value
    if isinstance(value, Enum):
        return {"member": [type(value).__module__, type(value).__qualname__, value.name]}
    if isinstance(value, str):
        return value
    if isinstance(value, list):
        return [packed(each) for each in value]
    if isinstance(value, tuple):
        return {"tuple": [packed(each) for each in value]}
    if isinstance(value, set | frozenset):
        return {"set": sorted(packed(each) for each in value)}
    if isinstance(value, dict):
        return {"table": [[packed(key), packed(each)] for key, each in value.items()]}
    raise TypeError(f"a field holds {type(value).__name__}")


def unpacked(kept: Any) -> Any:
    """Return what :func:`packed` was given; raises :class:`ValueError` for what it never returns."""
    if isinstance(kept, list):
        return [unpacked(each) for each in kept]
    if not isinstance(kept, dict):
        return kept
    ((kind, content),) = kept.items()
    if kind == "table":
        return {unpacked(key): unpacked(each) for key, each in content}
    if kind == "member":
        return _member(*content)
    if kind in ("tuple", "set"):
        return {"tuple": tuple, "set": set}[kind](unpacked(each) for each in content)
    raise ValueError(f"{kind} is no kind of value")


def _member(module: str, kind: str, name: str) -> Enum:
    """Return a member of one of this program's enumerations."""
    found = getattr(import_module(module), kind, None) if module.startswith("match.") else None
    if not (isinstance(found, type) and issubclass(found, Enum)):
        raise ValueError(f"{kind} is no enumeration")
    return found[name]
