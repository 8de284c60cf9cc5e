"""The batched engine: thousands of variations of one circuit at once, numpy only."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.detours import by_degrees, through_time
from biaspredict.engine.network import Network
from biaspredict.engine.newton import Outcome, newton
from biaspredict.engine.plan import Ints, Lot, Plan, lot, plan_of, sensible
from biaspredict.engine.solver import Floats, Solutions
from biaspredict.engine.values import MARGIN
from biaspredict.model.circuit import SOUND, Axis, Circuit, Device, Variation

CHUNK = 512  # variations whose matrices stay near the processor
ROUNDS = 20  # of Newton before a variation takes a detour
KEPT = 8  # circuits whose numbering and sound solution are kept


class Batch:
    """Solver by Newton's method on whole batches; see `solver.Solver`.

    The equations are those given to ngspice. A variation starts at the sound circuit's volts.
    """

    def __init__(self) -> None:
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
        many = len(variations)
        spares = max((len(v.lifts) for v in variations), default=0)
        volts = np.full((many, plan.size + spares), np.nan)
        solved = np.zeros(many, dtype=bool)
        # Variations that keep the sound wiring go together: their matrices are smaller.
        order = np.argsort([2 * len(v.lifts) + bool(v.moves) for v in variations], kind="stable")
        for first in range(0, many, CHUNK):
            which = order[first : first + CHUNK]
            some = [variations[i] for i in which]
            part = None if amounts is None else np.asarray(amounts, dtype=float)[which]
            made = lot(plan, some, axes, part)
            good = np.flatnonzero(sensible(plan, made))
            if not len(good):
                continue
            if len(good) < len(which):
                made, which = made.part(good), which[good]
                part = None if part is None else part[good]
            began = None if start is None else start[which]
            got = self._solve(plan, sound, made, axes, part, began)
            solved[which] = got.solved
            width = plan.size + made.spares
            answer = np.where(got.solved, got.nodes[1:], np.nan)
            answer[plan.size :][~np.isfinite(made.lift_ohms)] = np.nan
            volts[which, :width] = answer.T
        return Solutions(volts, solved)

    def _plan(self, circuit: Circuit) -> tuple[Plan, Floats | None]:
        known = self._known.get(circuit)
        if known is None:
            plan = plan_of(circuit)
            while len(self._known) >= KEPT:
                self._known.pop(next(iter(self._known)))
            known = self._known[circuit] = (plan, _sound(plan))
        return known

    def _solve(
        self,
        plan: Plan,
        sound: Floats | None,
        made: Lot,
        axes: Sequence[Axis],
        amounts: Floats | None,
        start: Floats | None,
    ) -> Outcome:
        many = made.many
        nodes = np.zeros((plan.size + 1 + made.spares, many))
        if sound is not None:
            nodes[: plan.size + 1] = sound[:, None]
        _fill_spares(plan, made, nodes)
        nominal = nodes
        if start is not None:
            nodes = nodes.copy()
            given = start[:, : len(nodes) - 1].T
            nodes[1 : 1 + len(given)] = np.where(
                np.isfinite(given), given, nodes[1 : 1 + len(given)]
            )
        network = Network(plan, made)
        if sound is not None or start is not None:
            network.start(nodes)
        got = newton(network, nodes, ROUNDS)
        got = _believed(plan, made, got)
        missing = np.flatnonzero(~got.solved)
        if sound is not None and len(missing):
            plain = [SOUND] * len(missing)
            part = None if amounts is None else amounts[missing]
            values = lot(plan, plain, axes, part).values
            lost = made.part(missing)
            again = by_degrees(plan, values, lost, nominal[:, missing])
            got = _merge(got, missing, _believed(plan, lost, again))
            missing = np.flatnonzero(~got.solved)
        for begin in (nominal, np.zeros_like(nominal)):
            if len(missing):
                lost = made.part(missing)
                again = through_time(plan, lost, begin[:, missing])
                got = _merge(got, missing, _believed(plan, lost, again))
                missing = np.flatnonzero(~got.solved)
        return got


def _sound(plan: Plan) -> Floats | None:
    """Node volts (n + 1,) of the circuit as it stands; None where it does not solve."""
    made = lot(plan, [SOUND])
    if not sensible(plan, made).all():
        return None
    nodes = np.zeros((plan.size + 1, 1))
    got = _believed(plan, made, newton(Network(plan, made), nodes, 3 * ROUNDS))
    if not got.solved[0]:
        got = _believed(plan, made, through_time(plan, made, nodes))
    return got.nodes[:, 0] if got.solved[0] else None


def _fill_spares(plan: Plan, made: Lot, nodes: Floats) -> None:
    """A lifted lead begins at the volts of the node it was lifted from."""
    columns = np.arange(made.many)
    for k in range(made.spares):
        there = np.isfinite(made.lift_ohms[k])
        nodes[plan.size + 1 + k] = np.where(there, nodes[made.lift_node[k], columns], 0.0)


def _believed(plan: Plan, made: Lot, got: Outcome) -> Outcome:
    """Only what is stable and between the rails counts as solved."""
    low, high = limits(plan, made)
    inside = ((got.nodes >= low) & (got.nodes <= high)).all(axis=0)
    return Outcome(got.nodes, got.solved & got.stable & inside, got.stable)


def limits(plan: Plan, made: Lot) -> tuple[Floats, Floats]:
    """The volts (B,) between which every node must lie, margin included.

    A load to ground is a rail like any other; one between two nodes widens both ends.
    """
    low, high = np.zeros(made.many), np.zeros(made.many)
    ends: list[NDArray[np.float64]] = []
    sources = plan.placed.get(Device.SOURCE)
    if sources is not None:
        ends.extend(made.values[sources.rows])
    more = np.full(made.many, MARGIN)
    for a, b, ohms, volts in zip(
        made.load_from, made.load_to, made.load_ohms, made.load_volts, strict=True
    ):
        there = np.where(np.isfinite(ohms), volts, 0.0)
        ends.append(np.where(b == 0, there, np.where(a == 0, -there, 0.0)))
        more += np.where((a != 0) & (b != 0), np.abs(there), 0.0)
    for end in ends:
        low, high = np.minimum(low, end), np.maximum(high, end)
    return low - more, high + more


def _merge(got: Outcome, where: Ints, again: Outcome) -> Outcome:
    nodes, solved, stable = got.nodes.copy(), got.solved.copy(), got.stable.copy()
    nodes[:, where], solved[where], stable[where] = again.nodes, again.solved, again.stable
    return Outcome(nodes, solved, stable)
