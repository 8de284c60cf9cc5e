"""Many systems of equations of one circuit at once: how they are stored and solved.

Numbered places hold the slopes of equation i by unknown j; node 0 is ground, whose equation
and volts are left out. `Dense` takes any wiring; `Sparse` keeps only the places that a circuit's
elements use, and eliminates all variations together in one fixed order, several times as fast.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import lru_cache
from typing import Protocol

import numpy as np

from biaspredict.engine.plan import Ints, Plan
from biaspredict.engine.solver import Floats


class Form(Protocol):
    """How the slopes (equations by unknowns) of B variations are laid out."""

    def place(self, equation: Ints, unknown: Ints) -> Ints:
        """Numbers of places, -1 where this form has none."""
        ...

    def flat(self, places: Ints, many: int) -> Ints:
        """Positions (M, B) of places (M, 1 or B) in the laid out array."""
        ...

    def sums(self, flat: Ints, weights: Floats, many: int) -> Floats:
        """Slopes: weights (M, B) added up at their positions."""
        ...

    def keep(self, slopes: Floats, kept: Ints) -> Floats:
        """The slopes of the kept variations."""
        ...

    def diagonal(self, slopes: Floats) -> Floats:
        """(N, B) slope of each node by its own volts."""
        ...

    def tie(self, slopes: Floats, more: Floats) -> None:
        """Add (B,) siemens to every diagonal place but ground's."""
        ...

    def solve(self, slopes: Floats, right: Floats) -> Floats:
        """Answers (N, B), not finite where there is none. The slopes may be used up."""
        ...

    def signs(self, slopes: Floats, which: Ints) -> Floats:
        """Signs of the determinants of some variations, of slopes that were solved."""
        ...


class Dense:
    """Slopes (B, N, N), solved by LAPACK one by one."""

    def __init__(self, nodes: int) -> None:
        self.nodes = nodes

    def place(self, equation: Ints, unknown: Ints) -> Ints:
        return equation * self.nodes + unknown

    def flat(self, places: Ints, many: int) -> Ints:
        return places + np.arange(many) * self.nodes**2

    def sums(self, flat: Ints, weights: Floats, many: int) -> Floats:
        return sums(flat, weights, (many, self.nodes, self.nodes))

    def keep(self, slopes: Floats, kept: Ints) -> Floats:
        return slopes[kept]

    def diagonal(self, slopes: Floats) -> Floats:
        every = range(self.nodes)
        return slopes[:, every, every].T

    def tie(self, slopes: Floats, more: Floats) -> None:
        every = range(1, self.nodes)
        slopes[:, every, every] += more[:, None]

    def solve(self, slopes: Floats, right: Floats) -> Floats:
        answer = np.zeros(right.shape)
        inner = slopes[:, 1:, 1:]
        try:
            answer[1:] = np.linalg.solve(inner, right[1:].T[..., None])[..., 0].T
        except np.linalg.LinAlgError:
            for i, matrix in enumerate(inner):
                try:
                    answer[1:, i] = np.linalg.solve(matrix, right[1:, i])
                except np.linalg.LinAlgError:
                    answer[1:, i] = np.nan
        return answer

    def signs(self, slopes: Floats, which: Ints) -> Floats:
        return np.asarray(np.linalg.slogdet(slopes[which, 1:, 1:])[0])


class Sparse:
    """Slopes (places, B): those of `pairs` of nodes, what elimination fills in, and, for
    spare nodes (the last ones), any. The last place is ground's and takes what is not used.

    The order is that of least degree (Tinney's scheme 2), pivots on the diagonal: current
    balances of nodes allow it. Where a pivot vanishes the answer is not finite or fails the
    caller's check of balance; such a variation is left to `Dense`.
    """

    def __init__(self, pairs: Iterable[tuple[int, int]], nodes: int, spares: int) -> None:
        self.nodes = nodes
        order, beyond = _order(pairs, nodes - spares, nodes)
        slot = np.full((nodes, nodes), -1, dtype=np.int64)
        count = 0
        for node in order:
            for i, j in [(node, node), *((node, j) for j in beyond[node])]:
                slot[i, j] = count
                slot[j, i] = count if i == j else count + 1
                count += 1 if i == j else 2
        slot[0, :] = slot[:, 0] = count
        self.slot, self.places = slot, count + 1
        self.steps = [
            (
                node,
                int(slot[node, node]),
                beyond[node],
                slot[beyond[node], node],
                slot[node, beyond[node]],
                slot[np.ix_(beyond[node], beyond[node])].ravel(),
            )
            for node in order
        ]

    def place(self, equation: Ints, unknown: Ints) -> Ints:
        return self.slot[equation, unknown]

    def flat(self, places: Ints, many: int) -> Ints:
        return places * many + np.arange(many)

    def sums(self, flat: Ints, weights: Floats, many: int) -> Floats:
        return sums(flat, weights, (self.places, many))

    def keep(self, slopes: Floats, kept: Ints) -> Floats:
        return slopes[:, kept]

    def diagonal(self, slopes: Floats) -> Floats:
        every = np.arange(self.nodes)
        return slopes[self.slot[every, every]]

    def tie(self, slopes: Floats, more: Floats) -> None:
        every = np.arange(1, self.nodes)
        slopes[self.slot[every, every]] += more

    def solve(self, slopes: Floats, right: Floats) -> Floats:
        a, b = slopes, right.copy()
        many = a.shape[1]
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            for node, middle, others, below, beside, among in self.steps:
                share = a[below]
                share /= a[middle]
                row = a[beside]
                a[among] -= (share[:, None] * row).reshape(-1, many)
                b[others] -= share * b[node]
            for node, middle, others, _, beside, _ in reversed(self.steps):
                b[node] -= (a[beside] * b[others]).sum(axis=0)
                b[node] /= a[middle]
        b[0] = 0.0
        return b

    def signs(self, slopes: Floats, which: Ints) -> Floats:
        every = np.arange(1, self.nodes)
        pivots = slopes[self.slot[every, every][:, None], which]
        return np.asarray(np.sign(pivots).prod(axis=0))


def _order(
    pairs: Iterable[tuple[int, int]], own: int, nodes: int
) -> tuple[list[int], dict[int, list[int]]]:
    """Nodes 1 to nodes - 1 in order of elimination, and those that each still meets then.

    Nodes from `own` on meet every other and come last.
    """
    meets: dict[int, set[int]] = {i: set(range(own, nodes)) - {i} for i in range(1, nodes)}
    for spare in range(own, nodes):
        meets[spare] |= set(range(1, nodes)) - {spare}
    for i, j in pairs:
        if i and j and i != j:
            meets[i].add(j)
            meets[j].add(i)
    order: list[int] = []
    beyond: dict[int, list[int]] = {}
    while meets:
        node = min(meets, key=lambda i: (i >= own, len(meets[i]), i))
        others = meets.pop(node)
        for i in others:
            meets[i] |= others
            meets[i] -= {i, node}
        order.append(node)
        beyond[node] = sorted(others)
    return order, beyond


@lru_cache(maxsize=32)
def sparse(plan: Plan, foreign: frozenset[tuple[int, int]], spares: int) -> Sparse:
    """The sparse form of a plan with so many spare nodes and pairs that variations couple."""
    return Sparse(plan.pairs | foreign, plan.size + 1 + spares, spares)


def sums(places: Ints, weights: Floats, shape: tuple[int, ...]) -> Floats:
    """Weights added up at flat places of an array of `shape`."""
    total = np.bincount(places.ravel(), weights.ravel(), math.prod(shape))
    return np.asarray(total, dtype=np.float64).reshape(shape)
