"""``blend``: how wide the fade must be, whether the room holds it, and the job step by step."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from match.commands.room_arguments import add_room, repair_from, viewing_from
from match.commands.saved_check import saved_check
from match.errors import PlanError

if TYPE_CHECKING:
    from match.blend.planned_job import PlannedJob
    from match.colorimetry import Array


def add_to(subparsers: Any) -> None:
    """Add the command's arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "blend",
        help="plan the fade for the room around a repair",
        description="Plan the fade for a checked card, or for two known colours, in the room around the repair.",
    )
    source = parser.add_mutually_exclusive_group(required=True)
    source.add_argument("--check", type=Path, metavar="FILE", help="a check's JSON, as `check --json` prints it")
    source.add_argument(
        "--labs", nargs=2, metavar=("CARD", "CAR"), help="two colours as L,a,b (D65, 2 degree), taken as exact"
    )
    add_room(parser, needed=True)
    parser.add_argument("--job-sheet", type=Path, metavar="PDF", help="write a job sheet to hang in the booth")
    parser.add_argument("--page", choices=("A4", "Letter"), default="A4", help="page of the job sheet")
    parser.add_argument("--json", action="store_true", help="print the whole plan as JSON")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Plan and print."""
    from match.blend.planned_job import plan_job
    from match.blend.record import as_dict
    from match.blend.room import load_blend_calibration
    from match.blend.sides import Length
    from match.blend.steps import JobPractice
    from match.blend.viewing import ColourPair
    from match.blend.wording import gun_line, sureness
    from match.calibration import load

    calibration = load_blend_calibration()
    card, vehicle = _colours(arguments)
    unit = Length(arguments.unit)
    planned = plan_job(
        [ColourPair("face-on", card, vehicle)],
        repair_from(arguments),
        viewing_from(arguments, calibration),
        calibration,
        load(JobPractice, "practice"),
        unit,
        arguments.coats_to_cover,
    )
    if arguments.job_sheet:
        _write_sheet(planned, arguments)
    if arguments.json:
        print(json.dumps(as_dict(planned.plan)))
        return 0
    tightest = planned.plan.tightest
    surely = sureness(tightest.hides_probability)
    lines = [f"{planned.verdict()}.", f"The tightest side, {tightest.side.name}, hides it: {surely}.", *planned.need]
    for side in planned.sides:
        lines += ["", *side]
    gun = calibration.practice.guns[planned.plan.gun]
    lines += ["", gun_line(gun, unit), *planned.instructions, "", *planned.cautions]
    print("\n".join(lines))
    return 0


def _colours(arguments: argparse.Namespace) -> tuple[Array, Array]:
    """Return (n, 3) samples of card and vehicle from a saved check or two typed Labs."""
    import numpy as np

    from match.blend.room import samples_from
    from match.check.saved import usable

    if arguments.labs:
        typed = [_lab(text) for text in arguments.labs]
        return np.array(typed[:1]), np.array(typed[1:])
    saved = usable(saved_check(arguments.check))
    covariance = np.array(saved.delta_lab_covariance)
    return samples_from(np.array(saved.card_lab), np.array(saved.vehicle_lab), covariance, seed=20)


def _lab(text: str) -> list[float]:
    try:
        values = [float(part) for part in text.split(",")]
    except ValueError:
        values = []
    if len(values) == 3 and not 0.0 <= values[0] <= 100.0:
        raise PlanError(f"the colour {text!r} has a lightness outside 0 to 100: write L,a,b such as 45.2,8.1,-20.3")
    if len(values) != 3:
        raise PlanError(f"the colour {text!r} is not L,a,b: write three numbers such as 45.2,8.1,-20.3")
    return values


def _write_sheet(planned: PlannedJob, arguments: argparse.Namespace) -> None:
    from datetime import date

    from match.blend.job_sheet_pdf import job_sheet
    from match.files import write_whole

    content = planned.sheet("Blend plan", date.today().isoformat(), planned.verdict())
    write_whole(arguments.job_sheet, job_sheet(content, arguments.page), "the job sheet")
