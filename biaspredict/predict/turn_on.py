"""What happens after switch-on, by ngspice over time: when each node has settled, and the thump."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from biaspredict.engine.flatten import flatten
from biaspredict.engine.solver import Floats
from biaspredict.errors import TO_PROOF, Unsolved
from biaspredict.graph.network import floating
from biaspredict.model.circuit import SOUND, Circuit, Device
from biaspredict.model.stage import Stage
from biaspredict.predict.path import Referee
from biaspredict.predict.settling import LEAST, NEAR, settling

POINTS = 1500  # at least, of a run
SHORTEST, LONGEST = 0.02, 300.0  # seconds of a run
LONGER = 4.0  # times, when some node has not settled at the end of a run


@dataclass(frozen=True, slots=True)
class TurnOn:
    """seconds: node to the time from which it stays within 1 % (or 10 mV) of its final volts,
    None where it has not got there. thumps: output node to the volts that it reaches
    farthest beyond the way from nothing to its final ones, 0 where it goes straight. span:
    seconds that were run.
    """

    seconds: Mapping[str, float | None]
    thumps: Mapping[str, float]
    span: float

    @property
    def slowest(self) -> tuple[str, float] | None:
        """The node that settles last, of those that do."""
        known = {node: time for node, time in self.seconds.items() if time is not None}
        return max(known.items(), key=lambda item: item[1]) if known else None


def turn_on(stage: Stage, referee: Referee) -> TurnOn:
    """Switch the stage on with everything discharged.

    Nodes that nothing but a meter discharges are left out. Raises Unsolved, EngineMissing; also
    Unsolved for a stage fed by a transformer winding, whose volts never rest.
    """
    circuit = flatten(stage)
    if any(e.device is Device.WINDING and e.value("rms") > 0.0 for e in circuit.elements):
        raise Unsolved(
            "a transformer winding feeds this stage, so its volts never quite rest",
            remedy="Look at the supply by itself, and give this stage a rail instead.",
        )
    final = _resting(circuit, referee)
    waits = settling(stage, referee).waits
    span = min(max(2.0 * max((w.seconds for w in waits), default=0.0), SHORTEST), LONGEST)
    loose = floating(stage)
    watched = [n for n in circuit.nodes if n in stage.nodes and n not in loose]
    while True:
        times, volts = referee.transient(circuit, SOUND, span, span / POINTS)
        found = _settled(circuit, watched, times, volts, final)
        if None not in found.values() or span * LONGER > LONGEST:
            break
        span *= LONGER
    thumps = {}
    for port in stage.outputs:
        if port.node in watched:
            column = circuit.nodes.index(port.node)
            rest = float(final[column])
            beyond = np.maximum(
                volts[:, column] - max(rest, 0.0), min(rest, 0.0) - volts[:, column]
            )
            most = int(beyond.argmax())
            thumps[port.node] = float(volts[most, column]) if beyond[most] > LEAST else 0.0
    return TurnOn(found, thumps, span)


def _resting(circuit: Circuit, referee: Referee) -> Floats:
    found = referee.solve(circuit, [SOUND])
    if not found.solved[0]:
        raise Unsolved(
            "this stage has no operating point that could be verified",
            remedy=TO_PROOF,
        )
    return np.asarray(found.volts[0, : len(circuit.nodes)])


def _settled(
    circuit: Circuit, watched: list[str], times: Floats, volts: Floats, final: Floats
) -> dict[str, float | None]:
    seconds: dict[str, float | None] = {}
    for node in watched:
        column = circuit.nodes.index(node)
        near = max(NEAR * abs(float(final[column])), LEAST)
        far = np.flatnonzero(np.abs(volts[:, column] - final[column]) > near)
        if not far.size:
            seconds[node] = 0.0
        elif far[-1] == len(times) - 1:
            seconds[node] = None
        else:
            seconds[node] = float(times[far[-1] + 1])
    return seconds
