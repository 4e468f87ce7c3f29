"""Marks that a photo shows of itself: the capture sheet's windows, or proposals for a person to look at."""

from collections.abc import Sequence
from dataclasses import dataclass

from match import calibration as files
from match.calibration import quantity
from match.photo.load import Photo
from match.photo.proposals.propose import ProposalSettings, propose
from match.photo.regions import Region, named_cards
from match.photo.sheet.detect import SheetFile, SheetReading, SheetSearch, read_sheet, scaled


@dataclass(frozen=True)
class SearchSettings:
    """How large a picture is searched; see ``calibration/capture.toml``."""

    sheet_side_px: float = quantity("px")
    proposal_side_px: float = quantity("px")


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

    The search works on small pictures; what it finds is given in pixels of the whole photo. ``grey_reflectances`` are
    those of all patches of the user's grey reference.
    """
    sides = files.load(SearchSettings, "capture", "search")
    searched = photo.reduced(int(sides.sheet_side_px))
    search = _sheet_in(searched, photo, grey_reflectances[0])
    if search.reading is not None:
        reading = scaled(search.reading, photo.width / searched.width, (photo.width, photo.height))
        return FoundMarks(named_cards(reading.regions), reading, tuple(reading.notes))
    small = searched.preview(int(sides.proposal_side_px))
    proposals = propose(small, files.load(ProposalSettings, "capture", "proposal"), grey_reflectances=grey_reflectances)
    scale = photo.width / small.shape[1]
    regions = tuple(region.scaled(scale, (photo.width, photo.height)) for region in proposals.regions)
    return FoundMarks(regions, None, (search.reason, *proposals.notes), search.saw_sheet)


def sheet_tilt(photo: Photo, grey_reflectance: float) -> tuple[float, float] | None:
    """Return from how many degrees off straight on the capture sheet was taken, and their sd; None where none is seen.

    ``grey_reflectance`` is that of the card in the sheet's grey window.
    """
    side = int(files.load(SearchSettings, "capture", "search").sheet_side_px)
    reading = _sheet_in(photo.reduced(side), photo, grey_reflectance).reading
    return None if reading is None else (reading.tilt_deg, reading.tilt_sd_deg)


def _sheet_in(searched: Photo, photo: Photo, grey_reflectance: float) -> SheetSearch:
    return read_sheet(
        searched.grey(),
        files.load(SheetFile, "capture"),
        grey_reflectance=grey_reflectance,
        focal_35mm=photo.focal_35mm,
    )
