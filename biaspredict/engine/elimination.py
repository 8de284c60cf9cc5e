"""Many systems of equations of one circuit at once: how they are stored and solved.

Numbered places hold the slopes of equation i by unknown j; node 0 is ground, whose equation
and volts are left out. `Dense` takes any wiring; `Sparse` keeps only the places that a circuit's
elements use, and eliminates all variations together in one fixed order, several times as fast.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from typing import Protocol

import numpy as np

from biaspredict.engine.plan import Ints, Plan
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import Variation

WORTHWHILE = 150  # variations of one wiring from which on the sparse form is the faster,
CROWDED = 0.45  # as long as it holds no greater share of all slopes than this
AMISS = 1e-7  # share of its terms that a balance of the turned equations may be off


class Form(Protocol):
    """How the slopes (equations by unknowns) of B variations are laid out."""

    nodes: int

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

    def turned(self, slopes: Floats, right: Floats) -> Floats:
        """Answers (N, K, B) of the transposed equations, K right sides of each at once."""
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

    def turned(self, slopes: Floats, right: Floats) -> Floats:
        answer = np.zeros(right.shape)
        inner = np.swapaxes(slopes[:, 1:, 1:], 1, 2)
        answer[1:] = np.linalg.solve(inner, right[1:].transpose(2, 0, 1)).transpose(1, 2, 0)
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
        self.coupled = np.nonzero((slot >= 0) & (slot < count))
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

    def turned(self, slopes: Floats, right: Floats) -> Floats:
        a, b = slopes.copy(), right.copy()
        many = a.shape[1]
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            for node, middle, others, below, beside, among in self.steps:
                share = a[beside] / a[middle]
                a[among] -= (a[below][:, None] * share).reshape(-1, many)
                b[others] -= share[:, None] * b[node]
            for node, middle, others, below, _, _ in reversed(self.steps):
                b[node] -= np.einsum("ob,okb->kb", a[below], b[others])
                b[node] /= a[middle]
            b[0] = 0.0
            amiss = np.flatnonzero(~(self._off(slopes, b.sum(axis=1), right.sum(axis=1)) < AMISS))
        if amiss.size:
            i, j = self.coupled
            full = np.zeros((len(amiss), self.nodes, self.nodes))
            full[:, i, j] = slopes[self.slot[i, j]][:, amiss].T
            b[..., amiss] = Dense(self.nodes).turned(full, right[..., amiss])
        return b

    def _off(self, slopes: Floats, answer: Floats, right: Floats) -> Floats:
        """(B,) by how much answers (N, B) miss the transposed equations, in shares of the terms."""
        i, j = self.coupled
        terms = slopes[self.slot[i, j]] * answer[i]
        many = terms.shape[1]
        places = j[:, None] * many + np.arange(many)
        shape = (self.nodes, many)
        off = sums(places, terms, shape) - right
        size = sums(places, np.abs(terms), shape) + np.abs(right)
        return np.asarray((np.abs(off)[1:] / np.maximum(size[1:].max(axis=0), 1e-300)).max(axis=0))

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


def alike(
    plan: Plan, variations: Sequence[Variation], which: Ints
) -> Iterator[tuple[Form | None, Ints]]:
    """Numbers of the variations that a form suits, those with as many lifted leads together.

    A sparse form costs some time itself: variations that are few, or that couple too many
    nodes, are left to the dense one (None).
    """
    if len(which) < WORTHWHILE:
        yield None, which
        return
    kinds: dict[tuple[bool, int], list[int]] = {}
    foreign: dict[int, set[tuple[int, int]]] = {}
    for i in which:
        variation = variations[i]
        met, lifts = plan.foreign(variation), len(variation.lifts)
        kinds.setdefault((bool(met), lifts), []).append(int(i))
        foreign.setdefault(lifts, set()).update(met)
    rest: list[int] = []
    for (strange, lifts), numbers in sorted(kinds.items()):
        form = None
        if len(numbers) >= WORTHWHILE:
            extra = foreign[lifts] if strange else set()
            form = sparse(plan, frozenset(extra), lifts)
            if form.places > CROWDED * form.nodes**2:
                form = None
        if form is None:
            rest.extend(numbers)
        else:
            yield form, np.array(numbers, dtype=np.int64)
    if rest:
        yield None, np.array(rest, dtype=np.int64)


@lru_cache(maxsize=32)
def sparse(plan: Plan, foreign: frozenset[tuple[int, int]], spares: int) -> Sparse:
    """The sparse form of a plan with so many spare nodes and pairs that variations couple."""
    return Sparse(plan.pairs | foreign, plan.size + 1 + spares, spares)


def sums(places: Ints, weights: Floats, shape: tuple[int, ...]) -> Floats:
    """Weights added up at flat places of an array of `shape`."""
    total = np.bincount(places.ravel(), weights.ravel(), math.prod(shape))
    return np.asarray(total, dtype=np.float64).reshape(shape)
