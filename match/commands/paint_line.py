"""``paintline``: a paint line's technical data sheet, typed once."""

import argparse
from typing import Any

from match.errors import PlanError


def add_to(subparsers: Any) -> None:
    """Add the command's arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "paintline",
        help="type a paint line's technical data sheet once",
        description="Keep the figures of a paint line's technical data sheet; `blend --paint-line NAME` then works by "
        "them. With no name the lines kept are listed.",
    )
    parser.add_argument("name", nargs="?", metavar="NAME", help="the paint line, in your own words")
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="FIGURE=VALUE",
        help="coats=3, film=12 (um a covering coat), reducer=0.5 (parts per part), flash=10,20 (minutes), "
        "before-clear=20,40, clear-coats=2, clear-film=30, clear-hardener=0.5, clear-reducer=0.1, clear-flash=5,10",
    )
    parser.add_argument("--forget", action="store_true", help="forget the paint line")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Keep, forget or list."""
    from match.blend.data_sheet import DataSheet
    from match.blend.data_sheet_file import forget_sheet, keep_sheet, own_path, read_sheets, sheet_called

    if arguments.name is None and (arguments.set or arguments.forget):
        raise PlanError("say which paint line it is: give its name")
    if arguments.name and arguments.forget:
        forget_sheet(arguments.name)
        print(f"{arguments.name!r} is forgotten.")
        return 0
    if arguments.name and arguments.set:
        kept = dict(read_sheets()[arguments.name].figures) if arguments.name in read_sheets() else {}
        kept |= dict(_figure(text) for text in arguments.set)
        keep_sheet(DataSheet(arguments.name, tuple(kept.items())))
        print(f"Kept in {own_path()}.")
    sheets = [sheet_called(arguments.name)] if arguments.name else list(read_sheets().values())
    for sheet in sheets:
        print("\n".join(_lines(sheet)))
    if not sheets:
        print("No paint line is kept yet.")
    return 0


def _figure(text: str) -> tuple[str, tuple[float, ...]]:
    name, _, value = text.partition("=")
    try:
        return name.strip(), tuple(float(part) for part in value.split(","))
    except ValueError:
        raise PlanError(f"{text!r} is not FIGURE=VALUE: write flash=10,20 or reducer=0.5") from None


def _lines(sheet: Any) -> list[str]:
    from match.blend.data_sheet import FIGURES

    told = [f"{sheet.line}:"]
    for name, values in sheet.figures:
        figure = FIGURES[name]
        told.append(f"  {figure.words}: {' to '.join(f'{each:g}' for each in values)} {figure.unit} ({name})")
    return told
