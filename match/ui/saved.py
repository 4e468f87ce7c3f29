"""The check on the bench as the file that is downloaded and kept."""

from __future__ import annotations

from collections.abc import Iterable

from match.photo.regions import Region
from match.ui.session import LatestCheck


def document(check: LatestCheck) -> dict[str, object]:
    """Return the check as saved: the result, the photo's name and SHA-256, and the regions in pixels."""
    saved = {"photo": check.photo_name, "photo_sha256": check.photo_digest, "regions": _regions(check.regions)}
    if not check.together:
        return {**saved, **check.result.as_dict()}
    photos = [
        {"photo": name, "photo_sha256": digest, "regions": _regions(regions)} for name, digest, regions in check.photos
    ]
    return {**saved, **check.result.as_dict(), "photos": photos, "together": check.together.as_dict()}


def _regions(regions: Iterable[Region]) -> list[dict[str, object]]:
    return [
        {
            "kind": region.kind.value,
            "x": region.x,
            "y": region.y,
            "width": region.width,
            "height": region.height,
            "reflectance": region.reflectance,
        }
        for region in regions
    ]
