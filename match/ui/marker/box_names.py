"""What a box is called on the photo, put in place of pixel coordinates in the sentences of the measurement."""

from __future__ import annotations

from collections.abc import Sequence

from match.photo.regions import Region
from match.ui.marker.marks import CHECK_KINDS


def box_names(regions: Sequence[Region]) -> list[str]:
    """Return each region's name as it stands on the photo: ``Card``, ``Grey 18 %``, ``Car (2)``."""
    labels = {kind.name: kind.label for kind in CHECK_KINDS}
    plain = [labels[region.kind.value] + _share(region) for region in regions]
    return [
        f"{name} ({plain[: index + 1].count(name)})" if plain.count(name) > 1 else name
        for index, name in enumerate(plain)
    ]


def _share(region: Region) -> str:
    return "" if region.reflectance is None else f" {round(region.reflectance * 100, 1):g} %"


def with_box_names(sentence: str, regions: Sequence[Region]) -> str:
    """Return ``sentence`` with the name on the photo wherever it points at a region by its pixels."""
    for region, name in zip(regions, box_names(regions), strict=True):
        by_pixels, shown = region.name, f"the box “{name}”"
        sentence = sentence.replace(by_pixels, shown).replace(_capital(by_pixels), _capital(shown))
    return sentence


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
