"""Which points hold, and in what other ways a circuit can stand.

At a point where the determinant of the nodal slopes is negative nothing stays: a circuit with
two states has one such point between them (Chua, Desoer, Kuh, Linear and Nonlinear Circuits,
1987, from memory). A circuit of resistors with fewer than two transistors has one state only
(Nielsen and Willson, A fundamental result concerning the topology of transistor circuits with
multiple equilibria, Proc. IEEE 68, 1980, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.detours import through_time
from biaspredict.engine.linear import at_nodes
from biaspredict.engine.network import Network
from biaspredict.engine.plan import lot, plan_of
from biaspredict.engine.solver import Floats, Solutions, Solver
from biaspredict.model.circuit import GMIN, OPEN, Axis, Circuit, Device, Variation

HELD = 1.0  # ohms of the clip that holds a transistor off or on
AT_ONCE = 1e6  # slopes
FAINT = 10e-12  # amperes
NEAR, CLOSE = 1e-3, 1e-3  # volts, and share of the volts, that a solved point may be off
APART = 0.1  # volts at some node from which two states are two


def transistors(circuit: Circuit) -> int:
    return sum(e.device in (Device.BIPOLAR, Device.JFET) for e in circuit.elements)


@dataclass(frozen=True, slots=True)
class Audit:
    """leaves: (B,) whether the circuit cannot stay there; short: (B,) whether the currents leave
    so much over that the point lies more than NEAR and CLOSE away; better: (B, n + spares) the
    volts to which one Newton step leads."""

    leaves: NDArray[np.bool_]
    short: NDArray[np.bool_]
    better: Floats


def audit(
    circuit: Circuit, variations: Sequence[Variation], axes: Sequence[Axis],
    amounts: Floats | None, volts: Floats,
) -> Audit:
    """What the currents say of solved `volts` (B, n + spares), whoever solved them."""
    plan, many = plan_of(circuit), len(variations)
    found = Audit(np.zeros(many, np.bool_), np.zeros(many, np.bool_), volts.copy())
    many_at_once = max(int(AT_ONCE / (len(circuit.nodes) + 1) ** 2), 1)
    for first in range(0, many, many_at_once):
        part = slice(first, first + many_at_once)
        made = lot(plan, variations[part], axes, None if amounts is None else amounts[part])
        nodes = at_nodes(made, plan, volts[part])
        network = Network(plan, made)
        leaving, slopes, _ = network.balance(nodes)
        inner = network.form.whole(slopes)[:, 1:, 1:]
        try:
            step = np.linalg.solve(inner, -leaving[1:].T[..., None])[..., 0]
        except np.linalg.LinAlgError:  # to the last digit: nothing can be said
            continue
        found.leaves[part] = np.linalg.slogdet(inner)[0] < 0.0
        wide = min(step.shape[1], volts.shape[1])
        # of two joints in one lead an engine may make one node: leads are not looked at
        size = plan.size
        miss = np.abs(step[:, :size])
        allowed = np.maximum(NEAR, CLOSE * np.abs(nodes[1 : size + 1].T))
        for row in np.flatnonzero((miss > allowed).any(axis=1)).tolist():
            # what only GMIN holds stands where an engine's last picoamperes put it
            faint = max(GMIN * float(np.abs(nodes[:, row]).max()), FAINT)
            reach = faint * np.abs(np.linalg.inv(inner[row])[:size]).max(axis=1)
            found.short[first + row] = bool((miss[row] > allowed[row] + reach).any())
        found.better[part, :wide] += step[:, :wide]
    return found


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

    Each transistor in turn is held off and held on, then let go, and once every node is let go
    from nothing, from the highest and from the lowest volts: where the circuit does not come
    back, it has another state. solver: one that makes use of `start`. What none of these brings
    about is not found.
    """
    others: list[list[Floats]] = [[] for _ in variations]
    held = clips(circuit)
    if transistors(circuit) < 2 or not variations:
        return others
    n, many = len(circuit.nodes), len(held) + 3
    rows = [i for i in range(len(variations)) for _ in range(many)]
    clipped = solver.solve(circuit, [v.plus(clip) for v in variations for clip in held])
    begin = np.zeros((len(variations), many, n))
    begin[:, :-3] = clipped.volts[:, :n].reshape(len(variations), len(held), n)
    begin[:, -2] = np.max(volts[:, :n], axis=1, keepdims=True)
    begin[:, -1] = np.min(volts[:, :n], axis=1, keepdims=True)
    found = solver.solve(
        circuit, [variations[i] for i in rows], start=begin.reshape(len(rows), n)
    )
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
