"""The room around a repair on the command line, shared by ``check`` and ``blend``."""

from __future__ import annotations

import argparse
import re
from typing import TYPE_CHECKING

from match.errors import PlanError

if TYPE_CHECKING:
    from match.blend.job_practice import JobPractice
    from match.blend.paint import Paint
    from match.blend.panel import Panel
    from match.blend.room import BlendCalibration
    from match.blend.sides import Length, Repair, Side
    from match.blend.viewing import Viewing
    from match.check.verdict import Finish

SIDE_HELP = (
    "a side of the repair: left, right, up or down, its room, and what lies there: right:400, "
    "left:150,next:600 (a panel you may paint too, with its room), down:80,kept (a part not to be painted), "
    "down:80,other (another plane or material in the car's colour, such as a bumper cover), up:200,open (no edge: the "
    "panel runs on), with break:900 for the next edge or sharp break that the clear can be carried on to, up:30,bare "
    "(nothing of the car's colour beyond, such as glass), line:120 for a body line on the way, and part=NAME for a "
    "part with a colour of its own that was marked beside the card (check --vehicle X,Y,W,H=NAME)"
)
_Two = tuple[float, float]
ORDINARY_MM = (200.0, 200.0)
_NUMBER = r"\d+(?:\.\d+)?"


def add_room(parser: argparse.ArgumentParser) -> None:
    """Add the arguments that describe the repair, its sides and who looks at it."""
    group = parser.add_argument_group("the room around the repair")
    group.add_argument("--side", action="append", default=[], metavar="SIDE", help=SIDE_HELP)
    group.add_argument(
        "--panel",
        metavar="SHAPE",
        help="all four sides from a plain outline: door, wing, bonnet, bumper, quarter, roof or plain; a --side given "
        "besides counts in the place of its own",
    )
    group.add_argument("--panel-size", metavar="WxH", help="width and height of the panel (default: an ordinary one)")
    group.add_argument("--at", metavar="X,Y", help="the repair's upper left corner on the panel (default: its middle)")
    group.add_argument(
        "--repair",
        action="append",
        default=[],
        metavar="WxH[@X,Y]",
        help="size of the covered repair (default 200x200 mm) and its upper left corner on the panel; given again "
        "with its place for each further repair: a --side is then measured from the repair nearest to it",
    )
    group.add_argument("--unit", choices=("mm", "in"), default="mm", help="unit of every length typed and printed")
    group.add_argument("--judge", metavar="NAME", help="who looks: expert or ordinary (see calibration/vision.toml)")
    group.add_argument("--lux", type=float, help="light when the result is looked at (default 1000)")
    group.add_argument(
        "--distance", action="append", type=float, default=[], metavar="M", help="a viewing distance in metres"
    )
    group.add_argument(
        "--mid-coats", type=int, default=0, metavar="N", help="three-stage: mid-coats, by the let-down card"
    )
    group.add_argument("--paint-line", metavar="NAME", help="work by this data sheet, typed with `paintline`")
    group.add_argument(
        "--coats-to-cover",
        type=float,
        metavar="N",
        help="coats until the primer no longer shows (default: the data sheet's, else by colour class and undercoat)",
    )
    group.add_argument(
        "--over",
        metavar="SHADE",
        help="undercoat: white, light-grey, grey, dark-grey or black (see calibration/practice.toml)",
    )


def repairs_from(arguments: argparse.Namespace, kept: Panel | None = None) -> tuple[Repair, ...]:
    """Build the repairs from a kept panel or the parsed arguments; raises :class:`PlanError` for what cannot be."""
    from match.blend.panel_shape import PanelFile
    from match.blend.sides import Length, Repair
    from match.calibration import load

    panel = kept or panel_from_arguments(arguments)
    if panel is not None:
        return panel.repairs(load(PanelFile, "panels").shape(panel.shape))
    unit = Length(arguments.unit)
    sizes, places = _repairs(arguments, unit)
    if len(sizes) > 1 or places[0]:
        raise PlanError("a repair's place and further repairs are given on a panel: add --panel")
    return (Repair(*sizes[0], tuple(_side(text, unit.value) for text in arguments.side)),)


def panel_from_arguments(arguments: argparse.Namespace) -> Panel | None:
    """Build the panel that the arguments describe; None where the rooms are given by hand."""
    from match.blend.panel import Around, Panel
    from match.blend.panel_shape import PanelFile, place_for
    from match.blend.sides import Length, Spot
    from match.calibration import load

    if not arguments.panel:
        return None
    unit = Length(arguments.unit)
    sizes, places = _repairs(arguments, unit)
    shape = load(PanelFile, "panels").shape(arguments.panel)
    size = shape.width, shape.height
    if arguments.panel_size:
        size = _two("the panel's size", arguments.panel_size, "x", unit)
    if len(sizes) > 1 and not all(places):
        raise PlanError("several repairs are given without a place: write each as --repair 90x60@600,300")
    given = zip(sizes, places, strict=True)
    spots = tuple(Spot(*place, *repair) if place else place_for(shape, size, repair) for repair, place in given)
    around = tuple(Around.said(_side(text, unit.value)) for text in arguments.side)
    return Panel(arguments.panel, *size, spots, around)


def _repairs(arguments: argparse.Namespace, unit: Length) -> tuple[list[_Two], list[_Two | None]]:
    """Return every repair's size, and its place where one is given."""
    sizes: list[_Two] = []
    places: list[_Two | None] = []
    for text in arguments.repair:
        size, _, place = text.partition("@")
        sizes.append(_two("the repair", size, "x", unit))
        places.append(_two("the repair's place", place, ",", unit) if place else None)
    if not sizes:
        sizes, places = [ORDINARY_MM], [None]
    if arguments.at and places[0]:
        raise PlanError("the repair's place is given twice, by --at and by --repair: leave one of them out")
    if arguments.at:
        places[0] = _two("the repair's place", arguments.at, ",", unit)
    return sizes, places


def has_room(arguments: argparse.Namespace) -> bool:
    """Return whether any room around the repair was given."""
    return bool(arguments.side or arguments.panel)


def _two(what: str, text: str, between: str, unit: Length) -> tuple[float, float]:
    from match.blend.sides import to_mm

    found = re.fullmatch(rf"({_NUMBER}){between}({_NUMBER})", text.strip())
    if not found:
        raise PlanError(f"{what} {text!r} is not two numbers, for example 300{between}200")
    return to_mm(float(found[1]), unit), to_mm(float(found[2]), unit)


def _side(text: str, unit_name: str) -> Side:
    from match.blend.sides import Direction, End, Length, NextPanel, Side, to_mm

    unit = Length(unit_name)
    first, *rest = (word.strip() for word in text.strip().split(","))
    found = re.fullmatch(rf"(left|right|up|down):({_NUMBER})", first.lower())
    if not found:
        raise PlanError(f"the side {text!r} does not begin with a direction and its room, for example left:400")
    end, beyond, lines, next_panel, break_mm, part = End.PANEL_EDGE, True, [], None, None, ""
    for typed in rest:
        if typed.lower().startswith("part="):
            part = typed[len("part=") :].strip()
            continue
        word = typed.lower()
        length = re.fullmatch(rf"(next|line|break):({_NUMBER})", word)
        if length and length.group(1) == "next":
            end, next_panel = End.NEXT_PANEL, NextPanel(to_mm(float(length.group(2)), unit))
        elif length and length.group(1) == "break":
            break_mm = to_mm(float(length.group(2)), unit)
        elif length:
            lines.append(to_mm(float(length.group(2)), unit))
        elif word == "kept":
            end = End.KEPT_PART
        elif word == "bare":
            end, beyond = End.KEPT_PART, False
        elif word in ("other", "open"):
            end = End.OTHER_PART if word == "other" else End.NO_EDGE
        else:
            raise PlanError(
                f"{word!r} in the side {text!r} is not known: use next:ROOM, kept, other, open, bare, line:PLACE, "
                "break:PLACE or part=NAME"
            )
    return Side(
        Direction[found.group(1).upper()],
        to_mm(float(found.group(2)), unit),
        end,
        car_colour_beyond=beyond,
        lines_mm=tuple(sorted(lines)),
        next_panel=next_panel,
        break_mm=break_mm,
        part=part,
    )


def paint_from(arguments: argparse.Namespace, finish: Finish | None) -> Paint:
    """Build the kind of paint from the parsed arguments; ``finish`` is a check's, which an own word overrules."""
    from match.blend.paint import Paint
    from match.check.verdict import Finish

    kind = Finish(arguments.finish) if arguments.finish else finish or Finish.SOLID
    return Paint(kind, arguments.mid_coats, arguments.over)


def practices_from(
    arguments: argparse.Namespace, calibration: BlendCalibration
) -> tuple[BlendCalibration, JobPractice]:
    """Return the calibration and what turns a plan into a job, by the paint line's data sheet where one is named."""
    from dataclasses import replace

    from match.blend.data_sheet import by_data_sheet
    from match.blend.data_sheet_file import sheet_called
    from match.blend.job_practice import JobPractice
    from match.calibration import load

    sheet = sheet_called(arguments.paint_line) if arguments.paint_line else None
    practice, job = by_data_sheet(calibration.practice, load(JobPractice, "practice"), sheet)
    return replace(calibration, practice=practice), job


def coats_from(arguments: argparse.Namespace) -> float | None:
    """Return the coats to cover as typed, else those of the paint line's data sheet; None where neither says."""
    from match.blend.data_sheet_file import sheet_called

    sheet = sheet_called(arguments.paint_line) if arguments.paint_line else None
    return arguments.coats_to_cover or (sheet.coats if sheet else None)


def viewing_from(arguments: argparse.Namespace, calibration: BlendCalibration) -> Viewing:
    """Build the viewing conditions from the parsed arguments."""
    return calibration.viewing(arguments.judge, arguments.lux, *arguments.distance)
