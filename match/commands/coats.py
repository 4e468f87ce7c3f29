"""``coats``: does the card hide its chart, and which step of a let-down card comes nearest to the car."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from match.commands.choices import FINISHES, JUNCTIONS
from match.commands.history_action import add_place
from match.commands.photo_set import loaded_photos, measured_photos

if TYPE_CHECKING:
    from match.coats.judge import CardHiding, StepsAnswer
    from match.measure.finding import Finding, Names

JSON_HELP = "print the whole answer as JSON"


def add_to(subparsers: Any) -> None:
    """Add the command with its two parts."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "coats",
        help="say whether a card hides, or which let-down step to spray",
        description="How many coats: whether a card hides its black and white chart, and which step of a let-down card "
        "(three-stage paint) comes nearest to the car.",
    )
    parts = parser.add_subparsers(dest="part", metavar="PART", required=True)
    _add_hiding(parts)
    _add_let_down(parts)


def _add_hiding(parts: Any) -> None:
    parser = parts.add_parser(
        "hiding",
        help="say whether the card hides its chart",
        description="Say whether a card's black and white chart still shows through its paint, and how many coats hide "
        "it. A card that does not hide gives no valid match.",
    )
    parser.add_argument("photo", type=Path, metavar="PHOTO", help="a photo of the card with a grey reference")
    parser.add_argument(
        "--grey",
        action="append",
        required=True,
        metavar="X,Y,W,H[@R]",
        help="a grey reference in pixels of the upright photo, with its reflectance (default: 18%% card)",
    )
    parser.add_argument("--over-black", required=True, metavar="X,Y,W,H", help="the card's paint over its black field")
    parser.add_argument("--over-white", required=True, metavar="X,Y,W,H", help="the card's paint over its white field")
    parser.add_argument("--coats", type=float, metavar="N", help="coats of colour on the card, to learn how many hide")
    parser.add_argument("--finish", choices=FINISHES, default="solid", help="the kind of paint (default: solid)")
    add_place(parser)
    parser.add_argument("--json", action="store_true", help=JSON_HELP)
    parser.set_defaults(run=_hiding)


def _add_let_down(parts: Any) -> None:
    parser = parts.add_parser(
        "let-down",
        help="say how many mid-coats come nearest to the car",
        description="Say how many mid-coats of a three-stage paint come nearest to the car, over every angle "
        "photographed, from one photo for each step of a let-down card.",
        epilog="SET is TOML or JSON: a list [[photos]] with path (beside the file), mid_coats, grey, card, vehicle as "
        'X,Y,W,H, and where wanted angle ("near-glare", "face", "flop") and role ("first", "repeat", "swap").',
    )
    parser.add_argument("set", type=Path, metavar="SET", help="the photo-set file, TOML or JSON")
    parser.add_argument(
        "--junction",
        choices=JUNCTIONS,
        default="panel-gap",
        help="what lies between new paint and old (default: panel-gap)",
    )
    add_place(parser)
    parser.add_argument("--json", action="store_true", help=JSON_HELP)
    parser.set_defaults(run=_let_down)


def _hiding(arguments: argparse.Namespace) -> int:
    from match.camera.own import calibration_for
    from match.check.calibration_files import load_calibration
    from match.check.verdict import Finish
    from match.coats.judge import judge_card, measure_fields
    from match.coats.rules import load_coats_rules
    from match.photo.load import load
    from match.photo.regions import Kind, parse_region

    calibration = load_calibration()
    default = calibration.greys.default_reflectance
    greys = [parse_region(Kind.GREY, text, default) for text in arguments.grey]
    black, white = (parse_region(Kind.CARD, text, default) for text in (arguments.over_black, arguments.over_white))
    photo = load(arguments.photo)
    used = calibration_for(photo, calibration, arguments.data)
    fields = measure_fields(photo, greys, black, white, used.calibration)
    answer = judge_card(fields, arguments.coats, Finish(arguments.finish), load_coats_rules())
    if arguments.json:
        print(json.dumps({**answer.as_dict(), "notes": list(used.notes)}))
    else:
        print(_plain_hiding(answer, used.notes))
    return 0


def _plain_hiding(answer: CardHiding, notes: Iterable[str]) -> str:
    from match.coats.judge import FIELD_NAMES

    lines = [f"{answer.headline.upper()}", *(f"  {words}" for words in answer.result.sentences)]
    return "\n".join(lines + _remedies(answer.photo_findings, answer.result.findings, notes, FIELD_NAMES))


def _let_down(arguments: argparse.Namespace) -> int:
    from match.check.calibration_files import load_calibration
    from match.check.settings import CheckSettings
    from match.check.verdict import Junction
    from match.coats.judge import judge_steps
    from match.coats.rules import load_coats_rules
    from match.several.photo_set_file import read_photo_set

    calibration = load_calibration()
    listed = read_photo_set(arguments.set, calibration.greys.default_reflectance)
    settings = CheckSettings(junction=Junction(arguments.junction))
    loaded = loaded_photos(arguments.set, listed, settings, calibration, arguments.data)
    answer = judge_steps(measured_photos(loaded, settings), settings, load_coats_rules())
    if arguments.json:
        print(json.dumps({**answer.as_dict(), "notes": list(answer.notes)}))
    else:
        print(_plain_steps(answer))
    return 0


def _plain_steps(answer: StepsAnswer) -> str:
    from match.measure.finding import by_pixels

    result = answer.result
    head = "Take the photos again" if answer.must_retake else f"{result.verdict.value} at {result.coats:.1f} mid-coats"
    lines = [head.upper(), *(f"  {words}" for words in (*result.sentences, answer.limits_sentence))]
    for angle, sizes in result.step_delta_e00.items():
        steps = ", ".join(f"{coats:g}: {size:.1f}" for coats, size in zip(result.steps, sizes, strict=True))
        lines.append(f"  Difference by mid-coats, {angle.value}: {steps}.")
    return "\n".join(lines + _remedies(answer.photo_findings, result.findings, answer.notes, by_pixels))


def _remedies(photo: Sequence[Finding], found: Sequence[Finding], notes: Iterable[str], names: Names) -> list[str]:
    lines = [f"  Photo: {each.text(names)} {each.remedy(names)}" for each in photo]
    lines += [f"  Note: {note}" for note in notes]
    return lines + [f"  Next: {remedy}" for remedy in dict.fromkeys(each.remedy() for each in found)]
