"""What the boxes are called on the photo: the names that a page gives to the regions in its sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from match.measure.finding import Names, by_pixels
from match.photo.regions import Region
from match.ui.marker.marks import CHECK_KINDS
from match.ui.session import LatestCheck


def box_names(regions: Sequence[Region]) -> list[str]:
    """Return each region's name as it stands on the photo: ``Card``, ``Grey 18 %``, ``Car (2)``."""
    labels = {kind.name: kind.label for kind in CHECK_KINDS}
    plain = [region.label or labels[region.kind.value] + _share(region) for region in regions]
    return [
        f"{name} ({plain[: index + 1].count(name)})" if plain.count(name) > 1 else name
        for index, name in enumerate(plain)
    ]


def _share(region: Region) -> str:
    return "" if region.reflectance is None else f" {round(region.reflectance * 100, 1):g} %"


def called_on(regions: Sequence[Region]) -> Names:
    """Return what the regions of one photo are called: the box with its name; a region without a box by its pixels."""
    boxes = {region: f"the box “{name}”" for region, name in zip(regions, box_names(regions), strict=True)}
    return lambda region, photo="": boxes.get(region) or by_pixels(region)


def called_in_set(photos: Mapping[str, Sequence[Region]]) -> Names:
    """Return what the regions of several photos are called, each as on its own photo."""
    by_photo = {name: called_on(regions) for name, regions in photos.items()}
    return lambda region, photo="": by_photo.get(photo, by_pixels)(region)


def called_in(check: LatestCheck) -> Names:
    """Return what the regions of a check are called."""
    if check.together is None:
        return called_on(check.regions)
    return called_in_set({photo.name: photo.regions for photo in check.together.photos})
