"""The spread of numbers of which some are strays."""

from __future__ import annotations

from typing import Any

import numpy as np


def robust_sd(values: Any, centre: float | None = None) -> float:
    """Return the standard deviation that a normal sample with the same median absolute deviation would have.

    About ``centre``, or the median where none is given. 1.4826 is one over the third quartile of the standard normal
    distribution. ``scipy.stats`` has the same, and takes as long to import as a check to be made.
    """
    about = np.median(values) if centre is None else centre
    return 1.4826 * float(np.median(np.abs(values - about)))
