"""``python -m match``, and the command ``sprayout-match``: the command line as a process of its own."""

import sys

from match.cli import main


def start() -> int:
    """Run one command without pandas, and return its exit code.

    Streamlit brings pandas along, and colour-science then loads it, only to take its tables as well, which no command
    hands it: a fifth of the time that a check takes. It counts as not installed for the whole of this process.
    """
    sys.modules.setdefault("pandas", None)  # type: ignore[arg-type]  # Python's own way to say: not there
    return main()


if __name__ == "__main__":
    sys.exit(start())
