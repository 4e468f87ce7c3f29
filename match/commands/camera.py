"""``camera``: what your own camera can be trusted with, from photos of two spots of one panel and of grey steps."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from match.commands.history_action import add_place
from match.errors import RegionError

if TYPE_CHECKING:
    from match.camera.records_file import Cameras
    from match.check.calibration_files import Calibration
    from match.photo.load import Photo


def add_to(subparsers: Any) -> None:
    """Add the command with its parts."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "camera",
        help="find out what your own camera can be trusted with",
        description="Find out what your own camera can be trusted with. What is kept of it is used in every check of "
        "its photos.",
    )
    parts = parser.add_subparsers(dest="part", metavar="PART", required=True)
    null = parts.add_parser(
        "null",
        help="keep a photo of two spots of one panel",
        description="Keep a null test: two spots of one panel have no difference, so what is measured is the camera's "
        "own error. Three photos or more tell it well.",
    )
    _add_photo(null, "a grey reference, with its reflectance (default: 18%% card)")
    null.add_argument(
        "--spot", action="append", required=True, metavar="X,Y,W,H", help="a spot of the panel; give it twice"
    )
    null.set_defaults(run=_null)
    greys = parts.add_parser(
        "greys",
        help="keep a photo of three or more grey steps",
        description="Keep a photo of three or more grey steps, which show the camera's contrast.",
    )
    _add_photo(greys, "a grey step with its reflectance (0.18 or 18%%); give it three times or more")
    greys.set_defaults(run=_greys)
    show = parts.add_parser(
        "show",
        help="say how far each camera can be trusted",
        description="Say how far each camera can be trusted, and what to change when that is not far.",
    )
    _add_common(show)
    show.set_defaults(run=_show)


def _add_photo(parser: argparse.ArgumentParser, grey_help: str) -> None:
    parser.add_argument("photo", type=Path, metavar="PHOTO", help="a photo by the camera, as you take them for checks")
    parser.add_argument("--grey", action="append", required=True, metavar="X,Y,W,H[@R]", help=grey_help)
    _add_common(parser)


def _add_common(parser: argparse.ArgumentParser) -> None:
    add_place(parser)
    parser.add_argument("--json", action="store_true", help="print JSON")


def _null(arguments: argparse.Namespace) -> int:
    from match.camera.records_file import named
    from match.camera.shots import measure_null
    from match.check.calibration_files import load_calibration
    from match.photo.load import load
    from match.photo.regions import Kind, parse_region

    if len(arguments.spot) != 2:
        raise RegionError(f"{len(arguments.spot)} spots are marked: give --spot twice, for two spots of one panel")
    calibration = load_calibration()
    default = calibration.greys.default_reflectance
    greys = [parse_region(Kind.GREY, text, default) for text in arguments.grey]
    first, second = (parse_region(Kind.CARD, text, default) for text in arguments.spot)
    photo = load(arguments.photo)
    named(photo.camera)  # a photo that is no camera's is said before the measuring
    shot = measure_null(photo, photo.name, greys, (first, second), calibration)
    return _keep(lambda cameras, name: cameras.with_null(name, photo.sha256, shot), photo, arguments, calibration)


def _greys(arguments: argparse.Namespace) -> int:
    from match.camera.records_file import named
    from match.camera.shots import measure_greys
    from match.check.calibration_files import load_calibration
    from match.photo.load import load
    from match.photo.regions import Kind, parse_region

    calibration = load_calibration()
    greys = [parse_region(Kind.GREY, text, calibration.greys.default_reflectance) for text in arguments.grey]
    photo = load(arguments.photo)
    named(photo.camera)  # a photo that is no camera's is said before the measuring
    shot = measure_greys(photo, photo.name, greys, calibration)
    return _keep(lambda cameras, name: cameras.with_greys(name, photo.sha256, shot), photo, arguments, calibration)


def _keep(
    with_shot: Callable[[Cameras, str], Cameras],
    photo: Photo,
    arguments: argparse.Namespace,
    calibration: Calibration,
) -> int:
    from match.camera.records_file import change_cameras, named, records_file

    name = named(photo.camera)
    cameras = change_cameras(records_file(arguments.data), lambda cameras: with_shot(cameras, name))
    _print(cameras, (name,), arguments, calibration)
    return 0


def _show(arguments: argparse.Namespace) -> int:
    from match.camera.records_file import read_cameras, records_file
    from match.check.calibration_files import load_calibration

    cameras = read_cameras(records_file(arguments.data))
    _print(cameras, tuple(cameras.by_name), arguments, load_calibration())
    return 0


def _print(cameras: Cameras, names: tuple[str, ...], arguments: argparse.Namespace, calibration: Calibration) -> None:
    from match.camera.own import trust
    from match.camera.rules import load_camera_rules

    rules = load_camera_rules()
    judged = {name: trust(cameras.by_name[name], calibration, rules) for name in names}
    if arguments.json:
        print(json.dumps({"cameras": {name: each.as_dict() for name, each in judged.items()}}))
        return
    if not judged:
        print("No camera was tried out yet: photograph two spots of one panel, and give it to `camera null`.")
    for name, each in judged.items():
        grade = f": {each.grade.value.upper()}" if each.floor else ""
        print("\n".join([f"{name}{grade}", *(f"  {words}" for words in each.sentences)]))
