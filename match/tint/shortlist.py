"""Which of many toners are worth searching through: sets of three out of sixty are too many to try them all.

By first order the missing colour is a non-negative combination of the toners' effects, and at most three of them make
it (Caratheodory). Those of the best combination come first, then those of the best without them, and so on: each round
holds other ways to the same colour, among which the full search then decides.
"""

from dataclasses import replace

import numpy as np
from scipy.optimize import nnls

from match.colorimetry import Array, metric_root
from match.tint.paint import base_paint, tint_model
from match.tint.search import Aim
from match.tint.tinting import TintJob

MOST_TRIED = 16
"""Engineering choice: 696 sets of up to three, a tenth of a second; sixty toners would make 36,050."""

PROBE = 1e-3  # share by weight at which a toner's effect is taken
RIDGE = 0.1  # CIEDE2000 for each use of a toner as large as the missing colour: ties go to fewer, better aimed toners


def short_shelf(job: TintJob) -> TintJob:
    """Return a job whose formula is not known with the toners that are worth trying; as it is where they are few.

    What the pot holds stays, and so do the toners that the paint's spectrum is guessed from: the guess is a
    non-negative least-squares fit, the same over every set of toners that holds those it uses.
    """
    if len(job.shelf) <= MOST_TRIED:
        return job
    start = job.log.start.lab
    base = base_paint(start, job.shelf, job.optics)
    model, pots = tint_model(base, job.shelf, job.optics), job.log.pots()
    kept = {*base.formula, *(name for pot in pots for name in pot.parts_of_base)}
    unknowns = np.concatenate([start, np.zeros(4 * len(model.names))])
    aim = Aim(model, pots[-1], unknowns, job.vehicle_lab, metric_root(job.vehicle_lab))
    allowed = tuple(job.shelf) if job.allowed is None else job.allowed
    tried = {*worth_trying(aim, [name for name in allowed if name in job.shelf]), *kept}
    return replace(
        job,
        shelf={name: toner for name, toner in job.shelf.items() if name in tried},
        allowed=tuple(name for name in allowed if name in tried),
    )


def worth_trying(aim: Aim, names: list[str]) -> list[str]:
    """Return at most :data:`MOST_TRIED` of the toners ``names``, the most promising first."""
    missing, effects = _first_order(aim, [aim.model.names.index(name) for name in names])
    taken: list[int] = []
    while len(taken) < min(MOST_TRIED, len(names)):
        left = [i for i in range(len(names)) if i not in taken]
        taken += [left[i] for i in _combination(missing, effects[left])][: MOST_TRIED - len(taken)]
    return [names[i] for i in taken]


def _first_order(aim: Aim, columns: list[int]) -> tuple[Array, Array]:
    """Return the missing colour (3,) and each toner's effect (m, 3), scaled to the missing colour's length."""
    members = np.array(columns)[:, None]
    now = aim.residual(members[:1], np.zeros((1, 1)))[0]
    effects = aim.residual(members, np.full((len(columns), 1), PROBE)) - now
    length = np.maximum(np.linalg.norm(effects, axis=1, keepdims=True), 1e-12)
    return -now, np.linalg.norm(now) * effects / length


def _combination(missing: Array, effects: Array) -> list[int]:
    """Return which effects (m, 3) make the missing colour, most used first; the best aimed one where none helps."""
    A = np.vstack([effects.T, RIDGE * np.ones((1, len(effects)))])
    amounts, _ = nnls(A, np.append(missing, 0.0))
    used = np.flatnonzero(amounts > 0)
    if used.size == 0:
        return [int(np.argmax(effects @ missing))]
    return [int(i) for i in used[np.argsort(-amounts[used])]]
