"""Published supplies: ripple behind a rectifier, and behind an RC section."""

from __future__ import annotations

import math

import numpy as np
import pytest

from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.model.circuit import SOUND
from tests.circuits.files import ROOT, load

PUBLISHED = ROOT / "circuits" / "published"


def valley(peak: float, amps: float, farads: float, hertz: float) -> tuple[float, float]:
    """Lowest volts of a full-wave reservoir and where the charging begins, as a share of the half
    period: by hand, constant current, ideal rectifiers. The line leaves the cosine where it falls
    as fast as the reservoir would, and meets it again on the other side."""
    fall = amps / (farads * 2.0 * math.pi * hertz)  # volts per radian
    leaves = math.asin(fall / peak)
    low, high = math.pi / 2, math.pi
    while high - low > 1e-9:
        middle = (low + high) / 2
        line = peak * math.cos(leaves) - fall * (middle - leaves)
        low, high = (middle, high) if line > -peak * math.cos(middle) else (low, middle)
    return -peak * math.cos(low), low / math.pi


def test_full_wave_supply_with_a_reservoir() -> None:
    # Boylestad & Nashelsky, 10th ed., Ex 15.3 to 15.5, worked-examples page: 27.9 V DC and
    # 1.2 V rms, by formulas that let the reservoir discharge for a whole half period.
    printed_dc, printed_ripple = 27.9, 1.2
    stage = load(PUBLISHED / "supply-full-wave.stage")
    circuit = flatten(stage)
    seconds, volts = Ngspice().transient(circuit, SOUND, 0.2, 20e-6)
    even = np.linspace(0.2 - 4 / 60, 0.2, 4001)[:-1]
    raw = np.interp(even, seconds, volts[:, circuit.nodes.index(stage.node("RAW"))])
    lowest, share = valley(30.0, 50e-3, 100e-6, 60.0)
    assert raw.max() == pytest.approx(30.0, abs=0.1)
    assert raw.min() == pytest.approx(lowest, abs=0.1)
    # The formulas, and the formulas with the true time of discharge (84 % of the half period).
    assert printed_ripple * share < raw.std() < printed_ripple
    excess = 2.0 * math.sqrt(3.0) * printed_ripple - (30.0 - lowest)  # volts peak to peak
    assert printed_dc < raw.mean() < printed_dc + excess


def test_rc_section_ripple() -> None:
    # Same book, Ex 15.7, worked-examples page: 3.9 V rms from 15 V. The book lets only the
    # capacitor's reactance, 132.6 ohms, divide by 500 ohms: exact is |Z| / |R + Z| with
    # Z = 5K in parallel with 10 uF.
    stage = load(PUBLISHED / "supply-rc-ripple.stage")
    circuit = flatten(stage)
    column = circuit.nodes.index(stage.node("B+"))
    found = 15.0 * abs(complex(Ngspice().sweep(circuit, SOUND, "RAW", [120.0])[0, column]))
    reactance = 1.0 / (2.0 * math.pi * 120.0 * 10e-6)
    branch = 1.0 / complex(1 / 5e3, 1.0 / reactance)
    assert found == pytest.approx(15.0 * abs(branch / (500.0 + branch)), rel=1e-4)
    book = 15.0 * reactance / 500.0  # without the quadrature sum of 500 and 133 ohms
    assert book == pytest.approx(3.9, abs=0.1)
    assert found == pytest.approx(3.9, rel=1.0 - 1.0 / math.hypot(1.0, reactance / 500.0))
