"""Capacitors of the linear stage: what each sees, and how the stage moves after a step.

Works on the conductances of a solved point (`signals.conductance`). Coils are their ohms.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import Circuit, Device
from biaspredict.model.stage import GROUND

Complexes = NDArray[np.complex128]
EARTH = -1
FASTEST = 1e-13  # of the slowest time constant; below, rounding is all there is


@dataclass(frozen=True, slots=True)
class Store:
    """A capacitor between two columns of the conductances (-1: ground)."""

    name: str
    a: int
    b: int
    farads: float
    series: float


def stores(circuit: Circuit) -> tuple[Store, ...]:
    """Every capacitor of the circuit that has any capacitance, in its order."""
    column = {node: i for i, node in enumerate(circuit.nodes)} | {GROUND: EARTH}
    return tuple(
        Store(e.name, column[e.nodes[0]], column[e.nodes[1]], e.value("farads"), e.value("series"))
        for e in circuit.elements
        if e.device is Device.CAPACITOR and e.value("farads") > 0.0
    )


def ohms_seen(matrix: Floats, store: Store, shorted: Iterable[Store]) -> float | None:
    """Resistance between the ends of a capacitor, its own series resistance included.

    matrix (n, n): conductances; `shorted`: the capacitors taken as wire. None where these join
    the two ends, so that nothing is left to be seen.
    """
    joined, place = _joined(len(matrix), [(s.a, s.b) for s in shorted])
    a, b = place[store.a], place[store.b]
    if a == b:
        return None
    across = np.zeros(joined.shape[1])
    _put(across, a, b)
    reduced = joined.T @ matrix @ joined
    return float(across @ np.linalg.solve(reduced, across)) + store.series


def impedance_seen(
    matrix: Floats, store: Store, others: Iterable[Store], hertz: float
) -> complex:
    """Impedance between the ends of a capacitor at `hertz`, the others as they are."""
    size = len(matrix)
    admittance = matrix.astype(complex)
    speed = 2j * math.pi * hertz
    for other in others:
        ends = np.zeros(size)
        _put(ends, other.a, other.b)
        one = speed * other.farads / (1.0 + speed * other.farads * other.series)
        admittance += one * np.outer(ends, ends)
    across = np.zeros(size)
    _put(across, store.a, store.b)
    return complex(across @ np.linalg.solve(admittance, across)) + store.series


def level_gain(
    matrix: Floats, drive: Floats, column: int, shorted: Iterable[Store]
) -> float:
    """Volts at `column` for currents `drive` (n,) fed in; capacitors `shorted` or else open."""
    joined, place = _joined(len(matrix), [(s.a, s.b) for s in shorted])
    if place[column] == EARTH:
        return 0.0
    answer = np.linalg.solve(joined.T @ matrix @ joined, joined.T @ drive)
    return float(answer[place[column]])


def _put(vector: Floats, a: int, b: int) -> None:
    if a != EARTH:
        vector[a] += 1.0
    if b != EARTH:
        vector[b] -= 1.0


def _joined(size: int, pairs: Sequence[tuple[int, int]]) -> tuple[Floats, dict[int, int]]:
    """Columns (size, fewer) that add up joined nodes, and where each node went (-1: ground)."""
    root = {node: node for node in range(EARTH, size)}

    def top(node: int) -> int:
        while root[node] != node:
            node = root[node]
        return node

    for a, b in pairs:
        low, high = sorted((top(a), top(b)))
        root[high] = low
    kept = sorted({top(node) for node in range(size)} - {EARTH})
    column = {node: i for i, node in enumerate(kept)} | {EARTH: EARTH}
    place = {node: column[top(node)] for node in root}
    matrix = np.zeros((size, len(kept)))
    for node in range(size):
        if place[node] != EARTH:
            matrix[node, place[node]] = 1.0
    return matrix, place


class Motion:
    """How the linear stage moves with its capacitors, as a sum of modes that die away.

    x (m,): capacitor volts; M x' = x_final - x with M = (A' G^-1 A + series) C, where A joins
    capacitors to nodes. seconds (m,): eigenvalues of M, slowest first; complex where a mode
    rings, negative where it grows. Modes too fast to be told from rounding are left out.
    """

    def __init__(self, matrix: Floats, some: Sequence[Store]) -> None:
        size = len(matrix)
        self.inverse: Floats = np.asarray(np.linalg.inv(matrix))
        ends = np.zeros((size, len(some)))
        for k, store in enumerate(some):
            _put(ends[:, k], store.a, store.b)
        farads = np.array([s.farads for s in some])
        series = np.diag([s.series for s in some]) if some else np.zeros((0, 0))
        root: Floats = np.sqrt(farads)
        self.ends: Floats = ends
        self.reach: Floats = np.asarray(self.inverse @ ends)
        # Scaled by the root of each capacitance, so that small ones are not lost beside large.
        scaled = root[:, None] * (ends.T @ self.reach + series) * root[None, :]
        seconds, vectors = np.linalg.eig(scaled)
        order = np.argsort(-np.abs(seconds))
        slowest = np.abs(seconds).max(initial=0.0)
        self._keep = np.array(
            [k for k in order if np.abs(seconds[k]) > FASTEST * slowest], dtype=np.int64
        )
        self.seconds: Complexes = seconds.astype(complex)[self._keep]
        # Charge in each capacitor, and volts from charge, for one unit of each mode.
        self._charge: Complexes = (root[:, None] * vectors)[:, self._keep].astype(complex)
        self._share: Complexes = (
            np.linalg.inv(vectors) * root[None, :] if some else np.zeros((0, 0))
        ).astype(complex)[self._keep]

    @property
    def grows(self) -> bool:
        """Whether some mode grows: the stage cannot rest at this point."""
        sure = np.abs(self.seconds) > 1e-9 * np.abs(self.seconds).max(initial=0.0)
        return bool((self.seconds.real[sure] < 0.0).any())

    def modes(self, start: Floats) -> Complexes:
        """(n, m) node volts of each mode at time 0, capacitors being `start` (m,) volts off."""
        amounts = self._share @ start
        result: Complexes = (self.reach @ self._charge) * (amounts / self.seconds)[None, :]
        return result

    def tops(self, drive: Floats, column: int, hertz: float) -> tuple[float, float]:
        """Volts at `column` just after, and just before, the steps of an endless square wave.

        drive: (n,) currents fed in, turning their sign at twice `hertz`.
        """
        at_once = float((self.inverse @ drive)[column])
        towards = self._share @ (self.ends.T @ (self.inverse @ drive))
        weight = (self.reach @ self._charge)[column] * towards / self.seconds
        faded = np.exp(-0.5 / hertz / self.seconds)
        first = at_once - (weight * 2.0 / (1.0 + faded)).sum()
        last = at_once - (weight * 2.0 * faded / (1.0 + faded)).sum()
        return float(first.real), float(last.real)
