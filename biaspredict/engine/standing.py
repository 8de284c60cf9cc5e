"""Circuits that can stand in more than one way: which points hold, and what the others are.

At a point where the determinant of the nodal slopes is negative nothing stays: a circuit with
two states has one such point between them (Chua, Desoer, Kuh, Linear and Nonlinear Circuits,
1987, from memory). A circuit of resistors with fewer than two transistors has one state only
(Nielsen and Willson, A fundamental result concerning the topology of transistor circuits with
multiple equilibria, Proc. IEEE 68, 1980, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.detours import through_time
from biaspredict.engine.linear import at_nodes
from biaspredict.engine.network import Network
from biaspredict.engine.plan import lot, plan_of
from biaspredict.engine.solver import Floats, Solutions, Solver
from biaspredict.model.circuit import OPEN, Axis, Circuit, Device, Variation

HELD = 1.0  # ohms of the clip that holds a transistor off or on
AT_ONCE = 1e6  # slopes
APART = 0.1  # volts at some node from which two states are two


def transistors(circuit: Circuit) -> int:
    return sum(e.device in (Device.BIPOLAR, Device.JFET) for e in circuit.elements)


def unsteady(
    circuit: Circuit, variations: Sequence[Variation], axes: Sequence[Axis],
    amounts: Floats | None, volts: Floats,
) -> NDArray[np.bool_]:
    """(B,) whether the circuit cannot stay at the solved `volts` (B, n + spares)."""
    if transistors(circuit) < 2 or not len(variations):
        return np.zeros(len(variations), dtype=np.bool_)
    plan = plan_of(circuit)
    signs = np.ones(len(variations))
    size = max(int(AT_ONCE / (len(circuit.nodes) + 1) ** 2), 1)
    for first in range(0, len(variations), size):
        part = slice(first, first + size)
        made = lot(plan, variations[part], axes, None if amounts is None else amounts[part])
        _, slopes, _ = Network(plan, made).balance(at_nodes(made, plan, volts[part]))
        signs[part] = np.linalg.slogdet(slopes[:, 1:, 1:])[0]
    return signs < 0.0


def beside(
    circuit: Circuit, variation: Variation, axes: Sequence[Axis], amounts: Floats | None,
    volts: Floats,
) -> Floats | None:
    """Volts (n + spares,) where the circuit ends once it leaves a point it cannot stay at."""
    plan = plan_of(circuit)
    made = lot(plan, [variation], axes, amounts)
    found = through_time(plan, made, at_nodes(made, plan, volts[None]))
    return np.asarray(found.nodes[1:, 0]) if found.solved[0] else None


def clips(circuit: Circuit) -> list[Variation]:
    """What holds each transistor off or on, as a clip lead does on the bench."""
    found: list[Variation] = []
    for element in circuit.elements:
        name = element.name
        if element.device is Device.BIPOLAR:
            found.append(Variation(settings=((f"{name}.be_leak", HELD),)))
            found.append(Variation(settings=((f"{name}.ce_leak", HELD),)))
        elif element.device is Device.JFET:
            found.append(Variation(lifts=((f"{name}.source", OPEN),)))
            found.append(Variation(settings=((f"{name}.ds_leak", HELD),)))
    return found


def other_states(
    solver: Solver, circuit: Circuit, variations: Sequence[Variation], volts: Floats
) -> list[list[Floats]]:
    """For each variation, solved at `volts` (B, n + spares), the other volts at which it stays.

    Each transistor in turn is held off and held on, then let go: where the circuit does not
    come back, it has another state. solver: one that makes use of `start`. What no single clip
    brings about is not found.
    """
    others: list[list[Floats]] = [[] for _ in variations]
    held = clips(circuit)
    if transistors(circuit) < 2 or not variations:
        return others
    n = len(circuit.nodes)
    rows = [i for i in range(len(variations)) for _ in held]
    clipped = solver.solve(circuit, [v.plus(clip) for v in variations for clip in held])
    begin = np.full((len(rows), n), np.nan)
    begin[:] = clipped.volts[:, :n]
    found = solver.solve(circuit, [variations[i] for i in rows], start=begin)
    for row, i in enumerate(rows):
        if not found.solved[row]:
            continue
        there = found.volts[row, : n + len(variations[i].lifts)]
        known = [volts[i, : len(there)], *others[i]]
        if all(np.nanmax(np.abs(there - one)) > APART for one in known):
            others[i].append(there)
    return others


class Leaning:
    """Solver that seeks the points of one circuit near the volts (n,) of one of its states."""

    def __init__(self, solver: Solver, circuit: Circuit, volts: Floats) -> None:
        self._solver, self._circuit, self._volts = solver, circuit, volts

    def solve(
        self,
        circuit: Circuit,
        variations: Sequence[Variation],
        axes: Sequence[Axis] = (),
        amounts: Floats | None = None,
        *,
        start: Floats | None = None,
    ) -> Solutions:
        """As `solver.Solver.solve`."""
        if start is None and circuit == self._circuit:
            start = np.tile(self._volts, (len(variations), 1))
        return self._solver.solve(circuit, variations, axes, amounts, start=start)
