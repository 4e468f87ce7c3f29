"""``check --save``: the arguments that say what a saved check belongs to, and the saving."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from match.commands.history_action import add_place
from match.errors import StoreError

if TYPE_CHECKING:
    from match.check.cards import CardsAnswer
    from match.check.result import CheckResult
    from match.history.store import Store
    from match.photo.load import Photo
    from match.photo.regions import Region

CARD_FIELDS = {
    "mix": "the mix or alternate sprayed on the card",
    "batch": "the batch of the mix",
    "gun": "gun and set-up of the card",
    "coats": "coats on the card",
    "reducer": "reducer in the mix",
    "undercoat": "undercoat shade of the card",
    "tinted": "what was tinted since the card before",
    "place": "where the card is kept, such as drawer and number",
}
"""What is typed of a new card, with the help of its option."""


def add_saving(parser: argparse.ArgumentParser) -> None:
    """Add the arguments that save a check into the history."""
    group = parser.add_argument_group("saving", "Keep the check, its marks and its photo in the history.")
    group.add_argument("--save", action="store_true", help="save each check with its photo and marks")
    add_place(group)
    group.add_argument("--colour", metavar="NAME/CODE", help="the vehicle colour it belongs to; a new one is added")
    group.add_argument("--car", help="the car it belongs to; a new job is added for a car not met before")
    group.add_argument("--note", default="", help="words to keep with the check")
    group.add_argument(
        "--same-card", metavar="ID", help="the kept card that was measured again, as `history show` prints it"
    )
    for name, words in CARD_FIELDS.items():
        group.add_argument(f"--{name}", default="", metavar="WORDS", help=words)


def require_save(arguments: argparse.Namespace) -> None:
    """Refuse words that would be lost because nothing is saved."""
    given = [name for name in ("data", "colour", "car", "note", "same_card", *CARD_FIELDS) if getattr(arguments, name)]
    if given and not arguments.save:
        raise StoreError(f"--{given[0].replace('_', '-')} says what to save, but nothing is saved: add --save")
    if arguments.same_card and any(getattr(arguments, name) for name in CARD_FIELDS):
        raise StoreError("--same-card names a kept card, which says already how it was sprayed: leave the others out")
    if arguments.save and not arguments.colour and any(getattr(arguments, name) for name in CARD_FIELDS):
        raise StoreError("a spray-out card belongs to a colour: add --colour NAME/CODE")


def save(
    photo: Photo,
    regions: Sequence[Region],
    result: CheckResult,
    arguments: argparse.Namespace,
    cards: CardsAnswer | None = None,
) -> None:
    """Save one check and say on standard error where it went."""
    from match.history.place import history_place
    from match.history.store import Store
    from match.history.words import named

    with Store.open(history_place(arguments.data)) as store:
        kept = _saved(store, photo, regions, result, arguments, cards)
        print(f"saved as {kept[0]} under {named(kept[1], kept[2])} in {store.place}", file=sys.stderr)


def _saved(
    store: Store,
    photo: Photo,
    regions: Sequence[Region],
    result: CheckResult,
    arguments: argparse.Namespace,
    cards: CardsAnswer | None,
) -> tuple[str, str, str]:
    from match.check.saved import CheckedPhoto
    from match.history.from_check import known_or_new_colour, known_or_new_job, new_check
    from match.history.records import NewCard

    colour = known_or_new_colour(store, arguments.colour) if arguments.colour else None
    job = known_or_new_job(store, arguments.car) if arguments.car else None
    fields = {name: getattr(arguments, name) for name in CARD_FIELDS}
    card = arguments.same_card or (NewCard(**fields) if any(fields.values()) else None)
    front = CheckedPhoto(photo.name, photo.sha256, tuple(regions))
    new = new_check(result, front, colour=colour, job=job, card=card, note=arguments.note, cards=cards)
    kept = store.save_check(new, [(photo.source, photo.name)])
    return kept.id, kept.colour_name, kept.code
