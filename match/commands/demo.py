"""``demo``: write the demo photos, and check one of them."""

import argparse
from pathlib import Path
from typing import Any

from match.commands import check as check_command
from match.commands.check_lines import plain
from match.errors import PhotoError


def add_to(subparsers: Any) -> None:
    """Add the command's arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "demo",
        help="write rendered demo photos and check one of them",
        description="Write the demo photos (an invented car, rendered from spectra) with their region files, "
        "and check one of them.",
    )
    parser.add_argument(
        "folder",
        nargs="?",
        type=Path,
        default=Path("sprayout-demo"),
        metavar="FOLDER",
        help="where to write them (default: sprayout-demo)",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write the demo and check its first photo."""
    from match.check.calibration_files import load_calibration
    from match.demo.photos import write_demo
    from match.photo.load import load

    try:
        photos = [path for path in write_demo(arguments.folder) if path.suffix.lower() in {".jpg", ".jpeg"}]
    except OSError as error:
        raise PhotoError(
            f"the demo cannot be written to {arguments.folder} ({error.strerror}): name a folder you may write to"
        ) from None
    print(f"Wrote {len(photos)} demo photos of an invented car to {arguments.folder}. The first one:")
    calibration = load_calibration()
    parser = argparse.ArgumentParser()
    check_command.add_to(parser.add_subparsers())
    options = parser.parse_args(["check", str(photos[0])])
    marks = check_command.marks_for(photos[0], options, calibration)
    result, _ = check_command.check_one(load(photos[0]), marks, options, calibration)
    print(plain(photos[0], result, several=True))
    print(f"Check another with: python -m match check {photos[-1]}")
    return 0
