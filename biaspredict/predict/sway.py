"""What sets each voltage: how far it moves when a part, a rail, the gain or the warmth changes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from biaspredict.engine.flatten import flatten
from biaspredict.engine.linear import linearise
from biaspredict.engine.solver import Solver
from biaspredict.model.circuit import SOUND, Axis, Circuit, Variation
from biaspredict.model.devices import Bipolar, Fet
from biaspredict.model.parts import POTS, Kind
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.currents import currents

STEP = 0.10  # share by which each part is supposed to be up
WARMER = 20.0  # kelvin between a cold workshop and a warm cabinet (common practice, no source)
FAINT = 0.02  # share of the largest effect, and volts, below which an effect is not told
FAINT_VOLTS = 0.01


@dataclass(frozen=True, slots=True)
class Pull:
    """volts by which a node moves when `name` (a part or rail) is up a tenth."""

    name: str
    volts: float


@dataclass(frozen=True, slots=True)
class Sway:
    """What a node hangs on, the strongest first; those that hardly move it are left out."""

    node: str
    pulls: tuple[Pull, ...]


@dataclass(frozen=True, slots=True)
class Steady:
    """A transistor when its gain runs through its range, or all is warmer.

    amps: collector current as it is, at the least and the most gain, and warmer; vce the same.
    None where that did not solve.
    """

    ref: str
    gains: tuple[float, float]
    amps: tuple[float, float | None, float | None, float | None]
    vce: tuple[float, float | None, float | None, float | None]


def sways(stage: Stage, nodes: Sequence[str], volts: dict[str, float]) -> tuple[Sway, ...]:
    """How far each of `nodes` moves for each part and rail up a tenth, from the linear stage.

    volts: the solved stage, every node of its circuit.
    """
    circuit = flatten(stage)
    axes = tuple(_axes(stage))
    column = {node: i for i, node in enumerate(circuit.nodes)}
    at = np.array([[volts[node] for node in circuit.nodes]])
    wanted = [node for node in nodes if node in column]
    probes = [(column[node], -1) for node in wanted]
    if not probes or not axes:
        return ()
    slopes = linearise(circuit, [SOUND], axes, None, at, probes).slopes[0]
    found = []
    for node, row in zip(wanted, slopes, strict=True):
        moved = [Pull(axis.name, float(s) * math.log1p(STEP)) for axis, s in
                 zip(axes, row, strict=True)]
        most = max(abs(pull.volts) for pull in moved)
        told = [p for p in moved if abs(p.volts) > max(FAINT * most, FAINT_VOLTS)]
        found.append(Sway(node, tuple(sorted(told, key=lambda p: -abs(p.volts)))))
    return tuple(found)


def _axes(stage: Stage) -> list[Axis]:
    found = [
        Axis((f"{part.ref}.ohms",), 1.0, name=part.ref)
        for part in stage.parts
        if part.kind in (Kind.RESISTOR, Kind.THERMISTOR) or part.kind in POTS
    ]
    found += [Axis((f"{rail.name}.volts",), 1.0, name=rail.name) for rail in stage.rails]
    found += [
        Axis((f"{part.ref}.zener_volts",), 1.0, name=part.ref)
        for part in stage.parts if part.kind is Kind.ZENER
    ]
    return found


def steadiness(stage: Stage, referee: Solver) -> tuple[Steady, ...]:
    """Every transistor at the ends of its gain's range, and with all of the stage warmer."""
    circuit = flatten(stage)
    parts = [part for part in stage.parts if isinstance(part.device, Bipolar | Fet)]
    found = []
    assumed = stage.assumptions
    hot = replace(
        stage, assumptions=replace(assumed, temperature=assumed.temperature + WARMER)
    )
    warmed = referee.solve(flatten(hot), [SOUND]).volts[0]
    stages = (stage, stage, stage, hot)
    for part in parts:
        device = part.device
        if isinstance(device, Bipolar):
            field, spread = "gain", device.gain
        elif isinstance(device, Fet):
            field, spread = "idss", device.idss
        else:
            continue
        ends = [Variation(settings=((f"{part.ref}.{field}", x),)) for x in
                (spread.low, spread.high)]
        runs = referee.solve(circuit, [SOUND, *ends]).volts
        rows = [*runs, warmed]
        amps = [_amps(of, circuit, part.ref, row) for of, row in zip(stages, rows, strict=True)]
        across = [_vce(circuit, part.nodes, row) for row in rows]
        if amps[0] is None or across[0] is None:
            continue
        found.append(Steady(
            part.ref, (spread.low, spread.high), (amps[0], amps[1], amps[2], amps[3]),
            (across[0], across[1], across[2], across[3]),
        ))
    return tuple(found)


def _amps(
    stage: Stage, circuit: Circuit, ref: str, row: Sequence[float]
) -> float | None:
    """Collector (drain) current, by the currents around the transistor."""
    if not np.isfinite(row[0]):
        return None
    flow = currents(stage, dict(zip(circuit.nodes, map(float, row), strict=False))).parts.get(ref)
    return None if flow is None else abs(flow.amps[0])


def _vce(circuit: Circuit, nodes: Sequence[str], row: Sequence[float]) -> float | None:
    at = dict(zip(circuit.nodes, map(float, row), strict=False)) | {GROUND: 0.0}
    value = at[nodes[0]] - at[nodes[2]]
    return value if np.isfinite(value) else None
