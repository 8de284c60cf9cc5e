"""Faulted amplifiers: from the referee's answer, Newton's next step on the textbook equations
moves no reading of a 10 Mohm meter by a millivolt. So the answer is one, whatever ngspice says.

The meter matters where only GMIN holds a node.
"""

from __future__ import annotations

import random

import numpy as np
import pytest

from biaspredict.engine.ngspice import Ngspice
from biaspredict.engine.values import applied, rewired
from biaspredict.model.circuit import (
    TERMINALS,
    Circuit,
    Device,
    Load,
    Variation,
)
from tests.engine import hand, textbook

JOINTED = (Device.BIPOLAR, Device.JUNCTION)
ONE_MILLIVOLT = 1e-3
NUDGE = 1e-6  # volts, for the slopes
METER = 10e6


def fault(circuit: Circuit, rng: random.Random) -> Variation:
    """One of the ways in which an old board is wrong, or was misread."""
    element = rng.choice(circuit.elements)
    name, device = element.name, element.device
    kind = rng.choice(("value", "value", "joint", "move", "bridge", "heat"))
    lead = f"{name}.{rng.choice(TERMINALS[device])}"
    if kind == "joint" and device in JOINTED:
        return Variation(lifts=((lead, 10.0 ** rng.uniform(1.0, 12.0)),))
    if kind == "move":
        return Variation(moves=((lead, rng.choice(circuit.nodes)),))
    if kind == "bridge":
        a, b = rng.sample(circuit.nodes, 2)
        return Variation(loads=(Load(a, b, 10.0 ** rng.uniform(-2.0, 7.0)),))
    if kind == "heat":
        return Variation(settings=(("temperature", rng.uniform(0.0, 80.0)),))
    if device is Device.BIPOLAR:
        leak = rng.choice(("cb_leak", "be_leak", "ce_leak"))
        return Variation(settings=((f"{name}.{leak}", 10.0 ** rng.uniform(-1.0, 6.0)),))
    if device in (Device.CAPACITOR, Device.JUNCTION):
        return Variation(settings=((f"{name}.leak", 10.0 ** rng.uniform(-1.0, 6.0)),))
    if device is Device.SOURCE:
        return Variation(scales=((f"{name}.volts", rng.choice((0.0, 0.5, 0.9))),))
    # No resistor below a milliohm, which engines do not go below; and none beyond 100 Mohm, where
    # those picoamperes would set the bias of the first transistor.
    return Variation(scales=((f"{name}.ohms", rng.choice((1e-2, 0.1, 0.5, 2.0, 1e3))),))


def next_step(circuit: Circuit, volts: np.ndarray, loads: tuple[Load, ...]) -> np.ndarray:
    """Newton's step on the textbook equations as a meter at each node would show it."""
    here, _ = textbook.unbalance(circuit, volts, loads)
    slopes = np.empty((len(volts), len(volts)))
    for k in range(len(volts)):
        nudged = volts.copy()
        nudged[k] += NUDGE
        slopes[:, k] = (textbook.unbalance(circuit, nudged, loads)[0] - here) / NUDGE
    ohms = np.linalg.inv(slopes)
    return -ohms @ here * METER / (METER + np.abs(np.diag(ohms)))


def worst_steps(count: int, seed: int) -> list[tuple[float, Variation]]:
    circuit, rng = hand.split_amplifier(), random.Random(seed)
    variations = [fault(circuit, rng).plus(fault(circuit, rng)) for _ in range(count)]
    found = Ngspice().solve(circuit, variations)
    assert found.solved.all()
    steps = []
    for volts, variation in zip(found.volts, variations, strict=True):
        faulted = rewired(applied(circuit, variation), variation)
        step = next_step(faulted, volts[: len(faulted.nodes)], variation.loads)
        steps.append((float(np.abs(step[: len(circuit.nodes)]).max()), variation))
    return steps


def test_twenty_pairs_of_faults() -> None:
    worst, variation = max(worst_steps(20, seed=11), key=lambda pair: pair[0])
    assert worst < ONE_MILLIVOLT, variation


@pytest.mark.slow
def test_six_hundred_pairs_of_faults() -> None:
    worst, variation = max(worst_steps(600, seed=12), key=lambda pair: pair[0])
    assert worst < ONE_MILLIVOLT, variation
