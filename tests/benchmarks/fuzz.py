"""Read thousands of changed files of every format: how many answers, refusals in a sentence, and findings. Prints them.

``python -m tests.benchmarks.fuzz [CASES] [FIRST] [KIND ...]``; a finding is tried again by its kind and number.
"""

import sys
import time

from tests.support.fuzz import KINDS
from tests.support.fuzz_batches import run

AT_ONCE = 100


def main() -> None:
    """Print the counts by kind, and each finding with where it came from."""
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    kinds = sys.argv[3:] or KINDS
    each, total, wrong = -(-wanted // len(kinds)), 0, 0
    for kind in kinds:
        begin, counts = time.monotonic(), {}
        for start in range(first, first + each, AT_ONCE):
            found = run([(kind, number) for number in range(start, min(start + AT_ONCE, first + each))])
            for outcome, count in found.counts.items():
                counts[outcome] = counts.get(outcome, 0) + count
            for _, number, outcome, said in found.wrong:
                print(f"--- {kind} {number}: {outcome}\n{said}", flush=True)
            wrong += len(found.wrong)
        total += each
        told = ", ".join(f"{count} {outcome}" for outcome, count in sorted(counts.items()))
        print(f"{kind}: {each} cases in {time.monotonic() - begin:.0f} s: {told}", flush=True)
    print(f"{total} cases, {wrong} findings")


if __name__ == "__main__":
    main()
