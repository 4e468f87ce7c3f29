"""Everything that can be asked of a history; no record is written here."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Unpack, cast

import numpy as np
from sqlalchemy import select

from match.history import (
    archive,
    backup,
    drawer,
    experience,
    find,
    health,
    nearest_colours,
    record_kinds,
    scratch,
    spreadsheet,
    tables,
    timeline,
)
from match.history.again import Again
from match.history.archive import ExportSummary
from match.history.best_card import Standing
from match.history.check_fields import CheckFields
from match.history.database import Database
from match.history.photos import PhotoFolder
from match.history.records import (
    CardRecord,
    CheckRecord,
    CheckRow,
    ColourRecord,
    DeletedRecord,
    JobRecord,
    Lab,
    NearColour,
    Observed,
    OutcomeRecord,
    Page,
    PanelRecord,
    PotRecord,
    Revision,
    StoreHealth,
    Timeline,
    UnreadableRecord,
)
from match.history.validation import lab as checked_lab
from match.history.validation import moment


class Reader:
    """The questions a history answers; every method raises :class:`match.errors.StoreError` when it cannot."""

    def __init__(self, database: Database, photos: PhotoFolder, clock: Callable[[], datetime]) -> None:
        self._database, self._photos, self._clock = database, photos, clock

    @property
    def place(self) -> str:
        """Where the history is, for people to read; never with a password."""
        return self._database.place.label

    @property
    def photos_place(self) -> str:
        """Where the photos are, for people to read."""
        return self._photos.label

    @property
    def read_only(self) -> bool:
        """Whether nothing can be saved here: the folder or the file may not be written."""
        return self._database.read_only

    def leftovers(self) -> tuple[str, ...]:
        """Return the files and folders that killed programs left, for people to read."""
        return tuple(str(path) for path in scratch.leftovers(self._photos.root.parent))

    def clear_leftovers(self) -> int:
        """Remove what killed programs left; nothing that is kept or being written is touched. Return how many."""
        self._database.require_writable()
        return scratch.clear(scratch.leftovers(self._photos.root.parent))

    def _now(self) -> datetime:
        return moment(self._clock(), "the clock's time")

    def find_checks(self, *, page: int = 1, per_page: int = 50, **wanted: Unpack[CheckFields]) -> Page[CheckRow]:
        """List checks, newest first; narrow by the fields of :class:`match.history.check_fields.CheckFields`."""
        with self._database.reading() as connection:
            return find.find_checks(connection, wanted, page, per_page)

    def find_colours(self, text: str = "", *, page: int = 1, per_page: int = 50) -> Page[ColourRecord]:
        """List colours, newest first, in whose code, name, finish or notes every word of ``text`` is found."""
        with self._database.reading() as connection:
            return find.find_colours(connection, text, page, per_page)

    def find_jobs(self, text: str = "", *, page: int = 1, per_page: int = 50) -> Page[JobRecord]:
        """List jobs, newest first, in whose car, plate or notes every word of ``text`` is found."""
        with self._database.reading() as connection:
            return find.find_jobs(connection, text, page, per_page)

    def nearest_colours(self, lab: Lab, *, page: int = 1, per_page: int = 10) -> Page[NearColour]:
        """List the colours whose vehicle came nearest to ``lab`` (CIELAB, D65), nearest first, each colour once.

        Exact CIEDE2000 against every vehicle measured, without retakes and corrected checks; checks that belong to no
        colour stand for themselves.
        """
        wanted = np.array(checked_lab(lab, "the colour to look for"))
        with self._database.reading() as connection:
            return nearest_colours.near_colours(connection, wanted, page, per_page)

    def timeline(self, colour_id: str) -> Timeline:
        """Return everything that happened to a colour, oldest first, and the best card so far."""
        with self._database.reading() as connection:
            return timeline.timeline(connection, colour_id)

    def standing(self, colour_id: str) -> Standing | None:
        """Return how the cards of a colour stand against its car; None where fewer than two can be compared."""
        with self._database.reading() as connection:
            return timeline.compared_cards(connection, colour_id)

    def get_check(self, check_id: str) -> CheckRecord:
        """Return a whole check, deleted or not; each photo says whether its file is whole, missing or changed."""
        with self._database.reading() as connection:
            return find.get_check(connection, self._photos, check_id)

    def get_colour(self, colour_id: str) -> ColourRecord:
        """Return a colour, deleted or not."""
        with self._database.reading() as connection:
            return cast(ColourRecord, find.get_record(connection, record_kinds.COLOUR, colour_id))

    def get_job(self, job_id: str) -> JobRecord:
        """Return a job, deleted or not."""
        with self._database.reading() as connection:
            return cast(JobRecord, find.get_record(connection, record_kinds.JOB, job_id))

    def get_card(self, card_id: str) -> CardRecord:
        """Return a spray-out card, deleted or not."""
        with self._database.reading() as connection:
            return cast(CardRecord, find.get_record(connection, record_kinds.CARD, card_id))

    def newest_pots(self, most: int) -> tuple[tuple[PotRecord, ...], tuple[UnreadableRecord, ...]]:
        """Return the newest pots of every colour, and those among them that cannot be read."""
        with self._database.reading() as connection:
            return find.newest(connection, record_kinds.POT, most)

    def get_pot(self, pot_id: str) -> PotRecord:
        """Return a pot with its whole story, deleted or not."""
        with self._database.reading() as connection:
            return cast(PotRecord, find.get_record(connection, record_kinds.POT, pot_id))

    def newest_panels(self, most: int) -> tuple[tuple[PanelRecord, ...], tuple[UnreadableRecord, ...]]:
        """Return the newest panels of every colour, and those among them that cannot be read."""
        with self._database.reading() as connection:
            return find.newest(connection, record_kinds.PANEL, most)

    def get_panel(self, panel_id: str) -> PanelRecord:
        """Return a described panel, deleted or not."""
        with self._database.reading() as connection:
            return cast(PanelRecord, find.get_record(connection, record_kinds.PANEL, panel_id))

    def checked_again(self, card_id: str) -> Again | None:
        """Return what became of a card since its first check; None where it was not checked twice."""
        with self._database.reading() as connection:
            return drawer.checked_again(connection, card_id)

    def outcomes_of(self, check_id: str) -> tuple[OutcomeRecord, ...]:
        """Return how a check turned out, oldest first."""
        with self._database.reading() as connection:
            return find.linked_records(connection, record_kinds.OUTCOME, "check", check_id)[0]

    def unreadable_outcomes(self, check_id: str) -> tuple[UnreadableRecord, ...]:
        """Return the outcomes of a check that cannot be read any more."""
        with self._database.reading() as connection:
            return find.linked_records(connection, record_kinds.OUTCOME, "check", check_id)[1]

    def observed_outcomes(self) -> tuple[Observed, ...]:
        """Return every measured check that has an outcome, for :mod:`match.history.learning`."""
        with self._database.reading() as connection:
            return experience.observed_outcomes(connection)

    def deleted(self) -> tuple[DeletedRecord, ...]:
        """Return what can be brought back, the latest deletion first."""
        with self._database.reading() as connection:
            return find.find_deleted(connection)

    def revisions(self, record_id: str) -> tuple[Revision, ...]:
        """Return what a record said before each change, oldest first."""
        table = tables.revision
        statement = select(table).where(table.c.record == record_id).order_by(table.c.number, table.c.id)
        with self._database.reading() as connection:
            rows = connection.execute(statement).all()
        return tuple(
            Revision(row.kind, row.record, row.change, row.created_at, row.before)
            for row in rows
            if isinstance(row.before, dict) and isinstance(row.created_at, datetime)
        )

    def checks_of_photo(self, sha256: str) -> tuple[CheckRow, ...]:
        """Return the checks that rest on the photo of this hash, newest first."""
        with self._database.reading() as connection:
            return find.checks_of_photo(connection, sha256)

    def photo_bytes(self, sha256: str) -> bytes:
        """Return a photo's bytes, checked against its hash."""
        return self._photos.read(sha256)

    def verify(self) -> StoreHealth:
        """Look at everything that is kept, every photo's bytes too, and say what is wrong."""
        return health.examine(self._database, self._photos)

    def checks_csv(self, **wanted: Unpack[CheckFields]) -> bytes:
        """Return the checks that match, newest first, as CSV for a spreadsheet."""
        with self._database.reading() as connection:
            return spreadsheet.checks_sheet(find.every_check(connection, wanted))

    def export_archive(self, target: Path) -> ExportSummary:
        """Write every record and photo to a new zip file in the open layout of :mod:`match.history.container`."""
        return archive.export(self._database, self._photos, target, self._now())

    def back_up(self, target: Path) -> ExportSummary:
        """Write the SQLite database as it stands now, and its photos, to a new zip file, while others go on working."""
        return backup.back_up(self._database, self._photos, target, self._now())
