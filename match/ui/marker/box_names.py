"""What the boxes are called on the photo: the names that a page gives to the regions in its sentences."""

from collections.abc import Mapping, Sequence

from match.check.marks.code import said_of
from match.measure.finding import Names, by_pixels
from match.photo.cut_outs import box_names
from match.photo.regions import Region
from match.ui.session import LatestCheck


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


def said_right(regions: Sequence[Region]) -> str:
    """Say what a person said of doubted boxes of a photo who was asked; empty where nothing was."""
    return said_of(regions, [f"“{name}”" for name in box_names(regions)])
