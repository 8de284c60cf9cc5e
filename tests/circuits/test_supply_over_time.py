"""The small supply over time, against the analytic limit of the capacitor-input filter."""

from __future__ import annotations

import math

import numpy as np
import pytest

from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.model.circuit import SOUND
from biaspredict.model.devices import REFERENCE_CELSIUS, Diode, thermal_volts
from tests.circuits.files import ROOT, load


def large_reservoir(share: float) -> float:
    """Mean over peak volts of a full-wave rectifier, source ohms / load ohms = share.

    Analytic limit of a large reservoir: half the conduction angle t obeys
    tan t - t = pi share / 2, and the mean is cos t of the peak.
    """
    low, high = 0.0, math.pi / 2 - 1e-9
    while high - low > 1e-12:
        middle = (low + high) / 2
        more = math.tan(middle) - middle < math.pi * share / 2
        low, high = (middle, high) if more else (low, middle)
    return math.cos(low)


@pytest.mark.parametrize(("share", "mean"), [(0.01, 0.938), (0.05, 0.832), (0.10, 0.752)])
def test_the_limit_itself(share: float, mean: float) -> None:
    # Tabulated values of the same limit, worked out apart from this project.
    assert large_reservoir(share) == pytest.approx(mean, abs=0.0005)


def test_the_small_supply() -> None:
    stage = load(ROOT / "circuits" / "bench-supply.stage")
    circuit = flatten(stage)
    seconds, volts = Ngspice().transient(circuit, SOUND, 0.6, 1e-4)
    even = np.linspace(0.5, 0.6, 5001)[:-1]
    raw, out = (
        float(np.interp(even, seconds, volts[:, circuit.nodes.index(stage.node(name))]).mean())
        for name in ("RAW", "B+")
    )
    winding, diode = stage.part("T1S"), stage.part("D1").device
    assert winding.volts is not None
    assert winding.ohms is not None
    assert isinstance(diode, Diode)
    load_ohms = 47.0 + 1.0 / (1.0 / 330.0 + 1.0 / 4.7e3)
    # Two rectifiers in series pass pulses of about half an ampere (0.07 A mean through a fifth
    # of the time, pointed): their drop at that current comes off the peak.
    drop = diode.drop + thermal_volts(REFERENCE_CELSIUS) * math.log(0.5 / diode.drop_amps)
    peak = winding.volts * math.sqrt(2.0) - 2.0 * drop
    expected = peak * large_reservoir(winding.ohms / load_ohms)
    assert raw == pytest.approx(expected, rel=0.01)
    assert out == pytest.approx(raw * (load_ohms - 47.0) / load_ohms, rel=0.005)
