"""The history store: one object, small methods, one transaction a call; whatever fails leaves everything as it was."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self, TypeVar, cast

from match.history import archive, backup, container, editing, find, record_kinds, saving
from match.history.archive import ImportSummary
from match.history.benches import Benches
from match.history.container import ArchiveLimits
from match.history.database import Database, locate
from match.history.failures import as_store_error
from match.history.photo_table import PhotoTable
from match.history.photos import PhotoFolder
from match.history.place import data_folder, is_address
from match.history.pots import KeptPot, keep_pot
from match.history.reader import Reader
from match.history.records import (
    CardRecord,
    CheckRecord,
    ColourRecord,
    JobRecord,
    NewCard,
    NewCheck,
    NewColour,
    NewJob,
    NewOutcome,
    NewPanel,
    NewPot,
    NewTintStep,
    OutcomeRecord,
    PanelRecord,
    PotRecord,
    Revision,
    TintStepRecord,
)
from match.history.rights import Rights, tighten
from match.history.schema import bring_up_to_date
from match.history.scratch import scratch_beside
from match.history.validation import moment

Editable = TypeVar(
    "Editable", ColourRecord, JobRecord, CardRecord, TintStepRecord, OutcomeRecord, PotRecord, PanelRecord
)
New = TypeVar("New", NewColour, NewJob, NewCard, NewTintStep, NewOutcome, NewPot, NewPanel)
Clock = Callable[[], datetime]


def _rights(database: Database, *, given: bool) -> Rights:
    """Close the data folder to others; a folder given for the photos, or beside a server, is there to be shared."""
    place = database.place
    return Rights.SHARED if given or place.database_file is None else tighten(place.folder, database.read_only)


class Store(Reader):
    """Every colour ever matched; open it with :meth:`open`, use it from any thread, close it when done.

    Every method raises :class:`match.errors.StoreError` with one sentence when it cannot do its job, and has then
    changed nothing.
    """

    def __init__(self, database: Database, photos: PhotoFolder, clock: Clock, rights: Rights) -> None:
        super().__init__(database, photos, clock)
        self.benches = Benches(database, self._now)
        self.rights = rights

    @classmethod
    def open(
        cls,
        location: str | Path | None = None,
        *,
        folder: Path | None = None,
        clock: Clock = lambda: datetime.now(UTC),
    ) -> Self:
        """Open a history, making it or bringing it up to date where needed.

        Parameters
        ----------
        location
            None for the user's data folder, a path for another data folder, or an SQLAlchemy URL such as
            ``postgresql://user@host/name`` for a shop with several stations.
        folder
            Where photos are kept when that is not the data folder, nor the database of a shop's server, which keeps
            its photos itself so that every station sees them.
        clock
            Where times (aware) come from.
        """
        place = locate(location, folder)
        database = Database(place)
        photos = PhotoFolder(place.folder) if database.is_sqlite or folder is not None else PhotoTable(database)
        rights = _rights(database, given=folder is not None)
        try:
            bring_up_to_date(database)
            if not database.read_only:
                photos.prepare()
            if isinstance(photos, PhotoTable):
                photos.adopt()
        except BaseException:
            database.close()
            raise
        return cls(database, photos, clock, rights)

    @classmethod
    def restore(cls, source: Path | BinaryIO, location: str | Path, *, limits: ArchiveLimits | None = None) -> Self:
        """Restore a backup into a new data folder, or an export into an empty store, and return the store, opened.

        Every byte is checked against the hashes in the archive; an archive that fails leaves nothing behind.
        """
        limits = limits or ArchiveLimits()
        with container.reading(source, limits) as reader:
            kind = reader.kind
        if kind == container.BACKUP:
            backup.restore_backup(source, Path(location), limits)
            return cls.open(location)
        home = None if is_address(location) else data_folder(location)
        if home is None or home.exists():
            store = cls.open(location)
            try:
                archive.bring_in(store._database, store._photos, source, limits, into_empty=True)
            except BaseException:
                store.close()
                raise
            return store
        with as_store_error(str(home)):
            home.parent.mkdir(parents=True, exist_ok=True)
            with scratch_beside(home) as scratch:
                with cls.open(scratch / home.name) as store:
                    archive.bring_in(store._database, store._photos, source, limits, into_empty=True)
                backup.put_in_place(scratch / home.name, home)
        return cls.open(location)

    def import_archive(self, source: Path | BinaryIO, *, limits: ArchiveLimits | None = None) -> ImportSummary:
        """Add what an export holds and this store does not; nothing that is here is changed or added twice."""
        return archive.bring_in(self._database, self._photos, source, limits or ArchiveLimits())

    def close(self) -> None:
        """Close every connection."""
        self._database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def _writer(self) -> Iterator[saving.Writer]:
        with self._database.writing() as connection:
            yield saving.Writer(connection, self._now())

    def save_check(self, new: NewCheck, photos: Sequence[tuple[bytes, str]] = ()) -> CheckRecord:
        """Save a check with its photos (bytes, name), and any new colour, job and card in it, all or nothing."""
        self._database.require_writable()
        at = None if new.created_at is None else moment(new.created_at, "the check's time")
        with self._photos.staging() as staging:
            staged = [(staging.add(content), name) for content, name in photos]
            with self._writer() as writer:
                public_id = saving.save_check(writer, new, staged, at)
                staging.publish()
        return self.get_check(public_id)

    def add_colour(self, new: NewColour) -> ColourRecord:
        """Save a vehicle colour."""
        return cast(ColourRecord, self._add(record_kinds.COLOUR, saving.add_colour, new))

    def add_job(self, new: NewJob) -> JobRecord:
        """Save a job on one car."""
        return cast(JobRecord, self._add(record_kinds.JOB, saving.add_job, new))

    def add_card(self, new: NewCard) -> CardRecord:
        """Save a spray-out card of a kept colour."""
        return cast(CardRecord, self._add(record_kinds.CARD, saving.add_card, new))

    def add_tint_step(self, new: NewTintStep) -> TintStepRecord:
        """Save a tint step; the card sprayed after it can be filled in later with :meth:`edit`."""
        return cast(TintStepRecord, self._add(record_kinds.TINT_STEP, saving.add_tint_step, new))

    def add_outcome(self, new: NewOutcome) -> OutcomeRecord:
        """Save how a check turned out after delivery."""
        return cast(OutcomeRecord, self._add(record_kinds.OUTCOME, saving.add_outcome, new))

    def add_pot(self, new: NewPot) -> PotRecord:
        """Save a pot with its whole story."""
        return cast(PotRecord, self._add(record_kinds.POT, saving.add_pot, new))

    def add_panel(self, new: NewPanel) -> PanelRecord:
        """Save a described panel."""
        return cast(PanelRecord, self._add(record_kinds.PANEL, saving.add_panel, new))

    def keep_pot(self, kept: KeptPot) -> PotRecord:
        """Save a pot, or what came to a kept one since, with its new cards and steps, all or nothing."""
        with self._writer() as writer:
            return cast(PotRecord, find.get_record(writer.connection, record_kinds.POT, keep_pot(writer, kept)))

    def _add(self, kind: record_kinds.Kind, add: Callable[[saving.Writer, New], str], new: New) -> object:
        with self._writer() as writer:
            return find.get_record(writer.connection, kind, add(writer, new))

    def edit(self, record: Editable) -> Editable:
        """Keep an edited copy of a record (made with ``dataclasses.replace``), and the old version as a revision.

        Refused when someone else edited the record since it was loaded. A check is corrected, not edited.
        """
        with self._writer() as writer:
            return cast(Editable, editing.edit(writer, record))

    def edit_check(
        self,
        check_id: str,
        *,
        note: str | None = None,
        colour: str | None = None,
        job: str | None = None,
        card: str | None = None,
    ) -> CheckRecord:
        """Change a check's note or what it belongs to (public ids); None leaves a field as it is."""
        given = {"note": note, "colour": colour, "job": job, "card": card}
        with self._writer() as writer:
            editing.edit_check(writer, check_id, {name: value for name, value in given.items() if value is not None})
        return self.get_check(check_id)

    def bring_back(self, earlier: Revision) -> CheckRecord:
        """Let a check say again what it said before an edit: its note, and what it belonged to."""
        said = {name: earlier.before[name] for name in ("note", "colour", "job", "card")}
        with self._writer() as writer:
            editing.edit_check(writer, earlier.record, said)
        return self.get_check(earlier.record)

    def delete(self, record_id: str) -> None:
        """Delete any record and what hangs from it (a colour's cards and checks, a check's outcomes); can be undone."""
        with self._writer() as writer:
            editing.delete(writer, record_id)

    def undelete(self, record_id: str) -> None:
        """Bring back a deleted record and everything that was deleted along with it."""
        with self._writer() as writer:
            editing.undelete(writer, record_id)
