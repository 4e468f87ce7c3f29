"""What goes into the history and what comes out: frozen records, never rows of a database.

A ``New...`` record is what the caller gives; the record kept adds its public id, its time and its version. To edit a
record, change a copy (``dataclasses.replace``) and give it to ``Store.edit``.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Generic, Literal, TypeVar

RETAKE = "retake"
"""The verdict that says: this was no measurement."""

Lab = tuple[float, float, float]
Answer = Literal["yes", "no", "unsure"]
ANSWERS = ("yes", "no", "unsure")
ENDS = ("open", "held", "seen", "given up")
"""How a pot ended: not yet, on the car and it held, on the car and it shows, or it was given up."""

PhotoState = Literal["whole", "missing", "changed"]

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What every kept record has: public id, UTC time, count of edits, and when it was deleted (None: it is not)."""

    id: str
    created_at: datetime
    version: int
    deleted_at: datetime | None


@dataclass(frozen=True, kw_only=True)
class NewColour:
    """A vehicle colour: the paint code as the user writes it, its name, finish and undercoat shade."""

    code: str = ""
    name: str = ""
    finish: str = ""
    undercoat: str = ""
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class ColourRecord(NewColour, Kept):
    """A kept vehicle colour."""


@dataclass(frozen=True, kw_only=True)
class NewJob:
    """One job on one car; ``plate`` is a number plate or a nickname, ``day`` the date of the job."""

    car: str = ""
    plate: str = ""
    day: date | None = None
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class JobRecord(NewJob, Kept):
    """A kept job."""


@dataclass(frozen=True, kw_only=True)
class NewCard:
    """A spray-out card: what was sprayed and how; ``colour`` and ``job`` are public ids, ``place`` is where it lies."""

    colour: str | None = None
    job: str | None = None
    mix: str = ""
    batch: str = ""
    gun: str = ""
    coats: str = ""
    reducer: str = ""
    undercoat: str = ""
    tinted: str = ""
    notes: str = ""
    place: str = ""


@dataclass(frozen=True, kw_only=True)
class CardRecord(NewCard, Kept):
    """A kept spray-out card; its colour is always set."""


@dataclass(frozen=True, kw_only=True)
class NewCheck:
    """One check of a card against a vehicle.

    ``result`` is a check's document (:mod:`match.check.saved`) and kept whole. ``colour``, ``job`` and ``card``
    are public ids, or new records to be saved together with the check, all or nothing. A card brings its own colour and
    job. ``corrects`` is the id of an earlier check that this one replaces; the earlier one stays, and lends its colour,
    job and card when the correction names no others.
    """

    result: Mapping[str, Any]
    regions: Any = field(default_factory=dict)
    settings: Any = field(default_factory=dict)
    colour: str | NewColour | None = None
    job: str | NewJob | None = None
    card: str | NewCard | None = None
    corrects: str | None = None
    method_version: str = ""
    tolerances_version: str = ""
    tolerances_hash: str = ""
    note: str = ""
    created_at: datetime | None = None


@dataclass(frozen=True)
class PhotoRef:
    """A photo of a check: the SHA-256 of its bytes, its size and name, and whether the file is still whole."""

    sha256: str
    size_bytes: int
    name: str
    state: PhotoState


@dataclass(frozen=True, kw_only=True)
class CheckRow(Kept):
    """A check as a list shows it: its findings, and the colour, car and card it belongs to."""

    verdict: str
    delta_e00: float | None
    delta_e00_interval: tuple[float, float] | None
    card_lab: Lab | None
    vehicle_lab: Lab | None
    note: str
    colour: str | None
    code: str
    colour_name: str
    finish: str
    job: str | None
    car: str
    plate: str
    card: str | None
    corrects: str | None
    corrected_by: str | None
    method_version: str
    tolerances_version: str
    tolerances_hash: str

    @property
    def stands(self) -> bool:
        """Whether it is a measurement that still counts: corrected by no other, and no retake."""
        return self.corrected_by is None and self.verdict != RETAKE


@dataclass(frozen=True, kw_only=True)
class CheckRecord(CheckRow):
    """A whole check: also its photos, regions, settings and the full result."""

    photos: tuple[PhotoRef, ...]
    regions: Any
    settings: Any
    result: Mapping[str, Any]


@dataclass(frozen=True)
class Addition:
    """A toner and how much of it went into the pot, in grams."""

    toner: str
    mass_g: float


@dataclass(frozen=True, kw_only=True)
class NewTintStep:
    """One tint: the card before, what was added to how big a pot, the Lab predicted, and the card after."""

    card_before: str
    card_after: str | None = None
    additions: tuple[Addition, ...] = ()
    pot_size_g: float | None = None
    predicted_lab: Lab | None = None
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class TintStepRecord(NewTintStep, Kept):
    """A kept tint step."""


@dataclass(frozen=True, kw_only=True)
class NewPot:
    """One pot: the whole of its story as ``Story.as_record`` of :mod:`match.tint.story` gives it, and how it ended.

    ``colour`` is a public id; ``cards`` are those of the story's cards that are kept, in its order.
    """

    colour: str
    story: Mapping[str, Any]
    name: str = ""
    cards: tuple[str, ...] = ()
    ended: str = "open"
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class PotRecord(NewPot, Kept):
    """A kept pot."""


@dataclass(frozen=True, kw_only=True)
class NewPanel:
    """A described panel, as :func:`match.blend.panel_record.panel_as_record` says it.

    ``colour`` and ``job`` are public ids, or new records to be saved together with it, all or nothing; ``name`` is what
    the user calls it.
    """

    colour: str | NewColour
    described: Mapping[str, Any]
    job: str | NewJob | None = None
    name: str = ""
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class PanelRecord(NewPanel, Kept):
    """A kept panel; its colour and job are public ids."""


@dataclass(frozen=True, kw_only=True)
class NewOutcome:
    """How a check turned out after delivery.

    ``verdict_followed`` is what was done (go, blend, retint); ``junction`` where the two paints met; ``seen_from`` the
    distance or place of the eye; ``hidden`` whether the difference hid; ``came_back`` whether the car came back for it.
    """

    check: str
    hidden: Answer
    came_back: Answer = "unsure"
    verdict_followed: str = ""
    junction: str = ""
    seen_from: str = ""
    day: date | None = None
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class OutcomeRecord(NewOutcome, Kept):
    """A kept outcome."""


@dataclass(frozen=True)
class Revision:
    """What a record said before a change (``edit``, ``delete`` or ``undelete``), and when it was changed."""

    kind: str
    record: str
    change: str
    at: datetime
    before: Mapping[str, Any]


@dataclass(frozen=True)
class UnreadableRecord:
    """A kept record that is no longer what was saved: its kind, its id (or its number), and what is wrong with it."""

    kind: str
    id: str
    fault: str


@dataclass(frozen=True)
class DeletedRecord:
    """A record that was deleted and can be brought back."""

    kind: str
    id: str
    title: str
    deleted_at: datetime


@dataclass(frozen=True)
class Page(Generic[T]):
    """One page of a list; ``page`` counts from 1 and ``total`` is the length of the whole list.

    ``unreadable`` are the records of this page that cannot be read any more.
    """

    items: tuple[T, ...]
    page: int
    per_page: int
    total: int
    unreadable: tuple[UnreadableRecord, ...] = ()

    @property
    def pages(self) -> int:
        """How many pages there are, at least 1."""
        return max(1, -(-self.total // self.per_page))


@dataclass(frozen=True)
class NearColour:
    """A colour met before, its check that comes nearest, how near (CIEDE2000), and where a card of it lies."""

    colour: ColourRecord | None
    check: CheckRow
    delta_e00: float
    place: str = ""


@dataclass(frozen=True)
class TimelineEntry:
    """One card, one check, or a card with its check; ``tint`` is the step that led to the card."""

    at: datetime
    card: CardRecord | None
    check: CheckRow | None
    tint: TintStepRecord | None


@dataclass(frozen=True)
class Timeline:
    """Everything that happened to one colour, oldest first, and the best card so far."""

    colour: ColourRecord
    entries: tuple[TimelineEntry, ...]
    tint_steps: tuple[TintStepRecord, ...]
    best: TimelineEntry | None
    pots: tuple[PotRecord, ...] = ()
    panels: tuple[PanelRecord, ...] = ()
    unreadable: tuple[UnreadableRecord, ...] = ()


@dataclass(frozen=True)
class Observed:
    """One outcome for learning: the difference that was measured, what was done, and whether it hid."""

    delta_e00: float
    hidden: Answer
    verdict_followed: str


@dataclass(frozen=True)
class StoreHealth:
    """What a full verification found: sentences about what is wrong, and counts of what was looked at.

    ``records`` counts every record read, the checks and old versions among them; ``leftovers`` are files and folders of
    programs that were killed, which take room and do no harm.
    """

    problems: tuple[str, ...]
    records: int
    checks: int
    photos: int
    unreferenced_photos: int
    leftovers: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        """Whether nothing is wrong."""
        return not self.problems
