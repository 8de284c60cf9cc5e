"""Runs over time that begin with charged capacitors and coils, and with the mains anywhere."""

from __future__ import annotations

import math

import numpy as np
import pytest

from biaspredict.engine.moving import winding_amps
from biaspredict.engine.ngspice import Ngspice
from biaspredict.model.circuit import OPEN, SOUND, Circuit, Device, Element
from biaspredict.model.stage import GROUND


def test_a_charged_capacitor_dies_away() -> None:
    # v = v0 exp(-t / RC), textbook.
    circuit = Circuit(
        ("A",),
        (
            Element("C1", Device.CAPACITOR, (GROUND, "A"), (1e-6, OPEN, 0.0)),
            Element("R1", Device.RESISTOR, ("A", GROUND), (1e3,)),
        ),
    )
    seconds, volts = Ngspice().transient(circuit, SOUND, 3e-3, 1e-5, charges={"C1": 5.0})
    late = seconds > 1e-5
    assert volts[late, 0] == pytest.approx(-5.0 * np.exp(-seconds[late] / 1e-3), rel=1e-3)


def test_current_in_a_coil_dies_away() -> None:
    # i = i0 exp(-t R / L): 0.1 A into terminal 1, so out of the node of terminal 1.
    circuit = Circuit(
        ("A",),
        (
            Element("L1", Device.COIL, ("A", GROUND), (1.0, 2.0)),
            Element("R1", Device.RESISTOR, ("A", GROUND), (99.0,)),
        ),
    )
    seconds, volts = Ngspice().transient(circuit, SOUND, 0.06, 1e-4, charges={"L1": 0.1})
    late = seconds > 1e-4
    assert volts[late, 0] == pytest.approx(-9.9 * np.exp(-seconds[late] * 50.0), rel=1e-3)


def test_sources_are_on_and_what_is_not_named_is_empty() -> None:
    circuit = Circuit(
        ("A",),
        (
            Element("B+", Device.SOURCE, ("A",), (10.0, 1e3)),
            Element("C1", Device.CAPACITOR, ("A", GROUND), (1e-6, OPEN, 0.0)),
        ),
    )
    seconds, volts = Ngspice().transient(circuit, SOUND, 3e-3, 1e-5, charges={})
    late = seconds > 1e-5
    assert volts[late, 0] == pytest.approx(10.0 * (1.0 - np.exp(-seconds[late] / 1e-3)), rel=2e-3)


@pytest.mark.parametrize("degrees", [0.0, 90.0, 217.0])
def test_the_mains_begins_where_it_is_told(degrees: float) -> None:
    circuit = Circuit(
        ("A",),
        (
            Element("T1", Device.WINDING, ("A", GROUND), (10.0, 12.0, 50.0)),
            Element("R1", Device.RESISTOR, ("A", GROUND), (90.0,)),
        ),
    )
    seconds, volts = Ngspice().transient(circuit, SOUND, 0.04, 1e-4, charges={}, degrees=degrees)
    turned = 2.0 * math.pi * 50.0 * seconds + math.radians(degrees)
    late = seconds > 1e-5
    expected = 0.9 * 12.0 * math.sqrt(2.0) * np.sin(turned)
    assert volts[late, 0] == pytest.approx(expected[late], abs=1e-4)
    amps = winding_amps(circuit, "T1", seconds, volts, degrees)
    assert amps[late] == pytest.approx(expected[late] / 90.0, abs=1e-4)
