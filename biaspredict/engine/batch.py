"""The batched engine: thousands of variations of one circuit at once, numpy only."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.detours import through_time
from biaspredict.engine.elimination import Form, alike
from biaspredict.engine.network import Network
from biaspredict.engine.newton import Outcome, newton
from biaspredict.engine.plan import Ints, Lot, Plan, lot, plan_of, sensible
from biaspredict.engine.solver import Floats, Solutions
from biaspredict.engine.values import IDLE_ZENER, MARGIN
from biaspredict.model.circuit import FIELDS, SOUND, Axis, Circuit, Device, Variation

ZENER_VOLTS = FIELDS[Device.JUNCTION].index("zener_volts")
CACHE, SMALLEST, LARGEST = 2e6, 64, 1024  # bytes of matrices, variations in one chunk
FEW = 16  # a chunk goes on until so small a part of it is left
ROUNDS = 20  # of Newton from the sound circuit, twice as many more for the slow ones,
AFRESH = 40  # and from switch-on, before a variation takes a detour
# Bytes. glibc gives back to the kernel what is freed beyond twice the largest piece it has seen
# freed so far, and takes it back zeroed, page by page: at every step a sixth of the time.
ROOM = 31 * 2**20
KEPT = 8  # circuits whose numbering and sound solution are kept


class Batch:
    """Solver by Newton's method on whole batches; see `solver.Solver`.

    The equations are those given to ngspice. A variation starts at the sound circuit's volts.
    """

    def __init__(self) -> None:
        np.empty(ROOM, dtype=np.uint8)  # freed at once: see ROOM
        self._known: dict[Circuit, tuple[Plan, Floats | None]] = {}

    def solve(
        self,
        circuit: Circuit,
        variations: Sequence[Variation],
        axes: Sequence[Axis] = (),
        amounts: Floats | None = None,
        *,
        start: Floats | None = None,
    ) -> Solutions:
        """As `solver.Solver.solve`. start: (B, n + spares) volts to begin at, NaN where unknown.

        Raises KeyError for a parameter, lead or node that the circuit does not have.
        """
        plan, sound = self._plan(circuit)
        task = _Task(plan, sound, variations, axes, amounts, start)
        left = np.arange(len(variations))
        # The slow ones of all chunks share their last rounds, then their detours.
        for again in (False, True):
            ways = [
                (partial(task.newton, form=form, again=again), some)
                for form, alike in alike(plan, variations, left)
                for some in _chunks(alike, LARGEST if form else _chunk(plan))
            ]
            left = _left(way(which) for way, which in ways)
        for way in (task.afresh, task.settle, task.settle_from_nothing):
            left = _left(way(which) for which in _chunks(left, _chunk(plan)))
        return Solutions(task.volts, task.solved)

    def _plan(self, circuit: Circuit) -> tuple[Plan, Floats | None]:
        known = self._known.get(circuit)
        if known is None:
            plan = plan_of(circuit)
            while len(self._known) >= KEPT:
                self._known.pop(next(iter(self._known)))
            known = self._known[circuit] = (plan, _sound(plan))
        return known


class _Task:
    """One call's variations, where each stands, and the ways to bring it to its solution.

    volts, solved: as Solutions, filled as solutions come in. Every way takes the numbers of
    some variations and gives back those that it did not solve.
    """

    def __init__(
        self,
        plan: Plan,
        sound: Floats | None,
        variations: Sequence[Variation],
        axes: Sequence[Axis],
        amounts: Floats | None,
        start: Floats | None,
    ) -> None:
        self.plan, self.sound, self.variations, self.axes = plan, sound, variations, axes
        self.amounts = None if amounts is None else np.asarray(amounts, dtype=float)
        self.start = start
        self.spares = max((len(v.lifts) for v in variations), default=0)
        self.volts = np.full((len(variations), plan.size + self.spares), np.nan)
        self.solved = np.zeros(len(variations), dtype=bool)
        self.reached = np.zeros((len(variations), plan.size + 1 + self.spares))

    def _lot(self, which: Ints) -> Lot:
        return lot(self.plan, [self.variations[i] for i in which], self.axes, self._along(which))

    def _along(self, which: Ints) -> Floats | None:
        return None if self.amounts is None else self.amounts[which]

    def _begin(self, made: Lot) -> Floats:
        """Node volts (N, B) of the sound circuit; a lifted lead begins at its node's volts."""
        plan = self.plan
        nodes = np.zeros((plan.size + 1 + made.spares, made.many))
        if self.sound is not None:
            nodes[: plan.size + 1] = self.sound[:, None]
        columns = np.arange(made.many)
        for k in range(made.spares):
            there = np.isfinite(made.lift_ohms[k])
            nodes[plan.size + 1 + k] = np.where(there, nodes[made.lift_node[k], columns], 0.0)
        return nodes

    def _keep(self, which: Ints, made: Lot, got: Outcome) -> Ints:
        """Write down what counts as solved: stable, and between the rails.

        A stable point beyond the rails is final where a black box drives its current there.
        """
        found = got.solved & got.stable
        inside = _inside(self.plan, made, got.nodes)
        believed = found & inside
        mine = which[believed]
        self.solved[mine] = True
        answer = got.nodes[1:, believed]
        answer[self.plan.size :][~np.isfinite(made.lift_ohms[:, believed])] = np.nan
        self.volts[mine, : len(answer)] = answer.T
        self.reached[which, : len(got.nodes)] = got.nodes.T
        return which[~believed & ~(found & _driven(self.plan, made))]

    def newton(self, which: Ints, form: Form | None, again: bool) -> Ints:
        """Newton from the sound circuit's volts or the given start, until few are left; or
        `again`, from where each stands."""
        made = self._lot(which)
        good = np.flatnonzero(sensible(self.plan, made))
        if len(good) < len(which):
            made, which = made.part(good), which[good]
        if not len(which):
            return which
        nodes = self._begin(made)
        few = 0
        if again:
            nodes = self.reached[which, : len(nodes)].T
        else:
            few = len(which) // FEW if len(self.variations) > len(which) else 0
            if self.start is not None:
                given = self.start[which, : len(nodes) - 1].T
                end = 1 + len(given)
                nodes[1:end] = np.where(np.isfinite(given), given, nodes[1:end])
        network = Network(self.plan, made, form)
        if again or self.sound is not None or self.start is not None:
            network.start(nodes, bold=not again)
        rounds = 2 * ROUNDS if again else ROUNDS
        return self._keep(which, made, newton(network, nodes, rounds, few=few))

    def afresh(self, which: Ints) -> Ints:
        """Newton from switch-on."""
        if not len(which):
            return which
        made = self._lot(which)
        nodes = np.zeros((self.plan.size + 1 + made.spares, made.many))
        return self._keep(which, made, newton(Network(self.plan, made), nodes, AFRESH))

    def settle(self, which: Ints) -> Ints:
        """Through pretended time from the sound circuit's volts."""
        made = self._lot(which)
        return self._keep(which, made, through_time(self.plan, made, self._begin(made)))

    def settle_from_nothing(self, which: Ints) -> Ints:
        """Through pretended time from switch-on."""
        made = self._lot(which)
        nothing = np.zeros((self.plan.size + 1 + made.spares, made.many))
        return self._keep(which, made, through_time(self.plan, made, nothing))


def _chunk(plan: Plan) -> int:
    """Variations whose dense matrices stay near the processor."""
    return int(min(max(CACHE / (8 * (plan.size + 2) ** 2), SMALLEST), LARGEST))


def _chunks(which: Ints, size: int) -> list[Ints]:
    return [which[first : first + size] for first in range(0, len(which), size)]


def _left(parts: Iterable[Ints]) -> Ints:
    return np.concatenate((*parts, np.empty(0, dtype=np.int64)))


def _sound(plan: Plan) -> Floats | None:
    """Node volts (n + 1,) of the circuit as it stands; None where it does not solve."""
    made = lot(plan, [SOUND])
    if not sensible(plan, made).all():
        return None
    nodes = np.zeros((plan.size + 1, 1))
    got = newton(Network(plan, made), nodes, 3 * ROUNDS)
    if not (got.solved & got.stable)[0]:
        got = through_time(plan, made, nodes)
    return got.nodes[:, 0] if (got.solved & got.stable)[0] else None


def _inside(plan: Plan, made: Lot, nodes: Floats) -> NDArray[np.bool_]:
    """(B,) whether every node lies between the rails."""
    low, high = limits(plan, made)
    return np.asarray(((nodes >= low) & (nodes <= high)).all(axis=0))


def _driven(plan: Plan, made: Lot) -> NDArray[np.bool_]:
    """(B,) whether any current source carries current."""
    drains = plan.placed.get(Device.CURRENT)
    if drains is None:
        return np.zeros(made.many, dtype=bool)
    return np.asarray((made.values[drains.rows] != 0.0).any(axis=0))


def limits(plan: Plan, made: Lot) -> tuple[Floats, Floats]:
    """The volts (B,) between which every node must lie, margin included.

    A load to ground is a rail like any other; one between two nodes widens both ends, and so
    does a zener by IDLE_ZENER of its volts.
    """
    low, high = np.zeros(made.many), np.zeros(made.many)
    ends: list[NDArray[np.float64]] = []
    sources = plan.placed.get(Device.SOURCE)
    if sources is not None:
        ends.extend(made.values[sources.rows])
    more = np.full(made.many, MARGIN)
    junctions = plan.placed.get(Device.JUNCTION)
    if junctions is not None:
        zeners = made.values[junctions.rows + ZENER_VOLTS]
        more += IDLE_ZENER * np.where(np.isfinite(zeners), zeners, 0.0).sum(axis=0)
    for a, b, ohms, volts in zip(
        made.load_from, made.load_to, made.load_ohms, made.load_volts, strict=True
    ):
        there = np.where(np.isfinite(ohms), volts, 0.0)
        ends.append(np.where(b == 0, there, np.where(a == 0, -there, 0.0)))
        more += np.where((a != 0) & (b != 0), np.abs(there), 0.0)
    for end in ends:
        low, high = np.minimum(low, end), np.maximum(high, end)
    return low - more, high + more
