"""``check``: photos in, verdicts out."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from match.commands.check_lines import plain
from match.commands.choices import FINISHES, JUNCTIONS
from match.commands.room_arguments import (
    add_room,
    coats_from,
    has_room,
    paint_from,
    practices_from,
    repairs_from,
    viewing_from,
)
from match.commands.save_arguments import add_saving, require_save, save
from match.errors import CalibrationError, MatchError, PlanError, RegionError, StoreError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from match.check.calibration_files import Calibration
    from match.check.cards import CardsAnswer
    from match.check.check import Planner
    from match.check.marks_file import Marks
    from match.check.result import CheckResult
    from match.check.verdict import Finish
    from match.photo.load import Photo
    from match.photo.regions import Region


def add_to(subparsers: Any) -> None:
    """Add the command's arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "check",
        help="check the spray-out card in a photo against the car",
        description="Check the spray-out card in one or more photos against the car beside it.",
        epilog="Without marks on the command line, the region file named like the photo (photo.json or photo.toml) is "
        "read. With --json, several photos print one JSON object a line.",
    )
    parser.add_argument(
        "photos", nargs="+", type=Path, metavar="PHOTO", help="a photo: JPEG, PNG, TIFF, WebP, HEIC, raw"
    )
    parser.add_argument(
        "--grey",
        action="append",
        default=[],
        metavar="X,Y,W,H[@R]",
        help="a grey reference in pixels of the upright photo, with its reflectance (0.18 or 18%%; default: 18%% "
        "card), or @white-field for the card's own unpainted white",
    )
    parser.add_argument(
        "--card",
        action="append",
        default=[],
        metavar="X,Y,W,H[=NAME]",
        help="the spray-out card; repeat it with a name each for up to six cards beside the car",
    )
    add_wanted_card(parser)
    parser.add_argument(
        "--vehicle",
        action="append",
        default=[],
        metavar="X,Y,W,H[=NAME]",
        help="the car's paint; give it on both sides if you can. With a name it is a part with a colour of its own, "
        "such as a bumper: it is measured beside the card and judged by itself",
    )
    parser.add_argument("--regions", type=Path, metavar="FILE", help="read the marks from a JSON or TOML file instead")
    parser.add_argument(
        "--find", action="store_true", help="find the marks in the photo: by the capture sheet, or else by their look"
    )
    parser.add_argument(
        "--grey-steps", metavar="R,R,R", help="with --find, the reflectances of all patches of your grey reference"
    )
    parser.add_argument(
        "--mend-marks",
        action="store_true",
        help="where a mark looks wrong and the slip can be named, put it right, check again, and say so",
    )
    parser.add_argument(
        "--marks-are-right",
        action="store_true",
        help="you looked, and say yes to what is asked of this photo with these marks: that a mark lies where it is "
        "said to, or that a grey really has its figure; the figures then stand, with a caution",
    )
    parser.add_argument("--finish", choices=FINISHES, help="the kind of paint (default: solid)")
    parser.add_argument(
        "--junction", choices=JUNCTIONS, help="what lies between new paint and old (default: panel-gap)"
    )
    add_mirrors(parser)
    add_room(parser)
    parser.add_argument("--seed", type=_seed, default=None, help="seed of the uncertainty's Monte-Carlo")
    parser.add_argument("--json", action="store_true", help="print the whole result as JSON")
    add_saving(parser)
    parser.set_defaults(run=run)


def add_wanted_card(parser: argparse.ArgumentParser) -> None:
    """Add the option that names one of several cards."""
    parser.add_argument(
        "--card-name",
        default="",
        metavar="NAME",
        help="of several cards, the one whose verdict is wanted (default: the nearest)",
    )


def add_mirrors(parser: argparse.ArgumentParser) -> None:
    """Add the option that says what the paint mirrors."""
    parser.add_argument(
        "--mirrors",
        choices=("black", "room", "bright"),
        help="what dark paint mirrors: something black and matt, the room, or a white wall or sky (default: unknown)",
    )


def _seed(text: str) -> int:
    if not (text.isascii() and text.isdigit()):
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 0 upwards")
    return int(text)


def run(arguments: argparse.Namespace) -> int:
    """Check every photo in turn; one that cannot be checked is told of, and the others go on."""
    from match.check.calibration_files import load_calibration

    require_save(arguments)
    calibration = load_calibration()
    photos = arguments.photos
    if len(photos) > 1 and sys.stderr.isatty():
        from tqdm import tqdm

        photos = tqdm(photos, unit="photo")
    code = 0
    for path in photos:
        try:
            _check(path, arguments, calibration)
        except (CalibrationError, PlanError, StoreError):
            raise  # of the call, not of the photo
        except MatchError as error:
            if len(arguments.photos) == 1:
                raise
            whose = "" if error.begins_with == path.name else f"{path.name}: "
            print(f"error: {whose}{error}", file=sys.stderr)
            code = 2
    return code


def _check(path: Path, arguments: argparse.Namespace, calibration: Calibration) -> None:
    from match.check.saved import CheckedPhoto, document
    from match.photo.load import load
    from match.photo.regions import named_cards

    photo = load(path)
    found = _marks(path, photo, arguments, calibration)
    marks = replace(found, regions=named_cards(found.regions))
    result, cards = check_one(photo, marks, arguments, calibration)
    if arguments.mend_marks and result.measurement.mended:
        marks, result = _mended(photo, marks, result, arguments, calibration)
    while arguments.marks_are_right and result.measurement.if_sure:
        told = *result.notes, *answers_told(marks.regions, result.measurement.if_sure)
        marks = replace(marks, regions=result.measurement.if_sure)
        result, cards = check_one(photo, marks, arguments, calibration)
        result = replace(result, notes=tuple(dict.fromkeys((*told, *result.notes))))  # that marks were mended stays
    if arguments.json:
        front = CheckedPhoto(photo.name, photo.sha256, marks.regions)
        print(json.dumps(document(result, front, cards=cards)))
    else:
        print(plain(path, result, len(arguments.photos) > 1, cards))
    if arguments.save:
        save(photo, marks.regions, result, arguments, cards)


def answers_told(before: Sequence[Region], after: Sequence[Region], where: str = "") -> tuple[str, ...]:
    """Say what was answered of each mark, and in which photo where there are several."""
    from match.check.marks.code import words_on

    return tuple(
        f"You looked, and say that {now.name}{where} is {word}."
        for was, now in zip(before, after, strict=True)
        for word in words_on(now, was.sure)
    )


def _mended(
    photo: Photo, marks: Marks, result: CheckResult, arguments: argparse.Namespace, calibration: Calibration
) -> tuple[Marks, CheckResult]:
    """Check again by the marks that the first check proposed, and say so in the result's notes."""
    from match.check.marks.mend import changes, mend_words

    mended = replace(marks, regions=result.measurement.mended)
    words = mend_words(changes(marks.regions, mended.regions))
    again, _ = check_one(photo, mended, arguments, calibration)
    return mended, replace(again, notes=(*again.notes, f"The marks were mended: {words}. Look whether that is right."))


def _marks(path: Path, photo: Photo, arguments: argparse.Namespace, calibration: Calibration) -> Marks:
    """Return the marks for a loaded photo: found in the picture with ``--find``, else given."""
    if not arguments.find:
        is_shared = arguments.regions is not None and len(arguments.photos) > 1
        return marks_for(path, arguments, calibration).on(photo.sha256, is_shared=is_shared)
    from match.check.marks_file import Marks
    from match.photo.found_marks import find_marks
    from match.photo.regions import parse_reflectance

    reflectances = [parse_reflectance(text) for text in arguments.grey_steps.split(",")] if arguments.grey_steps else []
    found = find_marks(photo, reflectances or [calibration.greys.default_reflectance])
    if not found.regions:
        raise RegionError(
            f"{path.name}: no marks were found ({' '.join(found.notes)}): mark the regions yourself",
            begins_with=path.name,
        )
    how = "by the capture sheet" if found.sheet else "by their look alone: check that they are right"
    print(f"{path.name}: {len(found.regions)} marks were found {how}", file=sys.stderr)
    return Marks(found.regions)


def marks_for(path: Path, arguments: argparse.Namespace, calibration: Calibration) -> Marks:
    """Return the marks for a photo: from the command line, the named region file, or the one beside the photo."""
    from match.check.marks_file import Marks, read_marks
    from match.photo.regions import Kind, parse_region

    default = calibration.greys.default_reflectance
    if arguments.grey or arguments.card or arguments.vehicle:
        if arguments.regions:
            raise RegionError("marks are given both on the command line and by --regions: give one of the two")
        typed = [(Kind.GREY, text) for text in arguments.grey]
        typed += [(Kind.CARD, text) for text in arguments.card]
        typed += [(Kind.VEHICLE, text) for text in arguments.vehicle]
        named = calibration.greys.named
        return Marks(tuple(parse_region(kind, text, default, named) for kind, text in typed))
    if arguments.regions:
        return read_marks(arguments.regions, default)
    for suffix in (".json", ".toml"):
        if path.with_suffix(suffix).is_file():
            return read_marks(path.with_suffix(suffix), default)
    raise RegionError(
        f"{path.name}: there are no marks for it: give --grey, --card and --vehicle, or --regions FILE, or put "
        f"{path.with_suffix('.json').name} beside it",
        begins_with=path.name,
    )


def check_one(
    photo: Photo, marks: Marks, arguments: argparse.Namespace, calibration: Calibration
) -> tuple[CheckResult, CardsAnswer | None]:
    """Check one photo by its marks; the command line's finish and junction win over the file's.

    The second is what the photo says of several cards.
    """
    from functools import partial

    from match.camera.own import calibration_for
    from match.check.measuring import measure_photo, measure_photo_cards
    from match.check.mirrored import Mirrored
    from match.check.settings import CheckSettings
    from match.check.verdict import Finish, Junction
    from match.photo.regions import card_named, cards_in

    defaults = CheckSettings()
    settings = CheckSettings(
        finish=Finish(arguments.finish) if arguments.finish else marks.finish or defaults.finish,
        junction=Junction(arguments.junction) if arguments.junction else marks.junction or defaults.junction,
        seed=defaults.seed if arguments.seed is None else arguments.seed,
    )
    said = Mirrored(arguments.mirrors) if arguments.mirrors else None
    used = calibration_for(photo, calibration, getattr(arguments, "data", None), said)
    plan = _planner(arguments, settings.finish)
    if len(cards_in(marks.regions)) > 1:
        measure = partial(measure_photo_cards, photo)
        answer = used.check_cards(measure, marks.regions, settings, arguments.card_name, plan)
        return answer.front_card.result, answer
    if arguments.card_name:
        card_named(marks.regions, arguments.card_name)
    return used.check(partial(measure_photo, photo), marks.regions, settings, plan), None


def _planner(arguments: argparse.Namespace, finish: Finish) -> Planner | None:
    """Return the blend planner where a side of the repair is given."""
    if not has_room(arguments):
        return None
    from match.blend.room import load_blend_calibration, planner

    calibration, _ = practices_from(arguments, load_blend_calibration())
    viewing = viewing_from(arguments, calibration)
    paint = paint_from(arguments, finish)
    return planner(repairs_from(arguments), viewing, calibration, coats_from(arguments), paint)
