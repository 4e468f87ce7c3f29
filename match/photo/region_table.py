"""A region as files hold it: a table with its fields by name, and a person's word with the mark it was given on."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from match.errors import RegionError
from match.photo.regions import EVERY_QUESTION, WIDEST_PX, Kind, Region, checked_label, checked_reflectance
from match.words import shown


def region_table(region: Region) -> dict[str, Any]:
    """Return a region as files hold it: its fields by name, those alone that say something."""
    table: dict[str, Any] = {
        "kind": region.kind.value,
        "x": region.x,
        "y": region.y,
        "width": region.width,
        "height": region.height,
    }
    if region.label:
        table["name"] = region.label
    if region.sure:
        told = {"asked": list(region.sure), "of": region.claim}
        table["sure"] = True if EVERY_QUESTION in region.sure else told
    return table if region.reflectance is None else {**table, "reflectance": region.reflectance}


def read_region(table: object, where: str, default_reflectance: float | None) -> Region:
    """Return a region from what a file holds.

    Raises :class:`RegionError` when it is not a region.

    Parameters
    ----------
    table : see :func:`region_table`
    where : what the region is called in sentences, such as ``region 2 of marks.json``
    default_reflectance : of a grey that says none; None where it must say its own
    """
    if not isinstance(table, Mapping):
        raise RegionError(f"{where} is not a table with kind, x, y, width and height: correct the file")
    kinds = [kind.value for kind in Kind]
    if table.get("kind") not in kinds:
        raise RegionError(f"{where} has the kind {shown(table.get('kind'))}: use one of {', '.join(kinds)}")
    kind = Kind(table["kind"])
    x, y, width, height = (_pixels(table, key, where) for key in ("x", "y", "width", "height"))
    if kind is not Kind.GREY:
        label = table.get("name", "")
        if not isinstance(label, str):
            raise RegionError(f"{where} has the name {shown(label)}: write it as text")
        return _with_word(Region(kind, x, y, width, height, label=checked_label(label, kind)), table, where)
    given = table.get("reflectance", default_reflectance)
    if isinstance(given, bool) or not isinstance(given, int | float):
        raise RegionError(f"{where} has the reflectance {shown(given)}: give a number such as 0.18")
    return _with_word(Region(kind, x, y, width, height, checked_reflectance(given)), table, where)


def _with_word(region: Region, table: Mapping[str, Any], where: str) -> Region:
    """Return the region with the word on it; one given on another mark, or on another figure, counts for nothing."""
    said = table.get("sure", False)
    if isinstance(said, bool):
        return replace(region, sure=(EVERY_QUESTION,)) if said else region
    asked = said.get("asked") if isinstance(said, Mapping) else None
    if not isinstance(asked, list) or not all(isinstance(code, str) for code in asked) or "of" not in said:
        raise RegionError(
            f"{where} has sure = {shown(said)}: leave it out, or write asked = a list of what was asked, and of = the "
            "mark that it was asked of"
        )
    return replace(region, sure=tuple(asked)) if said["of"] == region.claim else region


def _pixels(table: Mapping[str, Any], key: str, where: str) -> int:
    value = table.get(key)
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not abs(value) <= WIDEST_PX or value != int(value):  # type: ignore[arg-type]
        raise RegionError(f"{where} has {key} = {shown(value)}: give a whole number of pixels")
    return int(value)
