"""How much leakage of each capacitor this circuit stands, beside what standards allow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from biaspredict.engine.flatten import flatten
from biaspredict.engine.solver import Floats, Solver
from biaspredict.graph.network import floating
from biaspredict.model.circuit import Circuit, Variation
from biaspredict.model.devices import Bipolar, Fet
from biaspredict.model.parts import CAPACITORS, POTS, Kind, Part
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.bias import Bias
from biaspredict.series import next_working_volts

READABLE = 0.05  # volts beyond its band that make a shift worth the name (common practice)
RUNGS = np.geomspace(1e9, 10.0, 33)  # ohms of leak, from none to a short
FINER = 17
SHORT = 0.1  # amps from which a capacitor is not leaky but shorted (common practice)
# JAN-C-62 (read on a public page): I in mA = K C + 0.3 with C in uF, K by working volts.
OLD = ((100.0, 0.01), (250.0, 0.02), (350.0, 0.025), (450.0, 0.04))
OLD_FLOOR = 0.3e-3


@dataclass(frozen=True, slots=True)
class Leak:
    """One capacitor.

    volts: DC across it in a sound stage, positive at its first terminal. amps: the leak that
    takes `node` out of its band, to `node_volts`; None where none does, or nothing is across.
    rated: working volts the limits are reckoned with, `printed` or else the lowest that would
    stand `volts`. limit, old_limit: amps that a new part, and one by old practice, may leak;
    None for dielectrics that should not leak at all. matters: `node` is one of a transistor, a
    pot or a port, where DC does more than sit.
    """

    ref: str
    volts: float
    amps: float | None
    node: str | None
    node_volts: float | None
    rated: float | None
    printed: bool
    limit: float | None
    old_limit: float | None
    matters: bool


def modern_limit(farads: float, volts: float) -> float:
    """Amps: the larger of 3 uA and 0.01 C V (uF, V, uA), the style of IEC 60384-4 (from memory)."""
    return max(3e-6, 0.01e-6 * farads * 1e6 * volts)


def old_limit(farads: float, volts: float) -> float | None:
    """Amps by JAN-C-62; None above its highest working voltage."""
    for most, k in OLD:
        if volts <= most:
            return k * 1e-3 * farads * 1e6 + OLD_FLOOR
    return None


def leakage(bias: Bias, solver: Solver) -> tuple[Leak, ...]:
    """The leak that each capacitor of a predicted stage may have."""
    stage = bias.stage
    circuit = flatten(stage)
    parts = [part for part in stage.parts if part.kind in CAPACITORS]
    watched = _bands(bias, stage, circuit)
    found = []
    for part in parts:
        volts = bias.inner[part.nodes[0]] - bias.inner[part.nodes[1]]
        worst = None if abs(volts) < READABLE else _least(part, circuit, watched, solver)
        found.append(_leak(part, volts, worst, stage))
    return tuple(found)


def _leak(
    part: Part, volts: float, worst: tuple[float, str, float] | None, stage: Stage
) -> Leak:
    rated = part.volts or next_working_volts(volts)
    limits: tuple[float | None, float | None] = (None, None)
    if part.kind is Kind.ELECTROLYTIC and rated is not None and part.now:
        limits = modern_limit(part.now, rated), old_limit(part.now, rated)
    amps, node, node_volts = worst or (None, None, None)
    return Leak(
        part.ref, volts, amps, node, node_volts, rated, part.volts is not None, *limits,
        node is not None and _matters(stage, node),
    )


def _matters(stage: Stage, node: str) -> bool:
    """Whether DC at a node does more than sit there: it shifts a transistor, or is handed on."""
    return any(port.node == node for port in (*stage.outputs, *stage.inputs)) or any(
        isinstance(part.device, Bipolar | Fet) or part.kind in POTS for part, _ in stage.at(node)
    )


_Bands = tuple[list[str], Floats, Floats]


def _bands(bias: Bias, stage: Stage, circuit: Circuit) -> _Bands:
    """Nodes whose DC is set, and the limits (n,) of each; infinite where not watched."""
    loose = floating(stage)
    names, low, high = [], [], []
    for node in circuit.nodes:
        level = bias.levels.get(node)
        watched = level is not None and node not in loose and node != GROUND
        names.append(node)
        low.append(level.low - READABLE if watched and level else -np.inf)
        high.append(level.high + READABLE if watched and level else np.inf)
    return names, np.array(low), np.array(high)


def _least(
    part: Part, circuit: Circuit, watched: _Bands, solver: Solver
) -> tuple[float, str, float] | None:
    """(amps, node, its volts) of the smallest leak that takes a node out of its band."""
    near, first = _first_out(part, circuit, watched, solver, RUNGS.tolist())
    if first is None:
        return None
    if near is not None:
        finer = np.geomspace(near, first[0], FINER)[1:].tolist()
        _, better = _first_out(part, circuit, watched, solver, finer)
        first = better or first
    ohms, across, node, volts = first
    amps = abs(across) / ohms
    return (amps, node, volts) if amps < SHORT else None


_Found = tuple[float, float, str, float]


def _first_out(
    part: Part, circuit: Circuit, watched: _Bands, solver: Solver, rungs: Sequence[float]
) -> tuple[float | None, _Found | None]:
    """The last ohms of leak that move nothing, and the first (ohms, volts across, node, volts)."""
    names, low, high = watched
    leaks = [Variation(settings=((f"{part.ref}.leak", ohms),)) for ohms in rungs]
    found = solver.solve(circuit, leaks)
    before: float | None = None
    ends = [names.index(node) if node != GROUND else None for node in part.nodes]
    for ohms, solved, row in zip(rungs, found.solved, found.volts, strict=True):
        if not solved:
            break
        volts = row[: len(names)]
        beyond = np.maximum(low - volts, volts - high)
        if beyond.max() > 0.0:
            worst = int(beyond.argmax())
            a, b = (0.0 if end is None else float(volts[end]) for end in ends)
            return before, (ohms, a - b, names[worst], float(volts[worst]))
        before = ohms
    return before, None
