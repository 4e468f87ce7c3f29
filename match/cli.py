"""The command line: parse, call, print; 0 for any answer, 2 with one line on standard error for bad input."""

import argparse
import sys
from collections.abc import Sequence
from contextlib import redirect_stderr, redirect_stdout
from typing import Any, TextIO, cast

from match.commands import app, blend, camera, check, coats, demo, history, paint_line, photo_set, sheet, tint
from match.errors import MatchError

COMMANDS = {
    "app": app,
    "check": check,
    "set": photo_set,
    "blend": blend,
    "paintline": paint_line,
    "tint": tint,
    "coats": coats,
    "camera": camera,
    "sheet": sheet,
    "history": history,
    "demo": demo,
}


_OBEYED = {code: f"\\x{code:02x}" for code in (*range(32), *range(127, 160)) if chr(code) not in "\n\t"}
"""Control characters (ECMA-48), by which a name from a file or an archive could write over the terminal or title it."""


class _Shown:
    """An output that shows what a terminal would obey, but for the signs ``kept``."""

    def __init__(self, stream: TextIO, kept: str = "") -> None:
        self._stream = stream
        self._shown = {code: shown for code, shown in _OBEYED.items() if chr(code) not in kept}

    def write(self, text: str) -> int:
        return self._stream.write(text.translate(self._shown))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


class _Parser(argparse.ArgumentParser):
    """Say what is wrong in the same one line as every other bad input."""

    def error(self, message: str) -> None:  # type: ignore[override]
        raise MatchError(f"{message}; see {self.prog} --help")


def build_parser(asked: str | None = None) -> argparse.ArgumentParser:
    """Return the parser with every command, or with the one ``asked`` for where there is such a command.

    Imports nothing heavy, so that ``--help`` is instant.
    """
    parser = _Parser(
        prog="python -m match",
        description="Is this mixed colour close enough for the room I have? A photo in, a verdict out.",
    )
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for command in [COMMANDS[asked]] if asked in COMMANDS else COMMANDS.values():
        command.add_to(subparsers)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    given = sys.argv[1:] if arguments is None else list(arguments)
    try:
        parsed = build_parser(given[0] if given else None).parse_args(given)
        told, asides = _Shown(sys.stdout), _Shown(sys.stderr, kept="\r")  # a progress bar goes back to its line's start
        with redirect_stdout(cast(TextIO, told)), redirect_stderr(cast(TextIO, asides)):
            code = int(parsed.run(parsed))
            _tell_of_own_files()
            return code
    except MatchError as error:
        print(f"error: {error}".translate(_OBEYED | {ord("\n"): "\\n"}), file=sys.stderr)
        return 2
    except BrokenPipeError:
        return 0
    except KeyboardInterrupt:
        print("error: stopped by the user", file=sys.stderr)
        return 130


def _tell_of_own_files() -> None:
    """Say which figures the shop's own calibration files lacked; imported late, so that ``--help`` is instant."""
    from match.calibration import taken_from_shipped

    for sentence in taken_from_shipped():
        print(f"note: {sentence}", file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main())
