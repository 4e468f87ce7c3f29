"""Region files: the marks of a photo in a small JSON or TOML file, so that a photo can be checked again.

A file holds ``regions`` (a list of tables with ``kind``, ``x``, ``y``, ``width``, ``height`` and, for a grey,
``reflectance``) and may hold ``finish`` and ``junction``. A saved check is one too; it names its photo by
``photo_sha256``, and what a person said of a mark holds for that photo alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Self

from match.check.verdict import Finish, Junction
from match.errors import RegionError
from match.files import read_table
from match.photo.region_table import read_region
from match.photo.regions import Region
from match.words import shown


@dataclass(frozen=True)
class Marks:
    """What a region file says; ``finish`` and ``junction`` are None where it says nothing.

    ``photo_sha256`` is of the photo that the marks were made on, empty where the file does not say.
    """

    regions: tuple[Region, ...]
    finish: Finish | None = None
    junction: Junction | None = None
    photo_sha256: str = ""

    def on(self, photo_sha256: str, *, is_shared: bool) -> Self:
        """Return the marks as they count on a photo: a person who looked at another photo has not looked at this one.

        ``is_shared`` says that the marks serve several photos, of which a word can only have been given on one.
        """
        if self.photo_sha256 == photo_sha256 or not (self.photo_sha256 or is_shared):
            return self
        return replace(self, regions=tuple(region.unsaid for region in self.regions))


def read_marks(path: Path, default_reflectance: float) -> Marks:
    """Read a region file.

    Raises
    ------
    FileError, RegionError
        Each names the file and what to correct.
    """
    return marks_from_table(read_table(path, "the region file"), path.name, default_reflectance)


def marks_from_table(table: Any, name: str, default_reflectance: float) -> Marks:
    """Build :class:`Marks` from a parsed region file called ``name``."""
    if not isinstance(table, Mapping) or not isinstance(table.get("regions"), list):
        raise RegionError(f"the region file {name} has no list called regions: add one entry for each mark")
    regions = tuple(
        read_region(entry, f"region {number} of {name}", default_reflectance)
        for number, entry in enumerate(table["regions"], start=1)
    )
    finish, junction = _choice(Finish, table, "finish", name), _choice(Junction, table, "junction", name)
    return Marks(regions, finish, junction, str(table.get("photo_sha256", "")))


def _choice(kind: type[Any], table: Mapping[str, Any], key: str, name: str) -> Any:
    if key not in table:
        return None
    known = [choice.value for choice in kind]
    if table[key] not in known:
        raise RegionError(f"{name} has {key} = {shown(table[key])}: use one of {', '.join(known)}")
    return kind(table[key])
