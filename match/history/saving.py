"""Save new records; a check goes in with its photos, and with the colour, job and card it needs, all or nothing."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, func, insert, select, update

from match.check.saved import read_saved
from match.errors import StoreError
from match.history import tables
from match.history.canonical import clean_text
from match.history.digests import seal
from match.history.photos import StagedPhoto
from match.history.record_kinds import CARD, CHECK, COLOUR, JOB, OUTCOME, PANEL, POT, TINT_STEP, Kind, key_of
from match.history.records import NewCard, NewCheck, NewColour, NewJob, NewOutcome, NewPanel, NewPot, NewTintStep
from match.history.validation import checked


def random_id() -> str:
    """Return a new public id: 32 random hexadecimal digits."""
    return uuid.uuid4().hex


@dataclass(frozen=True)
class Writer:
    """One transaction that saves: its connection, and the time it happens at."""

    connection: Connection
    at: datetime

    def insert(self, kind: Kind, values: dict[str, Any], at: datetime | None = None) -> tuple[int, str]:
        """Insert one record of checked values; return its integer key and public id."""
        public_id = random_id()
        bookkeeping = {"uid": public_id, "created_at": at or self.at, "version": 1}
        statement = insert(kind.table).values(**bookkeeping, **values).returning(kind.table.c.id)
        return int(self.connection.execute(statement).scalar_one()), public_id

    def link(self, kind: Kind, public_id: str | None) -> int | None:
        """Return the integer key of a live record, or None for no link."""
        return None if public_id is None else key_of(self.connection, kind.table, public_id)

    def add(self, kind: Kind, values: dict[str, Any]) -> str:
        """Insert one record that is whole in its own table, and note what it says; return its public id."""
        public_id = self.insert(kind, values)[1]
        seal(self.connection, kind, [public_id])
        return public_id


def add_colour(writer: Writer, new: NewColour) -> str:
    """Save a vehicle colour."""
    return writer.add(COLOUR, checked(COLOUR, asdict(new)))


def add_job(writer: Writer, new: NewJob) -> str:
    """Save a job."""
    return writer.add(JOB, checked(JOB, asdict(new)))


def add_card(writer: Writer, new: NewCard) -> str:
    """Save a spray-out card of a colour that is already kept."""
    if new.colour is None:
        raise StoreError("the spray-out card has no colour: choose or add its colour first")
    links = {"colour_id": writer.link(COLOUR, new.colour), "job_id": writer.link(JOB, new.job)}
    return writer.add(CARD, checked(CARD, asdict(new)) | links)


def add_tint_step(writer: Writer, new: NewTintStep) -> str:
    """Save a tint step between two cards of one colour."""
    before, after = writer.link(CARD, new.card_before), writer.link(CARD, new.card_after)
    require_one_colour(writer.connection, before, after)
    links = {"card_before_id": before, "card_after_id": after}
    return writer.add(TINT_STEP, checked(TINT_STEP, asdict(new)) | links)


def require_one_colour(connection: Connection, before: int | None, after: int | None) -> None:
    """Refuse a tint step from a card to itself, or between cards of two colours."""
    if after is None:
        return
    if before == after:
        raise StoreError("the card before and after the tint are the same: choose the card sprayed after it")
    colours = select(tables.card.c.colour_id).where(tables.card.c.id.in_([before, after])).distinct()
    if len(connection.execute(colours).all()) != 1:
        raise StoreError("the cards before and after the tint are of different colours: choose two cards of one colour")


def add_outcome(writer: Writer, new: NewOutcome) -> str:
    """Save how a check turned out."""
    return writer.add(OUTCOME, checked(OUTCOME, asdict(new)) | {"check_id": writer.link(CHECK, new.check)})


def add_pot(writer: Writer, new: NewPot) -> str:
    """Save a pot of a colour that is already kept."""
    return writer.add(POT, checked(POT, asdict(new)) | {"colour_id": writer.link(COLOUR, new.colour)})


def add_panel(writer: Writer, new: NewPanel) -> str:
    """Save a described panel, with its colour and its car where they are new."""
    if not new.name.strip():
        raise StoreError("the panel has no name: give it one, such as front door")
    colour = add_colour(writer, new.colour) if isinstance(new.colour, NewColour) else new.colour
    job = add_job(writer, new.job) if isinstance(new.job, NewJob) else new.job
    links = {"colour_id": writer.link(COLOUR, colour), "job_id": writer.link(JOB, job)}
    return writer.add(PANEL, checked(PANEL, asdict(new)) | links)


def save_check(writer: Writer, new: NewCheck, photos: Sequence[tuple[StagedPhoto, str]], at: datetime | None) -> str:
    """Save a check of time ``at`` (None: now), its photos' names and its whole result; return its public id."""
    links = _check_links(writer, new)
    texts = ("method_version", "tolerances_version", "tolerances_hash", "note")
    values = figures(new.result) | {name: getattr(new, name) for name in texts}
    key, public_id = writer.insert(CHECK, checked(CHECK, values) | links, at)
    refresh_search(writer.connection, tables.check.c.id == key)
    body = {"regions": new.regions, "settings": new.settings, "result": dict(new.result)}
    named = [
        {"sha256": photo.sha256, "size_bytes": photo.size_bytes, "name": clean_text(name, "a photo's name", 400)}
        for photo, name in photos
    ]
    insert_parts(writer.connection, [(key, body, named)])
    seal(writer.connection, CHECK, [public_id])
    return public_id


def figures(result: Mapping[str, Any]) -> dict[str, Any]:
    """Return the columns read from a check's document; raises as :func:`match.check.saved.read_saved` does."""
    read = read_saved(result, "to be kept")
    colours = {"card": read.card_lab, "vehicle": read.vehicle_lab}
    return {
        "verdict": read.verdict.value,
        "delta_e00": read.delta_e00,
        "delta_e00_low": read.interval[0],
        "delta_e00_high": read.interval[1],
        **{f"{name}_{axis}": part for name, lab in colours.items() for axis, part in zip("lab", lab, strict=True)},
    }


def insert_parts(connection: Connection, parts: Sequence[tuple[int, dict[str, Any], Sequence[dict[str, Any]]]]) -> None:
    """Insert the bulky part and the list of photos of checks: (integer key, regions and so on, photos in order)."""
    connection.execute(insert(tables.check_body), [{"check_id": key, **body} for key, body, _ in parts])
    rows = [
        {"check_id": key, "position": position, **photo}
        for key, _, photos in parts
        for position, photo in enumerate(photos)
    ]
    if rows:
        connection.execute(insert(tables.check_photo), rows)


def refresh_search(connection: Connection, which: ColumnElement[bool]) -> None:
    """Write the search words of some checks again, from their colours, jobs and notes."""
    check, colour, job = tables.check, tables.colour, tables.job
    words = (
        func.coalesce(select(colour.c.search).where(colour.c.id == check.c.colour_id).scalar_subquery(), ""),
        func.coalesce(select(job.c.search).where(job.c.id == check.c.job_id).scalar_subquery(), ""),
        check.c.note_key,
    )
    connection.execute(update(check).where(which).values(search=words[0] + "\n" + words[1] + "\n" + words[2]))


def _check_links(writer: Writer, new: NewCheck) -> dict[str, int | None]:
    """Find or save the colour, job and card of a check; a card brings its own colour and job."""
    colour = add_colour(writer, new.colour) if isinstance(new.colour, NewColour) else new.colour
    job = add_job(writer, new.job) if isinstance(new.job, NewJob) else new.job
    card = new.card
    if isinstance(card, NewCard):
        card = add_card(writer, replace(card, colour=card.colour or colour, job=card.job or job))
    links = {
        "colour_id": writer.link(COLOUR, colour),
        "job_id": writer.link(JOB, job),
        "card_id": writer.link(CARD, card),
        "corrects_id": writer.link(CHECK, new.corrects),
    }
    links |= _links_of_corrected(writer.connection, links)
    return links | inherited_links(writer.connection, links)


def _links_of_corrected(connection: Connection, links: dict[str, int | None]) -> dict[str, int | None]:
    """Return what a correction leaves unsaid: it is about the colour, job and card of the check it corrects."""
    if links["corrects_id"] is None:
        return {}
    earlier = connection.execute(select(tables.check).where(tables.check.c.id == links["corrects_id"])).mappings().one()
    names = ("colour_id", "job_id", "card_id")
    if any(links[name] not in (None, earlier[name]) for name in names):
        return {}
    return {name: earlier[name] for name in names}


def inherited_links(connection: Connection, links: dict[str, int | None]) -> dict[str, int | None]:
    """Return the colour and job that a check takes from its card, refusing a card of another colour or job."""
    if links["card_id"] is None:
        return {}
    card = connection.execute(select(tables.card).where(tables.card.c.id == links["card_id"])).one()
    if links["colour_id"] not in (None, card.colour_id):
        raise StoreError("the spray-out card belongs to another colour: choose a card of this colour")
    if card.job_id is not None and links["job_id"] not in (None, card.job_id):
        raise StoreError("the spray-out card belongs to another job: choose a card of this job")
    return {"colour_id": card.colour_id, "job_id": links["job_id"] if card.job_id is None else card.job_id}
