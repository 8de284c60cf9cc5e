"""Many systems of equations of one circuit at once: how they are stored and solved.

Numbered places hold the slopes of equation i by unknown j; node 0 is ground, whose equation
and volts are left out. `Dense` takes any wiring; `Sparse` keeps only the places that a circuit's
elements use, and eliminates all variations together in one fixed order, several times as fast.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.laws import Group
from biaspredict.engine.plan import Ints, Plan
from biaspredict.engine.routes import Places, Turns, signs, turns
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import Variation

# Variations of one wiring from which on the sparse form is the faster (the fewer the more nodes
# there are: dense forms take their cube, and a sparse one some time itself), as long as it holds
# no greater share of all slopes than CROWDED.
FEWEST, MOST, PLACES = 4, 150, 240_000
CROWDED = 0.45
ROUNDING = 1e-13  # share of a slope
AMISS = 1e-7  # share of its terms that a balance may be off
WAYS = 16  # that a form keeps of each kind



class Form(Protocol):
    """How the slopes (equations by unknowns) of B variations are laid out: (places, B).

    diagonal: the place of each node's slope by its own volts.
    """

    nodes: int
    places: int
    diagonal: Ints

    def place(self, equation: Ints, unknown: Ints) -> Ints:
        """Numbers of places."""
        ...

    def signs_of(self, groups: Sequence[Group]) -> Floats:
        """See `routes.signs`; kept."""
        ...

    def turns(self, groups: Sequence[Group]) -> Turns:
        """See `routes.turns`; kept."""
        ...

    def whole(self, slopes: Floats) -> Floats:
        """(B, N, N) with all that is not kept; not to be written to."""
        ...

    def solve(self, slopes: Floats, right: Floats) -> Floats:
        """Answers (N, B), not finite where there is none. The slopes may be used up."""
        ...

    def turned(self, slopes: Floats, right: Floats) -> Floats:
        """Answers (N, K, B) of the transposed equations, K right sides of each at once."""
        ...

    def both(self, slopes: Floats, right: Floats) -> tuple[Floats, Floats]:
        """Answers (N, K, B) of the transposed equations, and of the equations themselves."""
        ...

    def signs(self, slopes: Floats, which: Ints) -> Floats:
        """Signs of the determinants of some variations, of slopes that were solved."""
        ...

    def apart(self, here: Floats, there: Floats) -> tuple[Ints, Ints, Ints, Floats]:
        """Equations, unknowns, variations (M,) where slopes differ, and by how much."""
        ...


class Dense:
    """Every slope by every node, solved by LAPACK variation by variation."""

    def __init__(self, nodes: int) -> None:
        self.nodes, self.places = nodes, nodes**2
        self.diagonal: Ints = np.arange(nodes) * (nodes + 1)
        self._ways = Ways(self)

    def place(self, equation: Ints, unknown: Ints) -> Ints:
        return equation * self.nodes + unknown

    def signs_of(self, groups: Sequence[Group]) -> Floats:
        return self._ways.signs_of(groups)

    def turns(self, groups: Sequence[Group]) -> Turns:
        return self._ways.turns(groups)

    def whole(self, slopes: Floats) -> Floats:
        return np.moveaxis(slopes.reshape(self.nodes, self.nodes, -1), 2, 0)

    def solve(self, slopes: Floats, right: Floats) -> Floats:
        answer = np.zeros(right.shape)
        inner = self.whole(slopes)[:, 1:, 1:]
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
        return answers(self.whole(slopes), right, turned=True)

    def both(self, slopes: Floats, right: Floats) -> tuple[Floats, Floats]:
        return self.turned(slopes, right), answers(self.whole(slopes), right, turned=False)

    def signs(self, slopes: Floats, which: Ints) -> Floats:
        return np.asarray(np.linalg.slogdet(self.whole(slopes)[which, 1:, 1:])[0])

    def apart(self, here: Floats, there: Floats) -> tuple[Ints, Ints, Ints, Floats]:
        place, b = np.nonzero(_differ(here, there))
        i, j = np.divmod(place, self.nodes)
        return i, j, b, there[place, b] - here[place, b]


def answers(whole: Floats, right: Floats, *, turned: bool) -> Floats:
    """Answers (N, K, B) of equations (B, N, N) or, turned, of the transposed ones."""
    inner = whole[:, 1:, 1:]
    if turned:
        inner = np.swapaxes(inner, 1, 2)
    answer = np.zeros(right.shape)
    answer[1:] = np.linalg.solve(inner, right[1:].transpose(2, 0, 1)).transpose(1, 2, 0)
    return answer


class Ways:
    """Where rows go in a form, kept for the groups asked for last."""

    def __init__(self, form: Places) -> None:
        self._form = form
        self._signs: dict[object, Floats] = {}
        self._turns: dict[object, Turns] = {}

    def signs_of(self, groups: Sequence[Group]) -> Floats:
        key = tuple((group.ends, group.legs.usual.tobytes()) for group in groups)
        if key not in self._signs:
            _make_room(self._signs)
            self._signs[key] = signs(groups, self._form.nodes)
        return self._signs[key]

    def turns(self, groups: Sequence[Group]) -> Turns:
        key = tuple((group.pairs, group.legs.usual.tobytes()) for group in groups)
        if key not in self._turns:
            _make_room(self._turns)
            self._turns[key] = turns(self._form, groups)
        return self._turns[key]


def _make_room(known: dict[object, Any]) -> None:
    while len(known) >= WAYS:
        known.pop(next(iter(known)))


class Step(NamedTuple):
    """A node to eliminate: its pivot's place, the nodes that it still meets, and the places of
    their slopes by it, of its own by them, and of theirs among each other."""

    node: int
    pivot: int
    others: list[int]
    below: list[int]
    beside: list[int]
    among: list[list[int]]


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
        self.diagonal: Ints = np.diagonal(slot).copy()
        self._ways = Ways(self)
        self.coupled = np.nonzero((slot >= 0) & (slot < count))
        self.steps = [
            Step(
                node, int(slot[node, node]), beyond[node], slot[beyond[node], node].tolist(),
                slot[node, beyond[node]].tolist(),
                slot[np.ix_(beyond[node], beyond[node])].tolist(),
            )
            for node in order
        ]

    def place(self, equation: Ints, unknown: Ints) -> Ints:
        return self.slot[equation, unknown]

    def signs_of(self, groups: Sequence[Group]) -> Floats:
        return self._ways.signs_of(groups)

    def turns(self, groups: Sequence[Group]) -> Turns:
        return self._ways.turns(groups)

    def whole(self, slopes: Floats) -> Floats:
        return self._whole(slopes, np.arange(slopes.shape[1]))

    def _whole(self, slopes: Floats, which: Ints) -> Floats:
        i, j = self.coupled
        full = np.zeros((len(which), self.nodes, self.nodes))
        full[:, i, j] = slopes[self.slot[i, j]][:, which].T
        return full

    def solve(self, slopes: Floats, right: Floats) -> Floats:
        answer = right.copy()
        a, b = list(slopes), list(answer)
        spare = np.empty(slopes.shape[1])
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            for node, middle, others, below, beside, among in self.steps:
                pivot, mine, row = a[middle], b[node], [a[place] for place in beside]
                for other, place, fed in zip(others, below, among, strict=True):
                    share = a[place] / pivot
                    for there, value in zip(fed, row, strict=True):
                        a[there] -= np.multiply(share, value, out=spare)
                    b[other] -= np.multiply(share, mine, out=spare)
            for node, middle, others, _, beside, _ in reversed(self.steps):
                mine = b[node]
                for other, place in zip(others, beside, strict=True):
                    mine -= np.multiply(a[place], b[other], out=spare)
                mine /= a[middle]
        answer[0] = 0.0
        return answer

    def turned(self, slopes: Floats, right: Floats) -> Floats:
        return self._many(slopes, right, (True,))[0]

    def both(self, slopes: Floats, right: Floats) -> tuple[Floats, Floats]:
        turned, plain = self._many(slopes, right, (True, False))
        return turned, plain

    def _many(self, slopes: Floats, right: Floats, ways: Sequence[bool]) -> list[Floats]:
        """Answers (N, K, B) for each way: of the transposed equations or of the equations."""
        a = list(slopes.copy())
        answers = [right.copy() for _ in ways]
        asked = np.any(right != 0.0, axis=2)  # (N, K) sides that are not all zero: at first few
        spare = np.empty(slopes.shape[1]), np.empty(right.shape[1:])
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            for node, middle, others, below, beside, among in self.steps:
                pivot, row = a[middle], [a[place] for place in beside]
                shares = [a[place] / pivot for place in below]
                for share, fed in zip(shares, among, strict=True):
                    for there, value in zip(fed, row, strict=True):
                        a[there] -= np.multiply(share, value, out=spare[0])
                some = np.flatnonzero(asked[node])
                if not some.size:
                    continue
                asked[others] |= asked[node]
                for turned, b in zip(ways, answers, strict=True):
                    mine = b[node, some]
                    parts = [value / pivot for value in row] if turned else shares
                    for other, part in zip(others, parts, strict=True):
                        b[other, some] -= part * mine
            for turned, b in zip(ways, answers, strict=True):
                for node, middle, others, below, beside, _ in reversed(self.steps):
                    mine = b[node]
                    for other, place in zip(others, below if turned else beside, strict=True):
                        mine -= np.multiply(a[place], b[other], out=spare[1])
                    mine /= a[middle]
        for turned, b in zip(ways, answers, strict=True):
            b[0] = 0.0
            self._mended(slopes, right, b, turned)
        return answers

    def _mended(self, slopes: Floats, right: Floats, answer: Floats, turned: bool) -> None:
        """Leave to `Dense` what needed a pivot off the diagonal."""
        with np.errstate(invalid="ignore", over="ignore"):
            off = self._off(slopes, answer.sum(axis=1), right.sum(axis=1), turned)
        amiss = np.flatnonzero(~(off < AMISS))
        if amiss.size:
            full = self._whole(slopes, amiss)
            answer[..., amiss] = answers(full, right[..., amiss], turned=turned)

    def _off(self, slopes: Floats, answer: Floats, right: Floats, turned: bool) -> Floats:
        """(B,) by how much answers (N, B) miss the equations, in shares of the terms."""
        i, j = self.coupled
        equation, unknown = (j, i) if turned else (i, j)
        terms = slopes[self.slot[i, j]] * answer[unknown]
        many = terms.shape[1]
        places = equation[:, None] * many + np.arange(many)
        shape = (self.nodes, many)
        off, size = -right, np.abs(right)
        off += np.bincount(places.ravel(), terms.ravel(), off.size).reshape(shape)
        size += np.bincount(places.ravel(), np.abs(terms).ravel(), size.size).reshape(shape)
        return np.asarray((np.abs(off)[1:] / np.maximum(size[1:].max(axis=0), 1e-300)).max(axis=0))

    def signs(self, slopes: Floats, which: Ints) -> Floats:
        pivots = slopes[self.diagonal[1:, None], which]
        return np.asarray(np.sign(pivots).prod(axis=0))

    def apart(self, here: Floats, there: Floats) -> tuple[Ints, Ints, Ints, Floats]:
        i, j = self.coupled
        slots = self.slot[i, j]
        place, b = np.nonzero(_differ(here[slots], there[slots]))
        at = slots[place], b
        return i[place], j[place], b, there[at] - here[at]


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
    worthwhile = min(max(PLACES // max(plan.size, 1) ** 2, FEWEST), MOST)
    if len(which) < worthwhile:
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
        if len(numbers) >= worthwhile:
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
def dense(nodes: int) -> Dense:
    """The dense form of so many nodes."""
    return Dense(nodes)


@lru_cache(maxsize=32)
def sparse(plan: Plan, foreign: frozenset[tuple[int, int]], spares: int) -> Sparse:
    """The sparse form of a plan with so many spare nodes and pairs that variations couple."""
    return Sparse(plan.pairs | foreign, plan.size + 1 + spares, spares)


def _differ(here: Floats, there: Floats) -> NDArray[np.bool_]:
    """Where slopes differ by more than rounding."""
    return np.asarray(np.abs(there - here) > ROUNDING * np.abs(here))
