"""The marks of a saved check, for whoever shows them."""

from match.errors import MatchError
from match.history.records import CheckRecord
from match.photo.region_table import read_region
from match.photo.regions import Region


def marks_by_photo(check: CheckRecord) -> dict[str, tuple[Region, ...]]:
    """Return the marks of every photo by its SHA-256; none where they were not kept by this app."""
    if not check.photos:
        return {}
    front = str(check.result.get("photo_sha256") or check.photos[0].sha256)
    try:
        of_several = {entry["photo_sha256"]: entry["regions"] for entry in check.result.get("photos", ())}
        tables = {front: check.regions, **of_several}
        return {
            sha256: tuple(read_region(table, "a mark", None) for table in listed) for sha256, listed in tables.items()
        }
    except (MatchError, KeyError, TypeError):
        return {}
