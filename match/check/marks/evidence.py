"""What a photo shows of its marks, all of it gathered once."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from match.check.marks.borders import Heights, Passes, passes
from match.check.marks.box import Box, look
from match.check.marks.greys import FrameLight, frame_light
from match.check.marks.rules import MarkRules
from match.check.marks.surround import Surround, surround
from match.check.marks.terrain import terrains
from match.measure.sampling import Patch
from match.photo.regions import Kind, Region


@dataclass(frozen=True, eq=False)
class Evidence:
    """What the photo shows of its marks; ``boxes``, ``apart``, ``around`` and ``regions`` are in the same order."""

    regions: tuple[Region, ...]
    boxes: tuple[Box, ...]
    apart: Passes
    around: Surround
    frame: FrameLight
    frame_px: float

    def of_kind(self, kind: Kind) -> list[int]:
        """Return the places of the marks of a kind."""
        return [place for place, region in enumerate(self.regions) if region.kind is kind]

    def of_card(self, card: int, left_out: Collection[Region] = ()) -> Evidence:
        """Return what is seen of one card, by its place among the marks: without other cards and what is left out."""
        return _evidence_of_card(self, card, left_out)


def _evidence_of_card(seen: Evidence, card: int, left_out: Collection[Region]) -> Evidence:
    places = [k for k, region in enumerate(seen.regions) if k == card or region.kind is not Kind.CARD]
    places = [k for k in places if seen.regions[k] not in left_out]
    between, lines = (each[np.ix_(places, places)] for each in (seen.apart.between, seen.apart.lines))
    apart = Passes(between, lines, seen.apart.sides[places])
    boxes = tuple(seen.boxes[k] for k in places)
    regions = tuple(box.region for box in boxes)
    return Evidence(regions, boxes, apart, seen.around.of(places), seen.frame, seen.frame_px)


def evidence(
    patches: Sequence[Patch], preview: NDArray[np.uint8], photo_px: tuple[int, int], rules: MarkRules
) -> Evidence:
    """Return what marks and frame show; ``preview`` is a small sRGB picture (h, w, 3) of a photo of ``photo_px``."""
    regions = tuple(patch.region for patch in patches)
    border = rules.border
    heights = [Heights(land, regions) for land in terrains(preview, *photo_px)]
    return Evidence(
        regions,
        tuple(look(patch) for patch in patches),
        passes(heights, border.own_step, (border.same[0], border.apart[0])),
        surround(heights[0], border.own_step, rules.surround, rules.outline, rules.unmarked),
        frame_light(preview, rules.frame.burnt_out),
        float(max(photo_px)),
    )
