"""``python -m match``, and the command ``sprayout-match``: the command line as a process of its own."""

import os
import sys

from match.cli import main


def start() -> int:
    """Run one command in one thread and without pandas, and return its exit code.

    Threads within small matrices wait for one another, for a quarter of what a check takes; how many there are is read
    when numpy is imported, which is after this. Streamlit brings pandas along, and colour-science then loads it, only
    to take its tables as well, which no command hands it: a fifth of what a check takes. It counts as not installed for
    the whole of this process.
    """
    for threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ.setdefault(threads, "1")
    sys.modules.setdefault("pandas", None)  # type: ignore[arg-type]  # Python's own way to say: not there
    return main()


if __name__ == "__main__":
    sys.exit(start())
