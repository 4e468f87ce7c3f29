"""``history keep-pot`` and ``history pot``: a pot's log into the history, and out of it to be gone on with."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from match.commands.history_action import add_action, opened, plain, tell

if TYPE_CHECKING:
    from match.history.records import PotRecord


def add_to(actions: Any) -> None:
    """Add both actions."""
    keep = add_action(actions, "keep-pot", _keep, "keep a pot whole, from the log that `tint --log` writes")
    keep.add_argument("log", type=Path, metavar="LOG.json", help="the pot's log")
    whose = keep.add_mutually_exclusive_group(required=True)
    whose.add_argument("--colour", metavar="NAME/CODE", help="the colour it belongs to; made where it is not kept yet")
    whose.add_argument("--pot", metavar="ID", help="the kept pot that this log goes on with")
    take = add_action(actions, "pot", _take, "write the log of a kept pot, for `tint --log` to go on with")
    take.add_argument("id", metavar="ID", help="the pot's id, as `history show` of its colour prints it")
    take.add_argument("log", type=Path, metavar="LOG.json", help="the log to write")
    take.add_argument("--replace", action="store_true", help="write over an earlier log of that name")


def _keep(arguments: argparse.Namespace) -> int:
    from match.files import read_json
    from match.history.from_check import known_or_new_colour
    from match.history.from_pot import kept_pot
    from match.tint.shelf_file import load_shelf
    from match.tint.story import story_from
    from match.tint.what_next import load_tint_calibration

    story = story_from(read_json(arguments.log, "the log"), arguments.log.name)
    with opened(arguments) as store:
        before = store.get_pot(arguments.pot) if arguments.pot else None
        colour = before.colour if before else known_or_new_colour(store, arguments.colour)
        kept = store.keep_pot(kept_pot(story, colour, load_shelf(), load_tint_calibration().limits, before))
        tell(arguments, plain(kept), [f"Kept {kept.name}, {len(kept.cards)} cards.  {kept.id}"])
    return 0


def _take(arguments: argparse.Namespace) -> int:
    from match.files import Kind, write_new
    from match.tint.story import story_from

    with opened(arguments) as store:
        pot = store.get_pot(arguments.id)
    kind = Kind("tint log", b'"format": "tint-log')
    write_new(arguments.log, json.dumps(story_from(pot.story, pot.name).as_dict(), indent=1), kind, arguments.replace)
    tell(arguments, {"file": str(arguments.log)}, [f"Wrote {arguments.log}.", *pot_lines(pot)])
    return 0


def pot_lines(pot: PotRecord) -> list[str]:
    """Return the story of a pot, its predictions by the toners as the shelf holds them."""
    from match.errors import MatchError
    from match.history.words import END_WORDS
    from match.tint.foreseen import foreseen
    from match.tint.shelf_file import load_shelf
    from match.tint.story import story_from
    from match.tint.story_words import story_lines
    from match.tint.what_next import load_tint_calibration

    story = story_from(pot.story, pot.name)
    try:
        predictions, fault = foreseen(story, load_shelf(), load_tint_calibration().limits), []
    except MatchError as error:  # a toner has left the shelf: the story can still be told
        predictions, fault = (), [f"  What was predicted cannot be said: {error}."]
    ended = f"  How it ended: {END_WORDS[pot.ended]}."
    notes = [f"  Note: {pot.notes}"] if pot.notes else []
    return [*(f"  {line}" for line in story_lines(story, predictions)), *fault, ended, *notes]
