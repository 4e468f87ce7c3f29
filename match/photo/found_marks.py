"""Marks that a photo shows of itself: the capture sheet's windows, or proposals for a person to look at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from match import calibration as files
from match.photo.load import Photo
from match.photo.proposals.propose import ProposalSettings, propose
from match.photo.regions import Region
from match.photo.sheet.detect import SheetFile, SheetReading, read_sheet

PROPOSAL_SIDE_PX = 1600
"""Longest side of the picture that proposals are looked for in; boxes are scaled back to the photo."""


@dataclass(frozen=True)
class FoundMarks:
    """Regions in pixels of the upright photo, and in words how they were found.

    ``saw_sheet`` says whether at least one mark of the capture sheet was read, though ``sheet`` may be None.
    """

    regions: tuple[Region, ...]
    sheet: SheetReading | None
    notes: tuple[str, ...]
    saw_sheet: bool = False


def find_marks(photo: Photo, grey_reflectances: Sequence[float]) -> FoundMarks:
    """Read the capture sheet in a photo, or else propose regions; no regions when neither is sure enough.

    ``grey_reflectances`` are those of all patches of the user's grey reference.
    """
    picture = photo.preview(max(photo.width, photo.height))
    grey = np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    search = read_sheet(
        grey,
        files.load(SheetFile, "capture"),
        grey_reflectance=grey_reflectances[0],
        focal_35mm=photo.focal_35mm,
    )
    if search.reading is not None:
        return FoundMarks(tuple(search.reading.regions), search.reading, tuple(search.reading.notes))
    small = photo.preview(PROPOSAL_SIDE_PX)
    proposals = propose(small, files.load(ProposalSettings, "capture", "proposal"), grey_reflectances=grey_reflectances)
    scale = photo.width / small.shape[1]
    regions = tuple(_scaled(region, scale) for region in proposals.regions)
    return FoundMarks(regions, None, (search.reason, *proposals.notes), search.saw_sheet)


def _scaled(region: Region, scale: float) -> Region:
    x, y = int(region.x * scale), int(region.y * scale)
    return Region(region.kind, x, y, int(region.width * scale), int(region.height * scale), region.reflectance)
