"""Volts of a stage by ngspice, inner nodes of parts included."""

from __future__ import annotations

from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.model.circuit import SOUND
from biaspredict.model.stage import Stage


def solved(stage: Stage) -> dict[str, float]:
    circuit = flatten(stage)
    found = Ngspice().solve(circuit, [SOUND])
    assert found.solved[0]
    return dict(zip(circuit.nodes, map(float, found.volts[0]), strict=False))
