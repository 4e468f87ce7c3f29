"""``tint toners`` and ``tint measure``: the toners on the shelf, and those of one's own."""

import argparse
import json
from pathlib import Path
from typing import Any

from match.commands.saved_check import saved_check
from match.errors import TintError

JSON_HELP = "print the whole answer as JSON"


def add_toners(parts: Any) -> None:
    """Add the arguments."""
    parser = parts.add_parser(
        "toners",
        help="list the toners on the shelf, add or remove one of your own",
        description="List the toners on the shelf. Those that came with the program are invented pigment classes.",
    )
    parser.add_argument("--add", metavar="NAME", help="put a toner of your own on the shelf, with --like")
    parser.add_argument("--like", metavar="CLASS", help="the listed toner it resembles")
    parser.add_argument(
        "--strength", type=float, default=1.0, metavar="FACTOR", help="its strength relative to that (default 1)"
    )
    parser.add_argument("--remove", metavar="NAME", help="take a toner of your own off the shelf")
    parser.add_argument(
        "--read",
        type=Path,
        metavar="LIST.csv",
        help="put a list of toners on the shelf: with the headings that --headings prints",
    )
    parser.add_argument("--keep-good", action="store_true", help="keep the good rows of a list that has bad ones")
    parser.add_argument("--headings", action="store_true", help="print the headings that a list may have")
    parser.add_argument("--write", type=Path, metavar="LIST.csv", help="write your own toners of the shelf as a list")
    parser.add_argument(
        "--shelf",
        metavar="NAME",
        help="work with this shelf (paint line) from now on; with --read, make it",
    )
    parser.add_argument("--shelves", action="store_true", help="list your shelves")
    parser.add_argument("--remove-shelf", metavar="NAME", help="take away a whole shelf with its toners")
    parser.add_argument("--json", action="store_true", help="print the list as JSON")
    parser.set_defaults(run=_run_toners)


def add_measure(parts: Any) -> None:
    """Add the arguments."""
    parser = parts.add_parser(
        "measure",
        help="measure a toner of your own from let-downs in white",
        description="Measure a toner from cards of it let down in white and sprayed to hiding.",
    )
    parser.add_argument(
        "checks", nargs="+", type=Path, metavar="CHECK.json", help="check of a let-down, marked as the card"
    )
    parser.add_argument("--name", required=True, metavar="NAME", help="what you call the toner")
    parser.add_argument(
        "--percent",
        type=float,
        action="append",
        required=True,
        metavar="PERCENT",
        help="toner in toner plus white, by weight; once for each check, in their order",
    )
    parser.add_argument("--like", metavar="CLASS", help="the listed toner it resembles, if you know")
    parser.add_argument("--save", action="store_true", help="put it on the shelf")
    parser.add_argument("--json", action="store_true", help=JSON_HELP)
    parser.set_defaults(run=_run_measure)


def _run_toners(arguments: argparse.Namespace) -> int:
    """List, add or remove."""
    from match.tint import shelf_file as shelves

    if sum(map(bool, (arguments.add, arguments.remove, arguments.read, arguments.remove_shelf))) > 1:
        raise TintError("give one of --add, --remove, --read and --remove-shelf")
    if arguments.keep_good and not arguments.read:
        raise TintError("--keep-good belongs to --read LIST.csv")
    if arguments.headings:
        return _print_headings()
    if arguments.like and not arguments.add:
        raise TintError("--like belongs to --add NAME")
    if arguments.read:
        _read_list(arguments.read, arguments.shelf, arguments.keep_good)
    elif arguments.shelf is not None:
        shelves.choose(arguments.shelf)
    if arguments.remove_shelf is not None:
        shelves.remove_shelf(arguments.remove_shelf)
    if arguments.add:
        if not arguments.like:
            raise TintError("say which listed toner it resembles: --like CLASS")
        shelves.keep_named(arguments.add, arguments.like, arguments.strength)
    if arguments.remove:
        shelves.remove(arguments.remove)
    if arguments.shelves:
        return _print_shelves()
    shelf = shelves.load_shelf()
    if arguments.write:
        _write_list(arguments.write)
        return 0
    if arguments.json:
        rows = [
            {
                "name": name,
                "own": name in shelf.own,
                "strength": t.strength,
                "class": t.stands_for,
                "hides": t.opacity,
                "own_binder": t.own_binder,
                "weak_of": t.weak_of or None,
            }
            for name, t in shelf.toners.items()
        ]
        print(json.dumps(rows))
        return 0
    for name, toner in shelf.toners.items():
        own = f" [yours, strength {toner.strength:g}]" if name in shelf.own else ""
        print(f"{name}{own}: {toner.stands_for}{', ' + toner.opacity if toner.opacity else ''}")
    print(f"Your own toners are kept in {shelves.own_path()}, these on the shelf {shelf.name or 'first shelf'}.")
    return 0


def _read_list(path: Path, shelf: str | None, keep_good: bool) -> None:
    """Put a list on the shelf: whole, or its good rows when that is accepted; every bad row is said."""
    import sys

    from match.files import read_bytes
    from match.tint import shelf_file as shelves
    from match.tint.toner_table import read_table, table_text
    from match.tint.what_next import load_tint_calibration

    known = shelves.known_for_table(load_tint_calibration().limits, shelf)
    found = read_table(table_text(read_bytes(path, "the list")), known)
    for heading in found.unread:
        print(f"note: the column {heading!r} is not read", file=sys.stderr)
    for fault in found.faults:
        print(f"line {fault.line}, {fault.name or 'no name'}: {fault.words}", file=sys.stderr)
    if found.faults and not (keep_good and found.entries):
        raise TintError(
            f"{len(found.faults)} of {len(found.faults) + len(found.entries)} rows of {path.name} cannot be read, so "
            "nothing was kept: correct them, or add --keep-good to keep the others"
        )
    shelves.keep_entries(found.entries, shelf)
    print(f"{len(found.entries)} toners of {path.name} are on the shelf.")


def _write_list(path: Path) -> None:
    from match.files import write_whole
    from match.tint import shelf_file as shelves
    from match.tint.toner_table import written_table

    if path.exists():
        raise TintError(f"{path} is there already: give another name, or take it away first")
    kept = shelves.read_shelves()
    write_whole(path, written_table(kept.entries[kept.chosen]), "the list")
    print(f"{len(kept.entries[kept.chosen])} toners are written to {path}.")


def _print_headings() -> int:
    from match.tint.toner_table import COLUMNS

    print(",".join(COLUMNS))
    return 0


def _print_shelves() -> int:
    from match.tint import shelf_file as shelves

    kept = shelves.read_shelves()
    for name, own in kept.entries.items():
        worked = ", in use" if name == kept.chosen else ""
        print(f"{name or shelves.FIRST_SHELF_WORDS}: {len(own)} toners of your own{worked}")
    return 0


def _run_measure(arguments: argparse.Namespace) -> int:
    """Measure, print, and keep if asked."""
    from match.tint import shelf_file as shelves
    from match.tint.card_from_check import read_letdown
    from match.tint.own_toner import measure_toner
    from match.tint.what_next import load_tint_calibration

    if len(arguments.percent) != len(arguments.checks):
        raise TintError("give one --percent for each check, in their order")
    shelf = shelves.load_shelf()
    read = [
        read_letdown(saved_check(path), percent)
        for path, percent in zip(arguments.checks, arguments.percent, strict=True)
    ]
    like = shelf.toner(arguments.like) if arguments.like else None
    letdowns = [letdown for letdown, _ in read]
    limits = load_tint_calibration().limits
    measured = measure_toner(arguments.name.strip(), letdowns, shelf.toner("white"), shelf.optics, limits, like)
    if arguments.save:
        shelves.keep_measured(measured)
    if arguments.json:
        print(json.dumps(measured.as_dict()))
        return 0
    left = ", ".join(f"{value:.1f}" for value in measured.lab_left)
    print(
        f"{arguments.name}: strength known to about {100 * measured.log_strength_sd:.0f} %; it misses its let-downs by"
    )
    print(f"  {left} CIELAB.")
    notes = [*measured.reasons, *dict.fromkeys(note for _, note in read if note)]
    kept = "It is on the shelf now." if arguments.save else "It is not kept: add --save to put it on the shelf."
    print("\n".join([*(f"  {note}" for note in notes), kept]))
    return 0
