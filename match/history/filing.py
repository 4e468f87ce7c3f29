"""What a saved check belongs to: its colour, its car and its spray-out card, named or named anew after saving."""

from dataclasses import dataclass, fields, replace
from typing import TypeVar

from match.history.from_check import named_by
from match.history.records import (
    CardRecord,
    CheckRecord,
    ColourRecord,
    JobRecord,
    NewCard,
    NewColour,
    NewJob,
)
from match.history.store import Store

Record = TypeVar("Record", ColourRecord, JobRecord, CardRecord)


@dataclass(frozen=True)
class FiledUnder:
    """What the user says of a check; ``move_to`` is the public id of another kept colour, ``colour`` names this one.

    ``same_card`` is the public id of a kept card that was measured again; then ``card`` is not looked at.
    """

    colour: NewColour
    job: NewJob
    card: NewCard
    move_to: str | None = None
    same_card: str | None = None


def filed_under(store: Store, check: CheckRecord) -> FiledUnder:
    """Return what is kept of a check's colour, car and card by now; empty where there is none."""
    return FiledUnder(
        colour=store.get_colour(check.colour) if check.colour else NewColour(),
        job=store.get_job(check.job) if check.job else NewJob(),
        card=store.get_card(check.card) if check.card else NewCard(),
    )


def keep(store: Store, check: CheckRecord, told: FiledUnder) -> CheckRecord:
    """Keep what the user says of a check: edit what it belongs to, add what is new; return the check as it is then.

    Each step is kept by itself, so a refusal half-way loses nothing of what went before.
    """
    colour = _colour(store, check, told)
    job = _job(store, check, told.job)
    if colour != check.colour or job != check.job:
        left = check.colour
        check = store.edit_check(
            check.id, colour=None if colour == check.colour else colour, job=None if job == check.job else job
        )
        if left and left != check.colour:
            delete_if_empty(store, left)
    card = told.same_card or _card(store, check, told.card)
    if card != check.card:
        check = store.edit_check(check.id, card=card)
    return store.get_check(check.id)


def delete_if_empty(store: Store, colour_id: str) -> None:
    """Delete a colour that holds nothing any more, such as the one made up when its only check was saved."""
    story = store.timeline(colour_id)
    if not (story.entries or story.pots or story.panels):
        store.delete(colour_id)


def take_back(store: Store, check: CheckRecord) -> str:
    """Delete a check, or its colour with it when nothing else is in it; return the id that brings back all of it."""
    gone = check.id
    if check.colour is not None:
        story = store.timeline(check.colour)
        alone = all(entry.check is not None and entry.check.id == check.id for entry in story.entries)
        if alone and not (story.pots or story.panels):
            gone = check.colour
    store.delete(gone)
    return gone


def _colour(store: Store, check: CheckRecord, told: FiledUnder) -> str | None:
    if told.move_to and told.move_to != check.colour:
        return told.move_to
    named = told.colour.name.strip() or told.colour.code.strip()
    if check.colour is None:
        return store.add_colour(told.colour).id if named else None
    _edit(store, store.get_colour(check.colour), told.colour, NewColour)
    return check.colour


def _job(store: Store, check: CheckRecord, told: NewJob) -> str | None:
    if check.job is not None:
        _edit(store, store.get_job(check.job), told, NewJob)
        return check.job
    if not (told.car.strip() or told.plate.strip()):
        return None
    for known in store.find_jobs(f"{told.car} {told.plate}").items:
        if (known.car, known.plate, known.day) == (told.car.strip(), told.plate.strip(), told.day):
            return known.id
    return store.add_job(replace(told, car=told.car.strip(), plate=told.plate.strip())).id


def _card(store: Store, check: CheckRecord, told: NewCard) -> str | None:
    if check.card is not None:
        _edit(store, store.get_card(check.card), replace(told, colour=check.colour, job=check.job), NewCard)
        return check.card
    words = {field.name: getattr(told, field.name) for field in fields(NewCard) if field.name not in ("colour", "job")}
    if not any(words.values()):
        return None
    return store.add_card(named_by(NewCard(colour=check.colour, job=check.job, **words), check.result)).id


def _edit(store: Store, kept: Record, told: NewColour | NewJob | NewCard, kind: type) -> None:
    """Keep an edited copy where a field was changed."""
    wanted = {field.name: getattr(told, field.name) for field in fields(kind)}
    if any(getattr(kept, name) != value for name, value in wanted.items()):
        store.edit(replace(kept, **wanted))
