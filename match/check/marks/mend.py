"""Wrong marks put right, and what was changed, as data and in words."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from match.measure.finding import Names, by_pixels
from match.photo.regions import Kind, Region


@dataclass(frozen=True)
class Change:
    """One mark that was changed: the ``reflectance`` or the ``kind`` it has now, or ``moved``; else it is left out."""

    region: Region
    reflectance: float | None = None
    kind: Kind | None = None
    moved: bool = False


def changes(before: Sequence[Region], after: Sequence[Region]) -> tuple[Change, ...]:
    """Return what turns marks ``before`` into those ``after``: figures and kinds given anew, marks moved or left out.

    A mark moved is one that is gone while another of its kind has come.
    """
    kept = {_place(region): region for region in after}
    held = {_place(region) for region in before}
    come = {region.kind for region in after if _place(region) not in held}
    found = []
    for region in before:
        now = kept.get(_place(region))
        if now is None:
            found.append(Change(region, moved=region.kind in come))
        elif now.kind is not region.kind:
            found.append(Change(region, kind=now.kind))
        elif now.reflectance != region.reflectance:
            found.append(Change(region, now.reflectance))
    return tuple(found)


def mend_words(made: Sequence[Change], names: Names = by_pixels) -> str:
    """Say what was or would be changed, beginning in lower case: ``the grey region at 3,4 as 75 %``."""
    return ", ".join(f"{names(change.region)} {_now(change)}" for change in made)


def _now(change: Change) -> str:
    if change.kind:
        return f"as the {_called(change.kind)}"
    if change.moved:
        return f"moved onto the {_called(change.region.kind)} that has none"
    return "left out" if change.reflectance is None else f"as {100.0 * change.reflectance:.3g} %"


def _called(kind: Kind) -> str:
    return "car" if kind is Kind.VEHICLE else kind.value


def _place(region: Region) -> Region:
    return replace(region, kind=Kind.CARD, reflectance=None, label="", sure=())
