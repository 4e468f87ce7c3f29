"""A saved check named on the command line."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from match.check.saved import SavedCheck


def saved_check(path: Path) -> SavedCheck:
    """Return the check in a file; raises as :func:`match.files.read_json` and :func:`read_saved` do."""
    from match.check.saved import read_saved
    from match.files import read_json

    return read_saved(read_json(path, "the file"), path.name)
