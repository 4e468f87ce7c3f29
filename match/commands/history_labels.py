"""``history labels``: labels for the cards in the drawer, as a PDF."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from match.commands.history_action import add_action, opened, tell
from match.history.addresses import DESK

if TYPE_CHECKING:
    from match.history.labels import Label
    from match.history.store import Store


def add_to(actions: Any) -> None:
    """Add the action."""
    parser = add_action(actions, "labels", _labels, "write labels for spray-out cards, to stick on and to find again")
    parser.add_argument(
        "id", nargs="+", metavar="ID", help="checks whose cards, or colours all of whose cards, get one"
    )
    parser.add_argument("--out", type=Path, required=True, metavar="LABELS.pdf", help="the PDF to write")
    parser.add_argument(
        "--sheet", default="a4-plain", metavar="NAME", help="the sheet of labels.toml (default: a4-plain)"
    )
    parser.add_argument(
        "--used", type=int, default=0, metavar="N", help="labels gone from the first sheet (default: 0)"
    )
    parser.add_argument(
        "--desk", default=DESK, metavar="ADDRESS", help=f"where the app answers, for the codes (default: {DESK})"
    )
    parser.add_argument("--replace", action="store_true", help="write over an earlier file of labels")


def _labels(arguments: argparse.Namespace) -> int:
    from match.files import Kind, write_new
    from match.history.labels_pdf import SUBJECT, labels_pdf, load_label_sheets

    with opened(arguments) as store:
        labels = [label for each in arguments.id for label in _of(store, each, arguments.desk)]
    pdf = labels_pdf(labels, load_label_sheets(), arguments.sheet, arguments.used)
    write_new(arguments.out, pdf, Kind("file of card labels", SUBJECT.encode()), arguments.replace)
    tell(
        arguments,
        {"file": str(arguments.out), "labels": len(labels)},
        [f"Wrote {len(labels)} label{'s' * (len(labels) != 1)}: {arguments.out}."],
    )
    return 0


def _of(store: Store, record_id: str, desk: str) -> tuple[Label, ...]:
    """Return the label of a check's card, or of every card of a colour."""
    from match.errors import StoreError
    from match.history.labels import card_label, card_labels

    try:
        check = store.get_check(record_id)
    except StoreError as no_check:
        try:
            story = store.timeline(record_id)
        except StoreError:
            raise no_check from None
        return card_labels(story.colour, story.entries, desk)
    if check.card is None or check.colour is None:
        raise StoreError(f"no spray-out card is noted with the check {record_id}: note it first, on its page")
    return (card_label(store.get_colour(check.colour), store.get_card(check.card), check, desk),)
