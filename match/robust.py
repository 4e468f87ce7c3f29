"""The spread of numbers of which some are strays."""

from typing import Any

import numpy as np


def robust_sd(values: Any, centre: float | None = None) -> float:
    """Return the standard deviation that a normal sample with the same median absolute deviation would have.

    About ``centre``, or the median where none is given. 1.4826 is one over the third quartile of the standard normal
    distribution. ``scipy.stats`` has the same, and takes as long to import as a check to be made.
    """
    about = _median(values) if centre is None else centre
    return 1.4826 * _median(np.abs(values - about))


def _median(values: Any) -> float:
    """Return the same as ``numpy.median``, which takes several times as long over the few numbers of a region."""
    flat = np.ravel(values)
    if not flat.size:
        return float("nan")
    middle = flat.size // 2
    ordered = np.partition(flat, (middle - 1 + flat.size % 2, middle, flat.size - 1))  # what is no number comes last
    if np.isnan(ordered[-1]):
        return float("nan")
    return float(ordered[middle] if flat.size % 2 else (ordered[middle - 1] + ordered[middle]) / 2.0)
