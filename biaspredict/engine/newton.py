"""Newton's method on many variations at once; those that have converged leave the batch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.network import Network
from biaspredict.engine.solver import Floats

STEP = 1e-8  # volts, and share of the node's volts, that the last step may have
IMBALANCE = 1e-5  # share of a node's traffic that may be left over before the last step
FAINT = 1e-18  # amps; at nodes without traffic
ROUNDING = 64.0  # times the rounding of one sum
LEAVE = 0.7  # share of variations still active below which the others are dropped
WILD = 1e4  # volts; no step goes further


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
    junction held back, last step below STEP, and the currents of every node balanced before it.
    """
    many = nodes.shape[1]
    active = np.arange(many)
    at = nodes.copy()
    found = nodes.copy()
    solved = np.zeros(many, dtype=bool)
    stable = np.ones(many, dtype=bool)
    moving = np.ones(many, dtype=bool)
    tie, tied = hold, anchor
    inner = slice(1, None)
    for _ in range(rounds):
        leaving, matrix, held = network.balance(at, limit=True)
        if tie is not None and tied is not None:
            leaving += tie * (at - tied)
            matrix[:, range(1, network.nodes), range(1, network.nodes)] += tie[:, None]
        matrix = matrix[:, inner, inner]
        step = np.zeros_like(at)
        step[inner] = steps(matrix, -leaving[inner])
        broken = ~np.isfinite(step).all(axis=0)
        step[:, broken] = 0.0
        small = (np.abs(step) <= STEP * (1.0 + np.abs(at))).all(axis=0)
        done = moving & small & ~held & ~broken
        moving &= ~broken
        if done.any():
            where = np.flatnonzero(done)
            traffic, noise = network.traffic(at, where)
            if tie is not None and tied is not None:
                traffic = traffic + (tie * np.abs(at - tied))[:, where]
            allowed = IMBALANCE * traffic + ROUNDING * noise + FAINT
            done[where] = (np.abs(leaving[:, where]) <= allowed)[inner].all(axis=0)
        at = at + np.clip(step, -WILD, WILD)
        if done.any():
            where = np.flatnonzero(done)
            found[:, active[where]] = at[:, where]
            solved[active[where]] = True
            stable[active[where]] = np.linalg.slogdet(matrix[where])[0] > 0.0
            moving &= ~done
        left = np.count_nonzero(moving)
        if left <= few:
            break
        if left < LEAVE * len(active):
            kept = np.flatnonzero(moving)
            network.keep(kept)
            active, at = active[kept], at[:, kept]
            if tie is not None and tied is not None:
                tie, tied = tie[kept], tied[:, kept]
            moving = np.ones(left, dtype=bool)
    rest = np.flatnonzero(moving)
    found[:, active[rest]] = at[:, rest]
    return Outcome(found, solved, stable)


def steps(matrix: Floats, right: Floats) -> Floats:
    """Solve (B, n, n) matrices for right sides (n, B); columns of NaN where one is singular."""
    try:
        return np.asarray(np.linalg.solve(matrix, right.T[..., None])[..., 0].T)
    except np.linalg.LinAlgError:
        sign, size = np.linalg.slogdet(matrix)
        good = np.flatnonzero((sign != 0.0) & np.isfinite(size))
        answer: Floats = np.full(right.shape, np.nan)
        for i in good:
            try:
                answer[:, i] = np.linalg.solve(matrix[i], right[:, i])
            except np.linalg.LinAlgError:
                continue
        return answer
