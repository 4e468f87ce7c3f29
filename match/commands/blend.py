"""``blend``: how wide the fade must be, whether the room holds it, and the job step by step."""

from __future__ import annotations

import argparse
import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from match.commands.check_lines import verdict_line
from match.commands.choices import FINISHES, JUNCTIONS
from match.commands.kept_panel import add_kept_panel, keep_panel, panel_of, require_panel
from match.commands.room_arguments import (
    add_room,
    coats_from,
    has_room,
    paint_from,
    panel_from_arguments,
    practices_from,
    repairs_from,
    viewing_from,
)
from match.commands.saved_check import add_card_name, saved_check
from match.errors import PlanError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from match.blend.checked import Warned
    from match.blend.job_sheet_pdf import Measured
    from match.blend.panel import Panel
    from match.blend.parts import PartColour
    from match.blend.room_answer import RoomAnswer
    from match.blend.sides import Direction, Repair
    from match.blend.viewing import ColourPair
    from match.check.saved import SavedCheck


SEEN_SIDE_PX = 1800
"""Engineering choice: boxes are cut out of a picture of this size; on paper they are two centimetres wide."""


def add_to(subparsers: Any) -> None:
    """Add the command's arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "blend",
        help="plan the fade for the room around a repair",
        description="Plan the fade for a checked card, or for two known colours, in the room around the repair.",
    )
    source = parser.add_mutually_exclusive_group(required=True)
    source.add_argument(
        "--check",
        type=Path,
        metavar="FILE",
        help="a saved check: what `check` or `set` prints with --json, every angle of it",
    )
    source.add_argument(
        "--labs", nargs=2, metavar=("CARD", "CAR"), help="two colours as L,a,b (D65, 2 degree), taken as exact"
    )
    add_card_name(parser)
    parser.add_argument("--finish", choices=FINISHES, help="the kind of paint (default: the check's, or solid)")
    parser.add_argument(
        "--junction", choices=JUNCTIONS, help="what sides not described count as (default: the check's, or panel-gap)"
    )
    add_room(parser)
    add_kept_panel(parser)
    parser.add_argument(
        "--part",
        action="append",
        default=[],
        metavar="SIDE,NAME[=FILE]",
        help="a part beside the repair with a colour of its own: the saved check of the same card against that part, "
        "such as right,bumper=bumper.json; without a file one that was marked with its name in the check's photo",
    )
    parser.add_argument("--job-sheet", type=Path, metavar="PDF", help="write a job sheet to hang in the booth")
    parser.add_argument("--replace", action="store_true", help="write over an earlier sheet or booth page of that name")
    parser.add_argument("--booth", type=Path, metavar="HTML", help="write the steps for a phone in the booth")
    parser.add_argument("--page", choices=("A4", "Letter"), default="A4", help="page of the job sheet")
    parser.add_argument("--json", action="store_true", help="print the whole plan as JSON")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Plan and print."""
    from match.blend.plan_record import as_dict, steps_as_list

    panel = panel_of(arguments) or panel_from_arguments(arguments)
    require_panel(arguments, panel)
    answer, warnings = _answered(arguments, panel)
    if arguments.keep_panel and panel is not None:
        keep_panel(arguments, panel)
    if arguments.job_sheet:
        _write_sheet(answer, arguments)
    if arguments.booth:
        _write_booth(answer, arguments.booth, arguments.replace)
    if arguments.json:
        angles = [pair.label for pair in answer.planned.pairs]
        steps = steps_as_list(answer.planned.steps)
        print(json.dumps({**as_dict(answer.planned.plan), **answer.as_dict(), "angles": angles, "steps": steps}))
    else:
        print(_plain(answer, warnings))
    return 0


def _answered(arguments: argparse.Namespace, panel: Panel | None) -> tuple[RoomAnswer, tuple[Warned, ...]]:
    from dataclasses import replace

    from match.blend.checked import checked_before
    from match.blend.parts import hold_to_parts, parts_beside
    from match.blend.planned_job import plan_job
    from match.blend.room import load_blend_calibration
    from match.blend.room_answer import answer_for_check, answer_for_colours
    from match.blend.sides import Length
    from match.check.saved import usable
    from match.check.verdict import Junction

    if panel is None and not has_room(arguments):
        raise PlanError("no room around the repair is given: give --side or --panel")
    if arguments.card_name and not arguments.check:
        raise PlanError("--card-name names a card of a saved check, and none is given: add --check FILE")
    saved = usable(saved_check(arguments.check, arguments.card_name)) if arguments.check else None
    checked = checked_before(saved) if saved else None
    calibration, job = practices_from(arguments, load_blend_calibration())
    tolerances = calibration.tolerances
    pairs, viewing = checked.pairs if checked else (_typed(arguments.labs),), viewing_from(arguments, calibration)
    sureness = calibration.practice.fade.sureness
    room = _with_parts(arguments, repairs_from(arguments, panel))
    others, doubts = _parts(arguments, saved)
    beside = [*parts_beside(room[0], checked.parts if checked else ()), *others]
    repairs, parts = hold_to_parts(room, pairs, beside, viewing.allowed, sureness)
    planned = plan_job(
        pairs,
        repairs,
        viewing,
        calibration,
        job,
        Length(arguments.unit),
        coats_from(arguments),
        paint_from(arguments, checked.finish if checked else None),
        arguments.paint_line or "",
        parts,
    )
    if checked is None:
        return answer_for_colours(planned, Junction(arguments.junction or Junction.PANEL_GAP), tolerances), doubts
    if arguments.junction:
        checked = replace(checked, junction=Junction(arguments.junction))
    return answer_for_check(planned, checked, tolerances), (*checked.warnings, *doubts)


def _plain(answer: RoomAnswer, warnings: tuple[Warned, ...]) -> str:
    """Return the lines that a person reads: the verdict as a check says it, then the plan and the job."""
    from match.blend.words import kept

    planned = answer.planned
    tightest = planned.plan.tightest
    lines = [verdict_line(answer.verdict, answer.sure, answer.reason)]
    lines += [f"  {each}" for each in (*answer.figures, answer.limits)]
    lines += [f"  Photo: {each.text} {each.remedy}" for each in warnings]
    lines += planned.part_lines
    lines += [f"The tightest side lies {tightest.side.name}. {kept(tightest)}.", *planned.need]
    for side in planned.sides:
        lines += ["", *side]
    lines += ["", *planned.covering, planned.rests_on]
    for number, step in enumerate(planned.step_texts, start=1):
        lines += [f"{number}. {step.title}", *(f"   {line}" for line in (*step.lines, step.set_up) if line)]
    return "\n".join(lines)


def _parts(arguments: argparse.Namespace, panel: SavedCheck | None) -> tuple[list[PartColour], tuple[Warned, ...]]:
    """Return the parts that have a check of their own, and what is in doubt of the card that joins it to the panel's.

    Raises :class:`PlanError` where the two checks show two cards.
    """
    from match.blend.checked import checked_before
    from match.blend.parts import PartColour
    from match.blend.same_card import same_card
    from match.check.saved import usable

    found: list[PartColour] = []
    doubts: list[Warned] = []
    for direction, name, file in map(_part, arguments.part):
        if file is None:
            continue
        saved = usable(saved_check(file, arguments.card_name))
        if panel and (doubt := same_card(panel, saved)):
            doubts.append(doubt)
        checked = checked_before(saved)
        found.append(PartColour(name, direction, checked.pairs, checked.is_whole))
    return found, tuple(dict.fromkeys(doubts))


def _with_parts(arguments: argparse.Namespace, repairs: Sequence[Repair]) -> tuple[Repair, ...]:
    """Return the repairs with the parts of the check's own photo named on their sides; a kept panel names none."""
    from dataclasses import replace

    asked = [(direction, name) for direction, name, file in map(_part, arguments.part) if file is None]
    named = dict(asked)
    if len(named) != len(asked):
        raise PlanError("two parts lie in the same direction: give each of left, right, up and down at most one")
    for direction in named.keys() - {side.direction for side in repairs[0].sides}:
        raise PlanError(
            f"the part {named[direction]} lies {direction.value}, and no room is given there: add that side"
        )
    return tuple(
        replace(
            repair,
            sides=tuple(replace(side, part=named.get(side.direction, side.part)) for side in repair.sides),
        )
        for repair in repairs
    )


def _part(text: str) -> tuple[Direction, str, Path | None]:
    """Return the side, the name and the saved check of a part as typed; none for one of the check's own photo."""
    from match.blend.sides import Direction

    read = re.fullmatch(r"(left|right|up|down),([^=]{1,40})(?:=(.+))?", text.strip())
    if not read or not read[2].strip().isprintable():
        raise PlanError(f"the part {text!r} is not SIDE,NAME=FILE: write right,bumper=bumper.json")
    return Direction[read[1].upper()], read[2].strip(), Path(read[3]) if read[3] else None


def _typed(labs: Sequence[str]) -> ColourPair:
    """Return two typed colours, taken as exact."""
    import numpy as np

    from match.blend.viewing import ColourPair
    from match.several.photo_set import Angle
    from match.several.travel import ANGLE_WORDS

    card, vehicle = (np.array([_lab(text)]) for text in labs)
    return ColourPair(ANGLE_WORDS[Angle.FACE], card, vehicle)


def _lab(text: str) -> list[float]:
    from match.colorimetry import is_colour

    try:
        values = [float(part) for part in text.split(",")]
    except ValueError:
        values = []
    if len(values) == 3 and not 0.0 <= values[0] <= 100.0:
        raise PlanError(f"the colour {text!r} has a lightness outside 0 to 100: write L,a,b such as 45.2,8.1,-20.3")
    if not is_colour(values):
        raise PlanError(f"the colour {text!r} is not L,a,b: write three numbers such as 45.2,8.1,-20.3")
    return values


def _write_sheet(answer: RoomAnswer, arguments: argparse.Namespace) -> None:
    from dataclasses import replace
    from datetime import date

    from match.blend.job_sheet_pdf import SUBJECT, job_sheet
    from match.files import Kind, write_new

    content = answer.sheet("Blend plan", date.today().isoformat())
    content = replace(content, measured=_measured(arguments))
    pdf = job_sheet(content, arguments.page)
    write_new(arguments.job_sheet, pdf, Kind("job sheet", SUBJECT.encode()), arguments.replace)


def _measured(arguments: argparse.Namespace) -> tuple[Measured, ...]:
    """Return the boxes of the check's photo where it lies beside the check and is still the one that was measured."""
    from match.blend.job_sheet_pdf import Measured
    from match.errors import MatchError
    from match.photo.cut_outs import box_names, cut_outs
    from match.photo.load import load

    checked = saved_check(arguments.check, arguments.card_name).photos if arguments.check else ()
    beside = arguments.check.parent / Path(checked[0].name).name if checked else None
    if beside is None or not beside.is_file():
        return ()
    try:
        photo = load(beside)
    except MatchError:
        return ()
    if photo.sha256 != checked[0].sha256:
        return ()
    regions = checked[0].regions
    shown = cut_outs(photo.preview(SEEN_SIDE_PX), (photo.width, photo.height), regions)
    return tuple(Measured(*each) for each in zip(box_names(regions), shown, strict=True))


def _write_booth(answer: RoomAnswer, path: Path, replace: bool) -> None:
    from match.blend.booth_page import TITLE, booth_page
    from match.files import Kind, write_new

    write_new(path, booth_page(answer.planned).encode(), Kind("booth page", TITLE.encode()), replace)
