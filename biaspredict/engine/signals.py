"""One operating point as a linear circuit: conductances, small signals, time constants."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.elements import siemens
from biaspredict.engine.elimination import answers
from biaspredict.engine.linear import asked, at_nodes
from biaspredict.engine.network import Network
from biaspredict.engine.plan import Ints, Lot, Plan, lot, plan_of
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import Circuit, Device, Load, Variation

Complexes = NDArray[np.complex128]


def conductance(circuit: Circuit, variation: Variation, volts: Floats) -> Floats:
    """(n + s, n + s) slopes of the current leaving each node by the volts of each node, at
    the solved `volts` (n + s,); s: lifted leads. Capacitors are their leaks."""
    return _at(circuit, variation, volts)[2]


def determinant_sign(circuit: Circuit, variation: Variation, volts: Floats) -> float:
    """1.0 at a point where the circuit can stay; -1.0 at the unstable point of two states."""
    return float(np.linalg.slogdet(conductance(circuit, variation, volts))[0])


def source_ohms(
    circuit: Circuit, variation: Variation, volts: Floats, plus: int, minus: int = -1
) -> float:
    """Resistance seen between two columns of `volts` (-1: ground) at that operating point."""
    matrix = conductance(circuit, variation, volts)
    nodes = len(matrix) + 1
    influence = answers(
        np.pad(matrix, ((1, 0), (1, 0)))[None], asked(np.array([[[plus, minus]]]) + 1, nodes),
        turned=True,
    )
    return float(influence[plus + 1, 0, 0] - influence[minus + 1, 0, 0])


def transfer(
    circuit: Circuit,
    variation: Variation,
    volts: Floats,
    source: str | Load,
    hertz: Floats,
) -> Complexes:
    """(F, n + s) volts at every node for one volt at `source`, small signals, at `hertz` (F,).

    source: a SOURCE by name, or a generator connected for the purpose (its `volts` do not
    count). Capacitors with their series resistance, coils with their ohms; windings are their
    ohms; transistors are taken at DC: no charge is stored in them.
    """
    plan, made, matrix = _at(circuit, variation, volts)
    size = len(matrix)
    drive = np.zeros(size + 1, dtype=complex)
    admittance = np.zeros((size + 1, size + 1), dtype=complex)
    admittance[1:, 1:] = matrix
    if isinstance(source, Load):
        a, b = (_node(plan, variation, name) for name in (source.a, source.b))
        generator = float(siemens(np.array(source.ohms)))
        _stamp(admittance, a, b, generator)
        drive[a] += generator
        drive[b] -= generator
    else:
        element = circuit.element(source)
        if element.device is not Device.SOURCE:
            raise KeyError(f"{source} is not a source")
        ohms = made.values[plan.row[f"{source}.ohms"], 0]
        drive[made.legs[plan.leg[f"{source}.1"], 0]] += float(siemens(ohms))
    answers = np.empty((len(hertz), size), dtype=complex)
    for i, speed in enumerate(2j * np.pi * np.asarray(hertz, dtype=float)):
        at_speed = admittance.copy()
        for a, b, farads, series in _capacitors(plan, made):
            _stamp(at_speed, a, b, speed * farads / (1.0 + speed * farads * series))
        for a, b, ohms, henries in _coils(plan, made):
            _stamp(at_speed, a, b, 1.0 / (ohms + speed * henries) - 1.0 / ohms)
        answers[i] = np.linalg.solve(at_speed[1:, 1:], drive[1:])
    return answers


def time_constants(circuit: Circuit, variation: Variation, volts: Floats) -> Complexes:
    """Seconds in which each mode of the circuit dies away, slowest first, one for each
    capacitor and coil that is free to move. Complex where a mode rings; negative real part
    where it grows.

    A mode exp(-t / tau) needs tau to be an eigenvalue of c A' G^-1 A: with one capacitor, of
    capacitance times the resistance that it sees.
    """
    plan, made, matrix = _at(circuit, variation, volts)
    coils = list(_coils(plan, made))
    capacitors = list(_capacitors(plan, made))
    size = len(matrix) + 1
    whole = size + len(coils)
    equations = np.zeros((whole, whole))
    equations[1:size, 1:size] = matrix
    ends = np.zeros((whole, len(capacitors) + len(coils)))
    stores = np.zeros(ends.shape[1])
    series = np.zeros(ends.shape[1])
    for k, (a, b, farads, ohms) in enumerate(capacitors):
        ends[a, k] += 1.0
        ends[b, k] -= 1.0
        stores[k], series[k] = farads, ohms
    for k, (a, b, ohms, henries) in enumerate(coils):
        own, column = size + k, len(capacitors) + k
        _stamp(equations, a, b, -1.0 / ohms)
        for node, sign in ((a, 1.0), (b, -1.0)):
            equations[node, own] += sign
            equations[own, node] += sign
        equations[own, own] = -ohms
        ends[own, column] = 1.0
        stores[column] = -henries
    if not ends.size:
        return np.empty(0, dtype=complex)
    seen = ends[1:].T @ np.linalg.solve(equations[1:, 1:], ends[1:]) + np.diag(series)
    modes = np.linalg.eigvals(stores[:, None] * seen).astype(complex)
    # Capacitors in a ring share a mode; rounding leaves a trace of the missing one.
    modes = modes[np.abs(modes) > 1e-14 * np.abs(modes).max()]
    return np.asarray(modes[np.argsort(-np.abs(modes))])


def _at(circuit: Circuit, variation: Variation, volts: Floats) -> tuple[Plan, Lot, Floats]:
    plan = plan_of(circuit)
    made = lot(plan, [variation])
    nodes = at_nodes(made, plan, np.asarray(volts)[None])
    network = Network(plan, made)
    _, matrix, _ = network.balance(nodes)
    return plan, made, network.form.whole(matrix)[0, 1:, 1:]


def _node(plan: Plan, variation: Variation, name: str) -> int:
    for k, (lead, _) in enumerate(variation.lifts):
        if name == f"{lead} (lead)":
            return plan.size + 1 + k
    return plan.node[name]


def _stamp(matrix: Complexes | Floats, a: int, b: int, admittance: complex) -> None:
    for i, j, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
        matrix[i, j] += sign * admittance


def _capacitors(plan: Plan, made: Lot) -> Iterator[tuple[int, int, float, float]]:
    """Nodes, farads and series ohms of each capacitor that has any capacitance."""
    for a, b, fields in _elements(plan, made, Device.CAPACITOR, 3):
        if fields[0] > 0.0:
            yield a, b, fields[0], fields[2]


def _coils(plan: Plan, made: Lot) -> Iterator[tuple[int, int, float, float]]:
    """Nodes, ohms and henries of each coil that has any inductance."""
    for a, b, fields in _elements(plan, made, Device.COIL, 2):
        if fields[1] > 0.0:
            yield a, b, float(1.0 / siemens(np.array(fields[0]))), fields[1]


def _elements(
    plan: Plan, made: Lot, device: Device, count: int
) -> Iterator[tuple[int, int, list[float]]]:
    placed = plan.placed.get(device)
    if placed is None:
        return
    legs: Ints = made.legs
    for row, leg in zip(placed.rows, placed.legs, strict=True):
        fields = [float(value) for value in made.values[row : row + count, 0]]
        yield int(legs[leg, 0]), int(legs[leg + 1, 0]), fields
