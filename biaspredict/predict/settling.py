"""How long after switch-on each node may be read, by the linear stage with its capacitors.

A transistor that is not yet on is no linear stage: what is told here is the way of the last
volts, which is what a person waits for. `turn_on` runs the whole start in ngspice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from biaspredict.engine.flatten import flatten
from biaspredict.engine.signals import conductance
from biaspredict.engine.solver import Floats, Solver
from biaspredict.engine.stores import Motion, Store, stores
from biaspredict.errors import TO_PROOF, Unsolved
from biaspredict.graph.network import floating
from biaspredict.model.circuit import Circuit, Load, Variation
from biaspredict.model.stage import GROUND, Stage

NEAR = 0.01  # of its final volts within which a node is called settled
LEAST = 0.01  # volts that no reading needs better than
METER = 10e6  # ohms of a digital meter (common practice, no source)
SMALLEST = 1e-8  # farads; whatever a smaller one does is over before the probe is down
LONG = 30.0  # seconds from which nobody waits if there is another way
BRIDGES = (100.0, 1e3, 10e3, 100e3)  # resistors at hand to bridge with
QUICK = 0.2  # seconds of time constant that a bridge is chosen for


@dataclass(frozen=True, slots=True)
class Wait:
    """Seconds until a node stays within 1 % (or 10 mV) of its final `volts`."""

    node: str
    volts: float
    seconds: float


@dataclass(frozen=True, slots=True)
class Loose:
    """A node that only a meter discharges.

    seconds: until it may be read with a 10 Mohm meter; constant: time constant with it, seconds.
    bridge: ohms that make it quick. capacitors: those that keep it charged.
    """

    node: str
    seconds: float
    constant: float
    bridge: float
    capacitors: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Settling:
    """waits: slowest first. loose: nodes that only a meter discharges. constants: seconds of
    the modes without those nodes, slowest first, real parts."""

    waits: tuple[Wait, ...]
    loose: tuple[Loose, ...]
    constants: tuple[float, ...]


def settling(stage: Stage, referee: Solver) -> Settling:
    """Raises Unsolved without an operating point, or where the stage cannot rest at it."""
    circuit = flatten(stage)
    apart = _apart(stage, circuit)
    meters = Variation(loads=tuple(Load(node, GROUND, METER) for node in apart))
    found = referee.solve(circuit, [meters])
    if not found.solved[0]:
        raise Unsolved(
            "this stage has no operating point that could be verified",
            remedy=TO_PROOF,
        )
    volts = found.volts[0][: len(circuit.nodes)]
    kept = [store for store in stores(circuit) if store.farads >= SMALLEST]
    motion = Motion(conductance(circuit, meters, volts), kept)
    if motion.grows:
        raise Unsolved(
            "the stage cannot rest at its operating point: it latches or oscillates, so no "
            "reading of it would settle",
            remedy="Look for a transistor drawn upside down, or feedback taken to the wrong side.",
        )
    seconds = waits(motion, kept, volts)
    loose_nodes = floating(stage)
    steady = [
        Wait(node, float(volts[i]), float(seconds[i]))
        for i, node in enumerate(circuit.nodes)
        if node in stage.nodes and node not in loose_nodes
    ]
    without = Motion(
        conductance(circuit, Variation(loads=tuple(Load(n, GROUND, 1.0) for n in apart)), volts),
        kept,
    )
    return Settling(
        tuple(sorted(steady, key=lambda wait: -wait.seconds)),
        tuple(_loose(circuit, node, seconds, kept) for node in apart),
        tuple(without.seconds.real.tolist()),
    )


def waits(motion: Motion, kept: Sequence[Store], volts: Floats) -> Floats:
    """(n,) seconds after switch-on from which each node stays near its final volts."""
    if not kept:
        return np.zeros(len(volts))
    padded = np.append(volts, 0.0)  # column -1 is ground
    start = np.array([-(padded[s.a] - padded[s.b]) for s in kept])
    modes = motion.modes(start)
    near = np.maximum(NEAR * np.abs(volts), LEAST)

    def off(times: Floats) -> Floats:
        fading = np.exp(-times[None, :] / motion.seconds[:, None])
        return np.abs((modes @ fading).real)

    grid = np.geomspace(1e-4, 40.0 * max(float(np.abs(motion.seconds).max()), 1e-4), 600)
    far = off(grid) > near[:, None]
    result = np.zeros(len(volts))
    for node in np.flatnonzero(far.any(axis=1)):
        last = int(np.flatnonzero(far[node])[-1])
        finer = np.geomspace(grid[last], grid[min(last + 1, len(grid) - 1)], 32)
        still = np.flatnonzero(off(finer)[node] > near[node])
        result[node] = finer[still[-1]] if still.size else grid[last]
    return result


def _apart(stage: Stage, circuit: Circuit) -> tuple[str, ...]:
    """One node of each part of the stage whose DC nothing sets; outputs before others."""
    loose = floating(stage)
    ports = [port.node for port in (*stage.outputs, *stage.inputs)]
    return tuple(dict.fromkeys(n for n in (*ports, *circuit.nodes) if n in loose))


def _loose(circuit: Circuit, node: str, seconds: Floats, kept: Sequence[Store]) -> Loose:
    column = circuit.nodes.index(node)
    own = [store for store in kept if column in (store.a, store.b)]
    farads = sum(store.farads for store in own)
    fit = [ohms for ohms in BRIDGES if ohms * farads <= QUICK]
    return Loose(
        node,
        float(seconds[column]),
        METER * farads,
        max(fit, default=BRIDGES[0]),
        tuple(store.name for store in own),
    )
