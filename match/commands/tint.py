"""``tint``: which toner, how much, and whether the last addition moved the right way."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

from match.commands.history_action import add_place, opened
from match.commands.saved_check import add_card_name, saved_check
from match.commands.tint_toners import JSON_HELP, add_measure, add_toners
from match.errors import TintError

if TYPE_CHECKING:
    from match.tint.card import CheckedCard
    from match.tint.shelf_file import Shelf
    from match.tint.story import Mix, Story
    from match.tint.tinting import Wanted
    from match.tint.what_next import TintCalibration

NEXT_MIX = "next-mix"
LOG_HELP = "the pot's log: begun when the file is not there, continued when it is"


def add_to(subparsers: Any) -> None:
    """Add the command with its four parts."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "tint",
        help="find which toner to add, and whether the last addition helped",
        description="Solid colours: which toner to add and how much, whether the last addition moved the right way.",
    )
    parts = parser.add_subparsers(dest="part", metavar="PART", required=True)
    _add_advise(parts)
    _add_check(parts)
    add_toners(parts)
    add_measure(parts)


def _add_advise(parts: Any) -> None:
    parser = parts.add_parser(
        "advise",
        help="say which toner to add to a test pot, and how much",
        description="Say which toner to add to the pot a checked card was sprayed from, and how much.",
    )
    parser.add_argument("check", type=Path, metavar="CHECK.json", help="a check's JSON, as `check --json` prints it")
    add_card_name(parser)
    _add_pot(parser)
    parser.set_defaults(run=_run_advise)


def _add_check(parts: Any) -> None:
    parser = parts.add_parser(
        "check",
        help="say whether the last addition moved the card the right way",
        description="Compare the card before an addition with the one after it, and advise the next step.",
    )
    parser.add_argument("before", type=Path, metavar="BEFORE.json", help="check of the card before the addition")
    parser.add_argument("after", type=Path, metavar="AFTER.json", help="check of the card after it")
    add_card_name(parser, which="AFTER.json")
    add_card_name(parser, "--card-name-before", "BEFORE.json")
    parser.add_argument(
        "--added",
        metavar="LIST",
        help='grams added to the pot, such as "black=0.20,oxide yellow=0.1", or next-mix: the pour list as advised',
    )
    parser.add_argument("--untinted", type=float, default=0.0, metavar="GRAMS", help="untinted paint added, g")
    parser.add_argument(
        "--paint-left", type=float, metavar="GRAMS", help="paint in the pot before adding, when some was used for cards"
    )
    _add_pot(parser)
    parser.set_defaults(run=_run_check)


def _add_pot(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--formula", metavar="LIST", help='the mix in parts by weight, such as "white=100,black=4"')
    parser.add_argument(
        "--toner-percent",
        type=float,
        default=None,
        metavar="PERCENT",
        help="share of the paint's weight that the formula's toners make up (default 100; the rest is clear binder)",
    )
    parser.add_argument(
        "--toner",
        action="append",
        default=[],
        metavar="NAME",
        help="a toner that may be added; repeat it (default: all on the shelf)",
    )
    parser.add_argument("--pot", type=float, metavar="GRAMS", help="untinted paint in the test pot, g (default 100)")
    parser.add_argument("--batch", type=float, default=0.0, metavar="GRAMS", help="untinted paint to tint later, g")
    parser.add_argument(
        "--reserve", type=float, default=0.0, metavar="GRAMS", help="untinted paint at hand to thin out the pot, g"
    )
    parser.add_argument(
        "--mix", type=float, default=0.0, metavar="GRAMS", help="amount of the next mix, g (default: the test pot's)"
    )
    parser.add_argument(
        "--on-top", action="store_true", help="pour the next mix on top of what is in the pot, where that can be"
    )
    parser.add_argument(
        "--earlier-pots", action="store_true", help="begin with the toners' strengths that the history's pots taught"
    )
    add_place(parser)
    parser.add_argument("--only", choices=("tint", "next-mix"), help="advise additions only, or a next mix only")
    parser.add_argument(
        "--goal", type=float, metavar="DELTA", help="CIEDE2000 at which to stop (default: the check's limit for go)"
    )
    parser.add_argument("--log", type=Path, metavar="LOG.json", help=LOG_HELP)
    parser.add_argument("--json", action="store_true", help=JSON_HELP)


def _run_advise(arguments: argparse.Namespace) -> int:
    """Advise on the pot of one card."""
    from match.tint.shelf_file import load_shelf
    from match.tint.what_next import load_tint_calibration

    known, shelf = load_tint_calibration(), load_shelf()
    checked = _read_check(arguments.check, arguments.card_name)
    with _log(arguments) as write:
        story = _read_log(arguments)
        if story is None:
            story = _begin(checked, arguments, known)
        else:
            if story.waiting:
                raise TintError(f"the last addition in {arguments.log} has no card yet: record it with `tint check`")
            _must_be_last(checked, story, arguments)
        return _finish(story, _taught(story, shelf, known, arguments), known, arguments, write)


def _run_check(arguments: argparse.Namespace) -> int:
    """Judge one addition and advise the next."""
    import sys

    from match.tint.shelf_file import load_shelf
    from match.tint.story import car_warning
    from match.tint.what_next import load_tint_calibration

    known, shelf = load_tint_calibration(), load_shelf()
    before = _read_check(arguments.before, arguments.card_name_before)
    after = _read_check(arguments.after, arguments.card_name)
    mixed = arguments.added == NEXT_MIX
    additions = parse_amounts(arguments.added, shelf, "the additions") if arguments.added and not mixed else {}
    with _log(arguments) as write:
        story = _read_log(arguments)
        if story is None:
            story = _begin(before, arguments, known)
        else:
            _must_be_last(before, story, arguments)
        shelf = _taught(story, shelf, known, arguments)
        if not story.waiting and mixed:
            story = _mixed(story, shelf, known, arguments)
        elif not story.waiting:
            if not additions and not arguments.untinted:
                raise TintError('say what was added between the two cards: --added "black=0.20"')
            story = story.added(additions, arguments.untinted, arguments.paint_left)
        elif mixed or additions or arguments.untinted:
            raise TintError(f"{arguments.log} already holds the addition before this card: leave out --added")
        warning = car_warning(story, after, known.photos)
        if warning:
            print(f"note: {warning}", file=sys.stderr)
        return _finish(story.sprayed(after), shelf, known, arguments, write)


def _log(arguments: argparse.Namespace) -> AbstractContextManager[Callable[[str], None]]:
    """Hold the pot's log from its reading to its writing, so that of two commands the second meets the first's step."""
    from match.files import changing

    return changing(arguments.log, "the log") if arguments.log else nullcontext(lambda _: None)


def _mixed(story: Story, shelf: Shelf, known: TintCalibration, arguments: argparse.Namespace) -> Story:
    """Return the story with the next mix as it was advised on the card before."""
    from match.tint.what_next import answer

    mix = answer(story, shelf, known.limits, _wanted(arguments)).next_mix
    if mix is None:
        raise TintError("no next mix was advised on that card: give what was poured, as name=grams")
    return story.mixed(mix)


def _wanted(arguments: argparse.Namespace) -> Wanted:
    from match.tint.tinting import Wanted

    for name in ("batch", "reserve", "mix"):
        if not 0 <= getattr(arguments, name) < float("inf"):
            raise TintError(f"--{name} is {getattr(arguments, name)} g: give a weight not below zero")
    ways = (arguments.only,) if arguments.only else Wanted().ways
    return Wanted(arguments.batch, arguments.reserve, arguments.mix, arguments.on_top, ways)


def _finish(
    story: Story, shelf: Shelf, known: TintCalibration, arguments: argparse.Namespace, write: Callable[[str], None]
) -> int:
    """Answer, keep the log, print."""
    from match.commands.tint_answer import plain
    from match.tint.what_next import answer

    found = answer(story, shelf, known.limits, _wanted(arguments))
    write(json.dumps(story.as_dict(), indent=1))
    print(json.dumps(found.as_dict()) if arguments.json else plain(found, arguments.batch))
    return 0


def _taught(story: Story, shelf: Shelf, known: TintCalibration, arguments: argparse.Namespace) -> Shelf:
    """Return the shelf with what the history's earlier pots taught, where that is asked for."""
    import sys

    if not arguments.earlier_pots:
        if arguments.data:
            raise TintError("--data says where the history is, but nothing is read there: add --earlier-pots")
        return shelf
    from match.history.from_pot import earlier_pots
    from match.history.words import unreadable_line
    from match.tint.earlier_pots import taught
    from match.tint.what_next import earlier_sentence

    with opened(arguments) as store:
        earlier = earlier_pots(store, story)
    found = taught(shelf, earlier.stories, known.limits, known.earlier)
    for pot in earlier.unreadable:
        print(f"note: {unreadable_line(pot)} It teaches nothing.", file=sys.stderr)
    print(f"note: {earlier_sentence(found.pots) or 'No earlier pot of known formula is kept.'}", file=sys.stderr)
    return found.shelf


def _begin(checked: CheckedCard, arguments: argparse.Namespace, known: TintCalibration) -> Story:
    from match.tint.shelf_file import load_shelf
    from match.tint.story import begin

    if arguments.goal is not None and not 0 < arguments.goal < float("inf"):
        raise TintError(f"--goal is {arguments.goal}: give a CIEDE2000 above zero")
    pot_g = known.pot.test_pot_g if arguments.pot is None else arguments.pot
    return begin(checked, pot_g, _mix(arguments, load_shelf()), arguments.goal)


def _mix(arguments: argparse.Namespace, shelf: Shelf) -> Mix:
    from match.tint.story import Mix

    formula = parse_amounts(arguments.formula, shelf, "the formula") if arguments.formula else None
    percent = 100.0 if arguments.toner_percent is None else arguments.toner_percent
    for name in arguments.toner:
        shelf.toner(name)
    return Mix(formula, percent / 100, tuple(dict.fromkeys(arguments.toner)) or None)


def parse_amounts(text: str, shelf: Shelf, what: str) -> dict[str, float]:
    """Return toners and amounts from ``name=number,name=number``, every name on the shelf and none twice."""
    amounts: dict[str, float] = {}
    for part in text.split(","):
        name, sign, number = (piece.strip() for piece in part.partition("="))
        try:
            amount = float(number)
        except ValueError:
            amount = float("nan")
        if not sign or not 0 <= amount < float("inf"):
            raise TintError(f'{what} cannot be read at {part.strip()!r}: write "white=100,black=4"')
        if name in amounts:
            raise TintError(f"{what} name {name!r} twice: add the two amounts")
        shelf.toner(name)
        amounts[name] = amount
    return amounts


def _read_log(arguments: argparse.Namespace) -> Story | None:
    """Return the story in the log, if the file is there; what is fixed at its beginning may not be given again."""
    from match.files import read_json
    from match.tint.story import story_from

    if not arguments.log or not arguments.log.exists():
        return None
    given = ("formula", "toner", "pot", "goal", "toner_percent")
    again = [name for name in given if getattr(arguments, name) not in (None, [])]
    if again:
        raise TintError(
            f"{arguments.log} already says --{again[0].replace('_', '-')}: leave it out, or begin a new log"
        )
    return story_from(read_json(arguments.log, "the log"), arguments.log.name)


def _must_be_last(checked: CheckedCard, story: Story, arguments: argparse.Namespace) -> None:
    from match.tint.story import is_card

    if not is_card(story.last_card, checked):
        raise TintError(
            f"{checked.name} is not the last card of {arguments.log.name} ({story.last_card.name}): give that one, or "
            "record the card with `tint check`"
        )


def _read_check(path: Path, card_name: str) -> CheckedCard:
    from match.tint.card_from_check import checked_from

    return checked_from(saved_check(path, card_name))
