"""``set``: several photos of one card and one car, named in a photo-set file, become one verdict."""

from __future__ import annotations

import argparse
import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from match.commands.check import FINISHES, add_mirrors
from match.commands.history import add_place
from match.commands.verdict_line import JUNCTIONS
from match.errors import EvidenceError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from match.check.check import Calibration, CheckResult, CheckSettings
    from match.check.mirrored import Mirrored
    from match.check.saved import CheckedPhoto
    from match.several.judge import SetAnswer
    from match.several.photo_set import MarkedPhoto, MeasuredPhoto


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
    add_place(parser)
    parser.add_argument("--json", action="store_true", help="print the whole result as JSON")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Check the set and print."""
    from match.check.saved import document
    from match.commands.check import plain

    result, answer, photos = _judged(arguments)
    if arguments.json:
        print(json.dumps(document(result, photos[answer.governing], photos, answer.as_dict())))
        return 0
    more = (f"  {sentence}" for sentence in (*answer.flake_sentences, *answer.unpaired))
    print("\n".join((plain(arguments.file, result, several=False), *more)))
    return 0


def _judged(arguments: argparse.Namespace) -> tuple[CheckResult, SetAnswer, tuple[CheckedPhoto, ...]]:
    from match.check.check import CheckSettings, load_calibration
    from match.check.mirrored import Mirrored
    from match.check.verdict import Finish, Junction
    from match.photo import load
    from match.several.flake import flake_in
    from match.several.judge import judge_set
    from match.several.photo_set import is_let_down
    from match.several.photo_set_file import read_photo_set
    from match.several.rules import load_several_rules
    from match.several.texture import TextureComparison

    calibration, rules = load_calibration(), load_several_rules()
    listed = read_photo_set(arguments.file, calibration.greys.default_reflectance)
    if is_let_down(listed):
        raise EvidenceError(f"{arguments.file.name} lists a let-down card: use `coats let-down` for it")
    settings = CheckSettings(finish=Finish(arguments.finish), junction=Junction(arguments.junction))
    said = Mirrored(arguments.mirrors) if arguments.mirrors else None
    photos = measured_photos(arguments.file, listed, settings, calibration, arguments.data, said)

    def flake(photo: MeasuredPhoto) -> TextureComparison | str:
        return flake_in(load.load(arguments.file.parent / photo.name), photo.regions, rules.texture)

    result, answer = judge_set(photos, settings, rules, flake)
    return result, answer, tuple(_checked(arguments.file.parent / each.name, each) for each in photos)


def _checked(path: Path, photo: MeasuredPhoto) -> CheckedPhoto:
    from match.check.saved import CheckedPhoto

    return CheckedPhoto(path.name, hashlib.sha256(path.read_bytes()).hexdigest(), photo.regions)


def measured_photos(
    file: Path,
    listed: Sequence[MarkedPhoto],
    settings: CheckSettings,
    calibration: Calibration,
    place: str | None,
    mirrored: Mirrored | None = None,
) -> tuple[MeasuredPhoto, ...]:
    """Measure the photos that a photo-set file lists, each by its own camera's record, one in memory at a time."""
    from functools import partial

    from match.camera.own import calibration_for
    from match.check.check import measure_photo
    from match.errors import RegionError
    from match.photo.load import load

    photos = []
    for marked in listed:
        photo = load(file.parent / marked.name)
        used = calibration_for(photo, calibration, place, mirrored)
        try:
            photos.append(used.measured(partial(measure_photo, photo), marked, settings))
        except RegionError as error:
            raise RegionError(f"{marked.name}: {error}") from None
    return tuple(photos)
