"""What every action of ``history`` shares: its place, its JSON, and the history it opens."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from match.words import capital

if TYPE_CHECKING:
    from match.history.store import Store


def add_place(parser: argparse._ActionsContainer) -> None:
    """Add the argument that says where the history is."""
    parser.add_argument(
        "--data",
        metavar="FOLDER_OR_URL",
        help="where the history is kept: a folder or a database's address (default: SPRAYOUT_DATA, else your own)",
    )


def add_action(
    actions: Any, name: str, run_it: Callable[[argparse.Namespace], int], words: str
) -> argparse.ArgumentParser:
    """Add one action of the command."""
    parser: argparse.ArgumentParser = actions.add_parser(name, help=words, description=f"{capital(words)}.")
    add_place(parser)
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run_it)
    return parser


def opened(arguments: argparse.Namespace) -> Store:
    """Open the history that the arguments name."""
    from match.history.place import history_place
    from match.history.store import Store

    return Store.open(history_place(arguments.data))


def plain(record: Any) -> Any:
    """Return a record as JSON can hold it: dates as ISO text."""
    from dataclasses import asdict

    return json.loads(json.dumps(asdict(record), default=lambda value: value.isoformat()))


def tell(arguments: argparse.Namespace, told: object, lines: tuple[str, ...] | list[str]) -> None:
    """Print JSON where it was asked for, else the lines."""
    if arguments.json:
        print(json.dumps(told, ensure_ascii=False))
    elif lines:
        print("\n".join(lines))
