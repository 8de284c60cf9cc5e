"""Published supplies: ripple behind a rectifier, and behind an RC section."""

from __future__ import annotations

import math

import numpy as np
import pytest

from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.model.circuit import SOUND
from circuits.files import ROOT, load

PUBLISHED = ROOT / "circuits" / "published"


def test_full_wave_supply_with_a_reservoir() -> None:
    # Boylestad & Nashelsky, 10th ed., Ex 15.3 to 15.5, worked-examples page: 27.9 V DC and
    # 1.2 V rms. The formulas let the reservoir discharge for a whole half period, although the
    # rectifier charges it again before that: ripple comes out too high, DC too low, the DC by
    # the half of the peak-to-peak ripple that is too much.
    stage = load(PUBLISHED / "supply-full-wave.stage")
    circuit = flatten(stage)
    seconds, volts = Ngspice().transient(circuit, SOUND, 0.2, 20e-6)
    late = seconds > 0.2 - 4 / 60
    even = np.linspace(0.2 - 4 / 60, 0.2, 4001)[:-1]
    raw = np.interp(even, seconds[late], volts[late, circuit.nodes.index(stage.node("RAW"))])
    mean, ripple = float(raw.mean()), float(raw.std())
    # Conduction begins where 30 V |cos| meets the falling line: 24.6 degrees before the peak
    # here (by hand, 50 mA from 100 uF), so 13.7 % of the half period is missing.
    assert ripple < 1.2
    assert ripple == pytest.approx(1.2, rel=0.16)
    assert 27.9 < mean < 27.9 + math.sqrt(3.0) * (1.2 - ripple) + 0.25


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
