"""The best additions of one, two or three toners: never negative, within the limits.

The squared weighted difference |W (lab - target)|^2 is minimised for every subset at once by Gauss-Newton steps, each a
small box-constrained least-squares problem solved by coordinate descent. W makes a length in CIELAB a small CIEDE2000
(see :func:`match.tint.card.metric_root`): smooth, where CIEDE2000 itself jumps at opposite hues.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from match.tint.learn import predicted_lab
from match.tint.paint import TintModel
from match.tint.pigment import Floats
from match.tint.pot import Pot

UNTINTED = "untinted paint"
NEWTON_STEPS = 10
SWEEPS = 25
DIFFERENCE = 1e-6  # share by weight, for derivatives
DAMPING = 1e-3  # share of the squared slopes; falls tenfold with each step that helps, else rises


@dataclass(frozen=True, eq=False)
class Choices:
    """What may be added to a pot.

    Attributes
    ----------
    columns : m indices of the model's toners; the number of toners stands for untinted paint
    caps : (m,) most of each, grams per gram of paint in the pot
    total_cap : most of all toners together, grams per gram of paint in the pot; untinted paint does not count
    """

    columns: tuple[int, ...]
    caps: Floats
    total_cap: float


@dataclass(frozen=True, eq=False)
class Candidate:
    """One subset with its best amounts.

    Attributes
    ----------
    additions : (n + 1,) grams per gram of paint in the pot; the last is untinted paint
    weighted_difference : predicted |W (lab - target)| that remains
    """

    additions: Floats
    weighted_difference: float

    @property
    def used(self) -> tuple[int, ...]:
        """Return the columns with an amount above zero."""
        return tuple(int(i) for i in np.flatnonzero(self.additions))


def parts_after(model: TintModel, pot: Pot, additions: Floats) -> Floats:
    """Return (..., n) toner parts of base after adding ``additions`` (..., n + 1) per gram of paint in ``pot``."""
    toners = pot.base_share * model.parts(pot.parts_of_base)
    return np.asarray((toners + additions[..., :-1]) / (pot.base_share + additions[..., -1:]))


def lab_after(model: TintModel, pot: Pot, unknowns: Floats, additions: Floats) -> Floats:
    """Return (..., 3) predicted card CIELAB after ``additions`` for ``unknowns`` (..., 3 + 4n)."""
    return predicted_lab(model, unknowns, parts_after(model, pot, additions))


def subsets(choices: Choices, most: int) -> list[tuple[int, ...]]:
    """Return every subset of 1..most positions in ``choices.columns``."""
    positions = range(len(choices.columns))
    return [subset for size in range(1, most + 1) for subset in combinations(positions, size)]


def search(
    model: TintModel, pot: Pot, unknowns: Floats, target_lab: Floats, W: Floats, choices: Choices, most: int
) -> list[Candidate]:
    """Return the best amounts for every subset of up to ``most`` choices, closest first, duplicates left out.

    Parameters
    ----------
    unknowns : (3 + 4n,) most probable start colour and toner responses
    target_lab : (3,) the vehicle
    W : (3, 3) from :func:`match.tint.card.metric_root`
    """
    found: dict[tuple[int, ...], Candidate] = {}
    for size in range(1, most + 1):
        of_size = [subset for subset in subsets(choices, most) if len(subset) == size]
        if not of_size:
            continue
        for candidate in _polish(model, pot, unknowns, target_lab, W, choices, np.array(of_size)):
            known = found.get(candidate.used)
            if candidate.used and (known is None or candidate.weighted_difference < known.weighted_difference):
                found[candidate.used] = candidate
    return sorted(found.values(), key=lambda candidate: candidate.weighted_difference)


def _polish(
    model: TintModel,
    pot: Pot,
    unknowns: Floats,
    target: Floats,
    W: Floats,
    choices: Choices,
    members: np.ndarray[tuple[int, int], np.dtype[np.int64]],
) -> list[Candidate]:
    """Gauss-Newton for B subsets of equal size k at once; ``members`` (B, k) are positions in the choices."""
    B, k = members.shape
    columns = np.array(choices.columns)[members]
    caps = choices.caps[members]
    counted = (columns < len(model.names)).astype(np.float64)
    x = np.zeros((B, k))
    damping = np.full(B, DAMPING)
    r = _residual(model, pot, unknowns, target, W, columns, x)
    loss = np.sum(r**2, axis=-1)
    for _ in range(NEWTON_STEPS):
        J = np.stack(
            [
                (_residual(model, pot, unknowns, target, W, columns, x + DIFFERENCE * np.eye(k)[j]) - r) / DIFFERENCE
                for j in range(k)
            ],
            axis=-1,
        )
        trial = _boxed(J, r, x, caps, damping)
        total = np.sum(trial * counted, axis=-1)
        shrink = np.minimum(1.0, choices.total_cap / np.maximum(total, 1e-15))
        trial = trial * np.where(counted > 0, shrink[:, None], 1.0)
        r_trial = _residual(model, pot, unknowns, target, W, columns, trial)
        loss_trial = np.sum(r_trial**2, axis=-1)
        better = loss_trial < loss
        x, r = np.where(better[:, None], trial, x), np.where(better[:, None], r_trial, r)
        loss = np.where(better, loss_trial, loss)
        damping = np.where(better, damping / 10, damping * 10)
    additions = np.zeros((B, len(model.names) + 1))
    np.put_along_axis(additions, columns, x, axis=-1)
    return [Candidate(additions[b], float(np.sqrt(loss[b]))) for b in range(B)]


def _residual(
    model: TintModel, pot: Pot, unknowns: Floats, target: Floats, W: Floats, columns: np.ndarray, x: Floats
) -> Floats:
    additions = np.zeros((x.shape[0], len(model.names) + 1))
    np.put_along_axis(additions, columns, x, axis=-1)
    everywhere = np.broadcast_to(unknowns, (x.shape[0], unknowns.size))
    return np.asarray((lab_after(model, pot, everywhere, additions) - target) @ W.T)


def _boxed(J: Floats, r: Floats, x: Floats, caps: Floats, damping: Floats) -> Floats:
    """Return (B, k) minimisers of |r + J (y - x)|^2 + damping |scaled step|^2 with 0 <= y <= caps."""
    H = np.einsum("bic,bid->bcd", J, J)
    diagonal = np.einsum("bcc->bc", H)
    regular = H + (damping[:, None] * diagonal + 1e-12)[..., None] * np.eye(x.shape[1])
    gradient = np.einsum("bic,bi->bc", J, r) - np.einsum("bcd,bd->bc", regular, x)
    y = x.copy()
    for _ in range(SWEEPS):
        for j in range(x.shape[1]):
            others = np.einsum("bd,bd->b", regular[:, j], y) - regular[:, j, j] * y[:, j]
            y[:, j] = np.clip(-(gradient[:, j] + others) / regular[:, j, j], 0.0, caps[:, j])
    return y
