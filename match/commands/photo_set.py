"""``set``: several photos of one card and one car, named in a photo-set file, become one verdict."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from match.commands.check import FINISHES, JUNCTIONS, add_mirrors
from match.errors import EvidenceError

if TYPE_CHECKING:
    from match.check.check import CheckResult
    from match.several.judge import SetAnswer


def add_to(subparsers: Any) -> None:
    """Add the command's arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "set",
        help="check several photos of one card together: angles, repeats, lamps",
        description="Check several photos of one card and one car together: angles of an effect finish, the card laid "
        "again or moved to the other side, a second lamp. The worst angle governs.",
        epilog="The photo-set file is TOML or JSON: a list called photos, each with path, grey, card, vehicle and, "
        "where they differ, angle (near-glare, face, flop), role (first, repeat, swap) and light (any word).",
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the photo-set file; photo paths count from its folder")
    parser.add_argument("--finish", choices=FINISHES, default="metallic", help="the kind of paint (default: metallic)")
    parser.add_argument(
        "--junction", choices=JUNCTIONS, default="panel-gap", help="what lies between new paint and old"
    )
    add_mirrors(parser)
    parser.add_argument("--json", action="store_true", help="print the whole result as JSON")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Check the set and print."""
    from match.commands.check import plain

    result, answer = _judged(arguments)
    if arguments.json:
        print(json.dumps({**result.as_dict(), "together": answer.as_dict()}))
        return 0
    print(plain(arguments.file, result, several=False))
    print("\n".join(f"  {sentence}" for sentence in answer.unpaired))
    return 0


def _judged(arguments: argparse.Namespace) -> tuple[CheckResult, SetAnswer]:
    from match.check.check import CheckSettings, load_calibration, measure_photo
    from match.check.mirrored import Mirrored, mirrored_note, with_mirrored
    from match.check.verdict import Finish, Junction
    from match.commands.coats import read_set
    from match.photo import load
    from match.several.judge import PhotoUse, SetPhoto, judge_set
    from match.several.rules import load_several_rules

    said = Mirrored(arguments.mirrors) if arguments.mirrors else None
    calibration = with_mirrored(load_calibration(), said)
    settings = CheckSettings(finish=Finish(arguments.finish), junction=Junction(arguments.junction))
    listed = read_set(arguments.file, calibration)
    if listed.is_let_down:
        raise EvidenceError(f"{arguments.file.name} lists a let-down card: use `coats let-down` for it")
    photos = []
    for entry in listed.photos:
        opened = load.load(arguments.file.parent / entry.path)
        measured = measure_photo(opened, entry.regions, settings, calibration)
        use = PhotoUse(entry.angle, entry.role, entry.light)
        photos.append(SetPhoto(entry.path, use, entry.regions, measured, (*opened.notes, *mirrored_note(said))))
    return judge_set(photos, settings, calibration, load_several_rules())
