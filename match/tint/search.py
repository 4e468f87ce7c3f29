"""The best additions of one, two or three toners: never negative, within the limits.

The squared weighted difference |W (lab - target)|^2 is minimised for every subset at once by Gauss-Newton steps, each a
small box-constrained least-squares problem solved by coordinate descent. W makes a length in CIELAB a small CIEDE2000
(see :func:`match.colorimetry.metric_root`): smooth, where CIEDE2000 itself jumps at opposite hues.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from match.colorimetry import Array
from match.tint.learn import predicted_lab
from match.tint.paint import TintModel
from match.tint.pot import Pot

Columns = NDArray[np.int64]

UNTINTED = "untinted paint"
NEWTON_STEPS = 10
SWEEPS = 25
ENOUGH = 1e-6  # squared CIEDE2000, and share of it, that no step need gain
STILL = 1e-9  # share by weight by which coordinate descent may still move
MOST_DAMPING = 1e3
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
    caps: Array
    total_cap: float


@dataclass(frozen=True, eq=False)
class Aim:
    """What is to be brought where.

    Attributes
    ----------
    model : untinted paint and toners
    pot : the paint as it stands
    unknowns : (3 + 4n,) most probable start colour and toner responses
    target_lab : (3,) the vehicle
    W : (3, 3) from :func:`match.colorimetry.metric_root`
    """

    model: TintModel
    pot: Pot
    unknowns: Array
    target_lab: Array
    W: Array

    def residual(self, columns: Columns, x: Array) -> Array:
        """Return (B, 3) W (lab - target) after amounts ``x`` (B, k) of the toners ``columns`` (B, k)."""
        additions = self.additions(columns, x)
        everywhere = np.broadcast_to(self.unknowns, (x.shape[0], self.unknowns.size))
        return np.asarray((lab_after(self.model, self.pot, everywhere, additions) - self.target_lab) @ self.W.T)

    def additions(self, columns: Columns, x: Array) -> Array:
        """Return (B, n + 1) additions with ``x`` in its columns and zero elsewhere."""
        additions = np.zeros((x.shape[0], len(self.model.names) + 1))
        np.put_along_axis(additions, columns, x, axis=-1)
        return additions


@dataclass(frozen=True, eq=False)
class Candidate:
    """One subset with its best amounts.

    Attributes
    ----------
    additions : (n + 1,) grams per gram of paint in the pot; the last is untinted paint
    weighted_difference : predicted |W (lab - target)| that remains
    """

    additions: Array
    weighted_difference: float

    @property
    def used(self) -> tuple[int, ...]:
        """Return the columns with an amount above zero."""
        return tuple(int(i) for i in np.flatnonzero(self.additions))


def parts_after(model: TintModel, pot: Pot, additions: Array) -> Array:
    """Return (..., n) toner parts of base after adding ``additions`` (..., n + 1) per gram of paint in ``pot``."""
    toners = pot.base_share * model.parts(pot.parts_of_base)
    return np.asarray((toners + additions[..., :-1]) / (pot.base_share + additions[..., -1:]))


def lab_after(model: TintModel, pot: Pot, unknowns: Array, additions: Array) -> Array:
    """Return (..., 3) predicted card CIELAB after ``additions`` for ``unknowns`` (..., 3 + 4n)."""
    return predicted_lab(model, unknowns, parts_after(model, pot, additions))


def search(aim: Aim, choices: Choices, most: int) -> list[Candidate]:
    """Return the best amounts for every subset of up to ``most`` choices, closest first, duplicates left out."""
    found: dict[tuple[int, ...], Candidate] = {}
    for size in range(1, min(most, len(choices.columns)) + 1):
        members = np.array(list(combinations(range(len(choices.columns)), size)))
        for candidate in _polished(aim, choices, members):
            known = found.get(candidate.used)
            if candidate.used and (known is None or candidate.weighted_difference < known.weighted_difference):
                found[candidate.used] = candidate
    return sorted(found.values(), key=lambda candidate: candidate.weighted_difference)


def _polished(aim: Aim, choices: Choices, members: Columns) -> list[Candidate]:
    """Gauss-Newton for B subsets of equal size k at once; ``members`` (B, k) are positions in the choices.

    A step that does not help is taken back and damped (Levenberg); a subset leaves once no step gains anything.
    """
    columns, caps = np.array(choices.columns)[members], choices.caps[members]
    toner = columns < len(aim.model.names)
    x = np.zeros(members.shape)
    damping = np.full(members.shape[0], DAMPING)
    r = aim.residual(columns, x)
    live = np.arange(members.shape[0])
    for _ in range(NEWTON_STEPS):
        trial = _boxed(_slopes(aim, columns[live], x[live], r[live]), r[live], x[live], caps[live], damping[live])
        total = np.sum(trial * toner[live], axis=-1)
        shrink = np.minimum(1.0, choices.total_cap / np.maximum(total, STILL))
        trial = trial * np.where(toner[live], shrink[:, None], 1.0)
        r_trial = aim.residual(columns[live], trial)
        loss, loss_trial = np.sum(r[live] ** 2, axis=-1), np.sum(r_trial**2, axis=-1)
        better = loss_trial < loss
        x[live] = np.where(better[:, None], trial, x[live])
        r[live] = np.where(better[:, None], r_trial, r[live])
        damping[live] *= np.where(better, 0.1, 10.0)
        live = live[(np.abs(loss - loss_trial) > ENOUGH) & (loss > ENOUGH) & (damping[live] < MOST_DAMPING)]
        if live.size == 0:
            break
    additions, left = aim.additions(columns, x), np.linalg.norm(r, axis=-1)
    return [Candidate(additions[b], float(left[b])) for b in range(members.shape[0])]


def _slopes(aim: Aim, columns: Columns, x: Array, r: Array) -> Array:
    """Return (B, 3, k) derivative of the residual by the amounts."""
    steps = DIFFERENCE * np.eye(x.shape[1])
    return np.stack([(aim.residual(columns, x + step) - r) / DIFFERENCE for step in steps], axis=-1)


def _boxed(J: Array, r: Array, x: Array, caps: Array, damping: Array) -> Array:
    """Return (B, k) minimisers of |r + J (y - x)|^2 + damping |scaled step|^2 with 0 <= y <= caps."""
    H = np.einsum("bic,bid->bcd", J, J)
    diagonal = np.einsum("bcc->bc", H)
    regular = H + (damping[:, None] * diagonal + 1e-12)[..., None] * np.eye(x.shape[1])
    gradient = np.einsum("bic,bi->bc", J, r) - np.einsum("bcd,bd->bc", regular, x)
    y = x.copy()
    for _ in range(SWEEPS):
        before = y.copy()
        for j in range(x.shape[1]):
            others = np.einsum("bd,bd->b", regular[:, j], y) - regular[:, j, j] * y[:, j]
            y[:, j] = np.clip(-(gradient[:, j] + others) / regular[:, j, j], 0.0, caps[:, j])
        if np.abs(y - before).max() < STILL:
            break
    return y
