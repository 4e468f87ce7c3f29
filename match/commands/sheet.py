"""``sheet``: write the capture sheet, to print, cut out and lay on the car."""

import argparse
from pathlib import Path
from typing import Any


def add_to(subparsers: Any) -> None:
    """Add the command's arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "sheet",
        help="write the capture sheet to print",
        description="Write the capture sheet as a PDF: print it at 100 %, cut out the windows, lay it on the car with "
        "the card and your own grey card in their windows; a photo of it marks itself (check PHOTO --find).",
    )
    parser.add_argument("file", type=Path, metavar="PDF", help="the PDF to write")
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="paper size (default: a4)")
    parser.add_argument("--replace", action="store_true", help="write over an earlier capture sheet of that name")
    parser.add_argument(
        "--cards", type=int, choices=(1, 3), default=1, help="windows for so many cards in one photo (default: 1)"
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write the sheet."""
    from match.calibration import load
    from match.files import Kind, write_new
    from match.photo.sheet.layout import LAYOUT_OF_CARDS, SheetLayout
    from match.photo.sheet.sheet_pdf import SUBJECT, capture_sheet_pdf

    pdf = capture_sheet_pdf(load(SheetLayout, "capture", LAYOUT_OF_CARDS[arguments.cards]), arguments.paper)
    write_new(arguments.file, pdf, Kind("capture sheet", SUBJECT.encode()), arguments.replace)
    print(f"Wrote {arguments.file}. Print it at 100 % and check its ruler; printed paper is no colour reference.")
    return 0
