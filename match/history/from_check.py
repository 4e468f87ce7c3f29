"""A check becomes what the history keeps of it."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from match.check.cards import CardsAnswer
from match.check.result import METHOD_VERSION, CheckResult
from match.check.saved import CheckedPhoto, document
from match.history.records import NewCard, NewCheck, NewColour, NewJob
from match.history.store import Store
from match.photo.region_table import region_table
from match.record import unrounded


def new_check(
    result: CheckResult,
    photo: CheckedPhoto,
    *,
    photos: Sequence[CheckedPhoto] = (),
    together: Mapping[str, Any] | None = None,
    colour: str | NewColour | None = None,
    job: str | NewJob | None = None,
    card: str | NewCard | None = None,
    corrects: str | None = None,
    note: str = "",
    more_settings: Mapping[str, Any] | None = None,
    cards: CardsAnswer | None = None,
) -> NewCheck:
    """Return a check as the history keeps it; its photo's bytes go beside it into ``Store.save_check``.

    Parameters
    ----------
    result, photo, photos, together, cards
        The verdict and what it was made from; see :func:`match.check.saved.document`.
    colour, job, card, corrects, note
        What it belongs to: public ids or new records; see :class:`match.history.records.NewCheck`. Of several cards a
        new record whose mix is not named has the name of the one that the verdict is of.
    more_settings
        What else to keep beside the settings, such as the use of every photo of several.
    """
    told = document(result, photo, photos, together, cards)
    return NewCheck(
        result=told,
        regions=[region_table(region) for region in photo.regions],
        settings={**unrounded(result.settings, "finish", "junction", "seed", "draws"), **(more_settings or {})},
        colour=colour,
        job=job,
        card=named_by(card, told) if isinstance(card, NewCard) else card,
        corrects=corrects,
        method_version=METHOD_VERSION,
        tolerances_version=result.tolerances_version,
        tolerances_hash=result.calibration_fingerprint,
        note=note,
    )


def named_by(card: NewCard, told: Mapping[str, Any]) -> NewCard:
    """Return a card whose mix, where it has no name, is called as a check's document calls the card of several."""
    return replace(card, mix=card.mix or str(told.get("card_name", "")))


def typed_colour(typed: str) -> NewColour:
    """Return the colour meant by ``NAME/CODE``, ``NAME`` or ``/CODE``; only the last stroke parts the two."""
    name, stroke, code = typed.rpartition("/")
    return NewColour(name=name.strip(), code=code.strip()) if stroke else NewColour(name=typed.strip())


def known_or_new_colour(store: Store, typed: str) -> str | NewColour:
    """Return the public id of the kept colour of exactly this name and code, else the new colour to keep."""
    wanted = typed_colour(typed)
    page = 1
    while True:
        found = store.find_colours(f"{wanted.name} {wanted.code}", page=page)
        for colour in found.items:
            if (colour.name.strip().casefold(), colour.code.strip().casefold()) == (
                wanted.name.casefold(),
                wanted.code.casefold(),
            ):
                return colour.id
        if page >= found.pages:
            return wanted
        page += 1


def known_or_new_job(store: Store, car: str) -> str | NewJob:
    """Return the public id of the newest job of exactly this car, else the new job to keep."""
    for job in store.find_jobs(car).items:
        if car.strip().casefold() in (job.car.strip().casefold(), job.plate.strip().casefold()):
            return job.id
    return NewJob(car=car.strip())
