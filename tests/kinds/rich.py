"""ngspice with transistors richer than the package's: what its equations leave out."""

from __future__ import annotations

import re

import numpy as np

from biaspredict.engine.deck import deck
from biaspredict.engine.ngspice import using
from biaspredict.model.stage import Stage
from biaspredict.predict.path import signal_circuit

# A good small transistor, and a poor old one (common practice, no source).
RICH = (
    "rb=50 re=0.3 rc=5 ikf=0.2 cje=10p cjc=4p tf=0.4n",
    "rb=300 re=1.5 rc=20 ikf=0.1 cje=30p cjc=10p tf=1n ise=1e-14 ne=1.6",
)


def rich_gain(stage: Stage, extra: str, hertz: float = 1e3) -> float:
    """Output over input, sizes, at one frequency."""
    circuit = signal_circuit(stage)
    start, end = stage.inputs[0].node, stage.outputs[0].node
    text = deck(circuit, sounding=f"input {start}")
    pattern = re.compile(r"(\.model m\d+ (?:npn|pnp) )")
    lines = tuple(pattern.sub(rf"\g<1>{extra} ", line) for line in text.lines)
    assert lines != text.lines
    with using() as simulator:
        simulator.load(type(text)(lines, text.names))
        assert simulator.run("op")
        assert simulator.run(f"ac lin 1 {hertz!r} {hertz!r}")
        found = [np.asarray(simulator.vector(text.names[node])) for node in (end, start)]
    return float(abs(found[0][0]) / abs(found[1][0]))
