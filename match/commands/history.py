"""``history``: what was saved, found again, taken away, brought back and looked after."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from match.commands import history_labels, history_pot
from match.commands.history_action import add_action, opened, plain, tell
from match.commands.history_show import shown
from match.errors import StoreError
from match.unfinished_files import clear_in

if TYPE_CHECKING:
    from match.history.check_fields import CheckFields
    from match.history.records import CheckRow, Page
    from match.history.store import Store

VERDICTS = ("go", "blend", "retint", "retake")


def add_to(subparsers: Any) -> None:
    """Add the command's arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "history",
        help="find, keep safe and bring back what was saved",
        description="Find, keep safe and bring back the checks that were saved.",
    )
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)
    listing = add_action(actions, "list", _list, "list the checks, newest first")
    _add_paging(listing)
    listing.add_argument("--deleted", action="store_true", help="list what was deleted and can be brought back")
    show = add_action(
        actions, "show", _show, "show what is kept of a check, a pot or a panel, or the timeline of a colour"
    )
    show.add_argument("id", metavar="ID", help="the id of a check, a colour, a pot or a panel")
    find = add_action(actions, "find", _find, "find checks by colour, car, date, verdict or words")
    _add_paging(find)
    _add_fields(find)
    for name, run, words, target in (
        (
            "export",
            _write,
            "write every record and photo to a new zip file of an open layout",
            "the zip file to write",
        ),
        ("import", _import, "add what an export holds and this history does not", "the export to read"),
        ("backup", _write, "copy the whole history to a new zip file while others work on", "the zip file to write"),
        ("restore", _restore, "restore a backup or an export into the new data folder of --data", "the zip to read"),
    ):
        add_action(actions, name, run, words).add_argument("file", type=Path, metavar="FILE", help=target)
    sheet = add_action(actions, "csv", _csv, "write checks for a spreadsheet")
    sheet.add_argument("file", type=Path, metavar="FILE", help="the CSV file to write")
    sheet.add_argument("--replace", action="store_true", help="write over an earlier spreadsheet of that name")
    _add_fields(sheet)
    add_action(actions, "verify", _verify, "read every record and every photo's bytes; exit code 1 if not all is whole")
    clear = add_action(actions, "clear-leftovers", _clear, "remove what programs left that were stopped while writing")
    clear.add_argument(
        "folders", nargs="*", type=Path, metavar="FOLDER", help="also here, where a job sheet, log or list was written"
    )
    add_action(actions, "where", _where, "say which history and which photos are in use")
    history_pot.add_to(actions)
    history_labels.add_to(actions)
    delete = add_action(actions, "delete", _delete, "delete a record; it can be brought back")
    delete.add_argument(
        "id", metavar="ID", help="the id of any record: a check, colour, job, card, outcome, pot, panel"
    )
    undelete = add_action(actions, "undelete", _undelete, "bring back a deleted record and what went with it")
    undelete.add_argument("id", metavar="ID", help="the id, as `list --deleted` prints it")


def _add_paging(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--page", type=int, default=1, metavar="N", help="which page, counted from 1")
    parser.add_argument("--per-page", type=int, default=50, metavar="N", help="lines on a page (default: 50)")


def _add_fields(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--code", default="", help="start of the paint code; case and punctuation do not matter")
    parser.add_argument("--colour", default="", metavar="NAME", help="part of the colour's name")
    parser.add_argument("--car", default="", help="part of the car or plate")
    parser.add_argument("--text", default="", metavar="WORDS", help="words found in code, name, car, plate or notes")
    parser.add_argument("--from", dest="date_from", type=_day, metavar="YYYY-MM-DD", help="first day (UTC)")
    parser.add_argument("--to", dest="date_to", type=_day, metavar="YYYY-MM-DD", help="last day (UTC)")
    parser.add_argument("--verdict", choices=VERDICTS, default="", help="only checks of this verdict")
    parser.add_argument("--like", metavar="L,A,B", help="colours whose car came nearest to this CIELAB colour instead")


def _day(typed: str) -> date:
    try:
        return date.fromisoformat(typed)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{typed!r} is not a day like 2026-03-31") from None


def _fields(arguments: argparse.Namespace) -> CheckFields:
    return {
        "code": arguments.code,
        "colour": arguments.colour,
        "car": arguments.car,
        "text": arguments.text,
        "date_from": arguments.date_from,
        "date_to": arguments.date_to,
        "verdict": arguments.verdict,
    }


def _list(arguments: argparse.Namespace) -> int:
    from match.history.words import deleted_line

    with opened(arguments) as store:
        if arguments.deleted:
            gone = store.deleted()
            told = [deleted_line(record) for record in gone] or ["Nothing is deleted."]
            tell(arguments, [plain(record) for record in gone], told)
        else:
            found = store.find_checks(page=arguments.page, per_page=arguments.per_page)
            _tell_page(arguments, found, f"No checks are saved yet in {store.place}.")
    return 0


def _find(arguments: argparse.Namespace) -> int:
    with opened(arguments) as store:
        if arguments.like:
            return _find_near(arguments, store)
        found = store.find_checks(page=arguments.page, per_page=arguments.per_page, **_fields(arguments))
        _tell_page(arguments, found, "No check matches.")
    return 0


def _find_near(arguments: argparse.Namespace, store: Store) -> int:
    from match.history.words import check_line, near_lead, unreadable_line

    if any(_fields(arguments).values()):
        raise StoreError("--like looks at every colour: leave out the other conditions")
    found = store.nearest_colours(_lab(arguments.like), page=arguments.page, per_page=arguments.per_page)
    lines = [f"{near_lead(near)}: {check_line(near.check)}" for near in found.items]
    lines += [unreadable_line(each) for each in found.unreadable]
    tell(arguments, plain(found), lines or ["No car has been measured yet."])
    return 0


def _lab(typed: str) -> tuple[float, float, float]:
    from match.colorimetry import is_colour

    try:
        lightness, a, b = (float(part) for part in typed.split(","))
    except ValueError:
        raise StoreError(f"the colour {typed!r} is not three numbers: write it like 52.1,-3.4,-12") from None
    if not is_colour((lightness, a, b)):
        raise StoreError(f"no colour is {typed!r}: write it like 52.1,-3.4,-12")
    return lightness, a, b


def _tell_page(arguments: argparse.Namespace, found: Page[CheckRow], empty: str) -> None:
    from match.history.words import check_line, unreadable_line

    lines = [check_line(row) for row in found.items] + [unreadable_line(each) for each in found.unreadable]
    if found.total > len(found.items) + len(found.unreadable):
        lines.append(f"Page {found.page} of {found.pages}; {found.total} checks in all.")
    tell(arguments, plain(found), lines if found.total else [empty])


def _show(arguments: argparse.Namespace) -> int:
    with opened(arguments) as store:
        tell(arguments, *shown(store, arguments.id))
    return 0


def _write(arguments: argparse.Namespace) -> int:
    """Write the whole history to one file: an export of an open layout, or a backup."""
    from match.history.words import export_words

    with opened(arguments) as store:
        write = store.back_up if arguments.action == "backup" else store.export_archive
        summary = write(arguments.file)
    tell(arguments, plain(summary), export_words(summary))
    return 0


def _import(arguments: argparse.Namespace) -> int:
    from match.history.words import import_words

    with opened(arguments) as store:
        summary = store.import_archive(arguments.file)
    tell(arguments, plain(summary), import_words(summary))
    return 0


def _restore(arguments: argparse.Namespace) -> int:
    from match.history.place import history_place
    from match.history.store import Store

    place = history_place(arguments.data)
    if place is None:
        raise StoreError("name the new data folder to restore into with --data: nothing is ever overwritten")
    with Store.restore(arguments.file, place) as store:
        total = store.find_checks(per_page=1).total
        tell(arguments, {"place": store.place, "checks": total}, [f"Restored {total} checks into {store.place}."])
    return 0


def _csv(arguments: argparse.Namespace) -> int:
    from match.files import Kind, write_new
    from match.history.spreadsheet import COLUMNS

    if arguments.like:
        raise StoreError("--like does not narrow a spreadsheet: leave it out, or use `history find`")
    with opened(arguments) as store:
        sheet = store.checks_csv(**_fields(arguments))
    write_new(arguments.file, sheet, Kind("spreadsheet", ",".join(COLUMNS).encode()), arguments.replace)
    tell(arguments, {"file": str(arguments.file)}, [f"Wrote {arguments.file}."])
    return 0


def _verify(arguments: argparse.Namespace) -> int:
    from match.history.words import health_words

    with opened(arguments) as store:
        health = store.verify()
    tell(arguments, plain(health) | {"sound": health.sound}, health_words(health))
    return 0 if health.sound else 1


def _where(arguments: argparse.Namespace) -> int:
    from match.history.words import where_words

    with opened(arguments) as store:
        told = {"history": store.place, "photos": store.photos_place}
        more = {"rights": store.rights.value, "read_only": store.read_only}
        tell(arguments, told | more, where_words(store))
    return 0


def _clear(arguments: argparse.Namespace) -> int:
    with opened(arguments) as store:
        gone = store.clear_leftovers() + sum(clear_in(folder) for folder in arguments.folders)
        left = store.leftovers()
    lines = [f"Cleared {gone} leftovers."] + [f"Could not clear {path}." for path in left]
    tell(arguments, {"cleared": gone, "left": list(left)}, lines)
    return 1 if left else 0


def _delete(arguments: argparse.Namespace) -> int:
    with opened(arguments) as store:
        store.delete(arguments.id)
    again = f"Deleted {arguments.id}; bring it back with: python -m match history undelete {arguments.id}"
    tell(arguments, {"deleted": arguments.id}, [again])
    return 0


def _undelete(arguments: argparse.Namespace) -> int:
    with opened(arguments) as store:
        store.undelete(arguments.id)
    tell(arguments, {"undeleted": arguments.id}, [f"Brought back {arguments.id}."])
    return 0
