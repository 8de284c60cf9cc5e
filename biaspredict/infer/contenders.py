"""Which components are looked at again, and which of them once more."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.solver import Floats
from biaspredict.infer.components import Scores
from biaspredict.infer.scouts import hopeless_from

CONTENDERS = 300  # components that are refined at most
BEHIND = 20.0  # nats behind the best at which a component no longer counts
FITS = 2.0, 10.0  # misfit to a reading, and beside that, of what explains the readings
FORGIVEN = 1.0  # nats that a first look gives for what it leaves open
# Nats that one more step would still gain, below which it is not taken, and share of the best
# one's weight; beyond so many nats it is taken for how well a fault fits, however unlikely it is.
SETTLED, COUNTS, FIT, FAR = 0.01, 2e-4, 0.3, 1e9


def hopeful(prior: Floats, misfit: Floats, keep: int) -> NDArray[np.int64]:
    """Rows worth more steps, of logarithmic priors and misfits (B,) at a first look.

    That linearises at the middle of the spread; a component whose misfit is far beyond the
    best's there does not come back within a few steps. Misfit, not evidence: a badly placed
    linearisation also misjudges the spread. Of too many the likelier ones: hundreds of faults
    leave the readings as sound, or all but. keep: how many best are in whatever their misfit.
    """
    order = np.argsort(misfit - 2.0 * prior, kind="stable")[:CONTENDERS]
    order = order[np.isfinite(misfit[order])]
    if not order.size:
        return order
    near = misfit[order] < hopeless_from(float(misfit.min()))
    near[: max(keep, 24)] = True
    return np.sort(order[near])


def forgiven(
    found: Scores, prior: Floats, strict: Floats, unseen: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Rows not looked at again that would count only by what a first look leaves open.

    strict: log evidence (B,) without that.
    """
    belief = found.log_evidence + prior
    some = unseen & (found.place >= 0) & (found.log_evidence > strict + FORGIVEN)
    best = belief[~unseen].max(initial=-np.inf)
    rows = np.flatnonzero(some & (belief > best - BEHIND))
    return rows[np.argsort(-belief[rows], kind="stable")][:CONTENDERS]


def within_sight(belief: Floats, found: Scores) -> NDArray[np.bool_]:
    """(B,) what may still count; all of it where nothing explains the readings yet."""
    top = int(np.argmax(belief))
    if not found.misfit[top] < FITS[0] * found.values.shape[1] + FITS[1]:
        return np.ones(len(belief), dtype=bool)
    return np.asarray(belief > belief[top] - BEHIND)


def unsettled(belief: Floats, rows: NDArray[np.int64], gain: Floats) -> NDArray[np.bool_]:
    """Which rows would still gain by one more step what counts (gain (B,) in nats)."""
    more = gain[rows]
    behind = np.minimum(belief[rows] - max(float(belief.max()), -FAR), 0.0)
    share = np.exp(np.minimum(behind + more, 1.0)) - np.exp(behind)
    return np.asarray((more > SETTLED) & ((more > FIT) | (share > COUNTS)))
