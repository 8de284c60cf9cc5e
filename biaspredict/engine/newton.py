"""Newton's method on many variations at once; those that have converged leave the batch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.network import Network
from biaspredict.engine.solver import Floats

STEP, SHARE = 1e-8, 1e-9  # volts, and share of the node's volts, that the last step may have
NEARLY = 1e-5  # volts that it may have where nothing but rounding is left over
IMBALANCE = 1e-6  # share of a node's traffic that may be left over before the last step
FAINT = 1e-18  # amps; at nodes without traffic
ROUNDING = 64.0 * float(np.finfo(float).eps)  # share of what cancels at a node
WILD = 1e9  # volts; a step that leads there leads nowhere
LEAVE = 0.85  # share of variations still active below which the others are dropped


@dataclass(frozen=True, slots=True)
class Outcome:
    """nodes: (N, B), ground first; solved: (B,); stable: (B,) False at the unstable point of
    a circuit with two states (negative determinant of the slopes)."""

    nodes: Floats
    solved: NDArray[np.bool_]
    stable: NDArray[np.bool_]


def newton(
    network: Network,
    nodes: Floats,
    rounds: int,
    *,
    few: int = 0,
    hold: Floats | None = None,
    anchor: Floats | None = None,
) -> Outcome:
    """Solve all variations of `network` from node volts (N, B); the network is used up.

    few: as soon as no more than so many are left, they are left as they stand.
    hold: (B,) siemens that tie each node to its volts in `anchor` (N, B). Solved means: no
    junction held back, last step below STEP, and the currents of every node balanced before it;
    or a step below NEARLY, and the currents balanced to the last digit.
    """
    many = nodes.shape[1]
    active = np.arange(many)
    at = nodes.copy()
    found = nodes.copy()
    solved = np.zeros(many, dtype=bool)
    stable = np.ones(many, dtype=bool)
    moving = np.ones(many, dtype=bool)
    tie, tied = hold, anchor
    form = network.form
    for _ in range(rounds):
        leaving, slopes, held = network.balance(at, limit=True)
        if tie is not None and tied is not None:
            leaving += tie * (at - tied)
            slopes[form.diagonal[1:]] += tie
        own = slopes[form.diagonal]
        step = form.solve(slopes, leaving)
        np.negative(step, out=step)
        size = np.abs(step)
        largest = size.max(axis=0)
        broken = ~(largest < WILD)
        step[:, broken] = 0.0
        done = moving & (largest <= NEARLY) & ~held
        moving &= ~broken
        if done.any():
            where = np.flatnonzero(done)
            traffic = network.traffic(where)
            if tie is not None and tied is not None:
                traffic += (tie * np.abs(at - tied))[:, where]
            # Currents cancel that are as large as a node's conductance times its volts.
            noise = own[:, where] * np.abs(at[:, where]).max(axis=0)
            small = (size[:, where] <= STEP + SHARE * np.abs(at[:, where])).all(axis=0)
            share = np.where(small, IMBALANCE, 0.0)
            allowed = share * traffic + ROUNDING * noise + FAINT
            done[where] = (np.abs(leaving[:, where]) <= allowed)[1:].all(axis=0)
        at += step
        if done.any():
            where = np.flatnonzero(done)
            found[:, active[where]] = at[:, where]
            solved[active[where]] = True
            stable[active[where]] = form.signs(slopes, where) > 0.0
            moving &= ~done
        left = np.count_nonzero(moving)
        if left <= few:
            break
        if left < LEAVE * len(active):
            kept = np.flatnonzero(moving)
            network.keep(kept)
            active, at = active[kept], at.take(kept, axis=1)
            if tie is not None and tied is not None:
                tie, tied = tie[kept], tied.take(kept, axis=1)
            moving = np.ones(left, dtype=bool)
    rest = np.flatnonzero(moving)
    found[:, active[rest]] = at[:, rest]
    return Outcome(found, solved, stable)
