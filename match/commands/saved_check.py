"""A saved check named on the command line."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from match.check.saved import SavedCheck


def add_card_name(parser: argparse.ArgumentParser | Any, option: str = "--card-name", which: str = "the check") -> None:
    """Add the option that names one of several cards."""
    parser.add_argument(
        option,
        default="",
        metavar="NAME",
        help=f"where {which} holds several cards, the one to go on with (default: the one whose verdict it gives)",
    )


def saved_check(path: Path, card_name: str = "") -> SavedCheck:
    """Return the check in a file, with the named one of several cards at the front.

    Raises as :func:`match.files.read_json`, :func:`read_saved` and :func:`of_card` do.
    """
    from match.check.saved import of_card, read_saved
    from match.files import read_json

    check = read_saved(read_json(path, "the file"), path.name)
    return of_card(check, card_name) if card_name else check
