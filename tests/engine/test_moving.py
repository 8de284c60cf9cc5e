"""Runs over frequency and time against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from biaspredict.engine.moving import winding_amps
from biaspredict.engine.ngspice import Ngspice
from biaspredict.errors import InputError, Unsolved
from biaspredict.model.circuit import OPEN, SOUND, Circuit, Device, Load, Variation
from tests.engine import hand


def high_pass(ohms: float, farads: float, series: float = 0.0) -> Circuit:
    return hand.circuit(
        hand.source("input", 0.0, 1e-3, "a"),
        hand.capacitor("C1", "a", "b", farads, series),
        hand.resistor("R1", "b", "ground", ohms),
    )


@pytest.mark.parametrize(
    ("ohms", "farads", "corner"),
    [
        # Floyd, Electronic Devices, 7th ed., Ex 10.3, 10.5, 10.7 (transcribed examples)
        (1e3, 1e-6, 159.15),
        (20e3, 0.1e-6, 79.58),
        (10e6, 1e-9, 15.915),
    ],
)
def test_corner_of_a_coupling_capacitor(ohms: float, farads: float, corner: float) -> None:
    found = Ngspice().sweep(high_pass(ohms, farads), SOUND, "input", [corner, 10.0 * corner])
    assert abs(found[0, 1]) == pytest.approx(math.sqrt(0.5), rel=1e-4)
    assert np.angle(found[0, 1], deg=True) == pytest.approx(45.0, abs=0.01)
    assert abs(found[1, 1]) == pytest.approx(1.0 / math.sqrt(1.01), rel=1e-4)


def test_series_resistance_and_loads_count_over_frequency() -> None:
    worn = high_pass(1e3, 1e-6, series=500.0)
    bridged = Variation(loads=(Load("b", "ground", 1e3),))
    (row,) = Ngspice().sweep(worn, bridged, "input", [1e6])
    assert abs(row[1]) == pytest.approx(0.5, rel=1e-4)  # 500 / (500 + 1000 // 1000)


def test_coil_over_frequency() -> None:
    coil = hand.Element("L1", Device.COIL, ("a", "b"), (100.0, 0.1))
    circuit = hand.circuit(
        hand.source("input", 0.0, 1e-3, "a"), coil, hand.resistor("R1", "b", "ground", 900.0)
    )
    corner = 1000.0 / (2.0 * math.pi * 0.1)
    (row,) = Ngspice().sweep(circuit, SOUND, "input", [corner])
    assert row[1] == pytest.approx(0.9 / (1.0 + 1.0j), rel=1e-4)


def test_gain_of_a_stage_over_frequency_and_over_time() -> None:
    """The same gain by both runs, for a swing far below the thermal volts."""
    stage = hand.divider_stage()
    (row,) = Ngspice().sweep(stage, SOUND, "input in", [1000.0])
    collector = stage.nodes.index("collector")
    times, volts = Ngspice().transient(
        stage, SOUND, 20e-3, 5e-6, start="operating", drives={"input in": (1e-4, 1000.0)}
    )
    late = volts[times > 15e-3, collector]
    assert np.ptp(late) / 2.0 / 1e-4 == pytest.approx(abs(row[collector]), rel=0.01)
    # gm RC with gm = IC / VT, IC 1.9 mA, less what the source resistance takes.
    assert 300.0 < abs(row[collector]) < 500.0


def test_switch_on_charges_the_capacitor() -> None:
    circuit = hand.circuit(
        hand.source("B+", 22.0, 1e3), hand.capacitor("C1", "B+", "ground", 100e-6)
    )
    times, volts = Ngspice().transient(circuit, SOUND, 0.5, 1e-3)
    assert times[0] == 0.0
    assert times[-1] == pytest.approx(0.5)
    assert np.diff(times).max() <= 1e-3 * (1.0 + 1e-9)
    expected = 22.0 * (1.0 - np.exp(-times / 0.1))
    assert np.abs(volts[:, 0] - expected).max() < 1e-3


def test_from_the_operating_point_nothing_moves() -> None:
    stage = hand.pair()
    _, volts = Ngspice().transient(stage, SOUND, 1e-3, 1e-5, start="operating")
    at_rest = Ngspice().solve(stage, [SOUND]).volts[0]
    assert np.abs(volts - at_rest).max() < 1e-5


def rectifier(source_ohms: float, load: float) -> Circuit:
    winding = hand.Element("T1", Device.WINDING, ("w", "ground"), (source_ohms, 500.0, 50.0))
    return hand.circuit(
        winding,
        hand.junction("D1", "w", "B+"),
        hand.capacitor("C1", "B+", "ground", 1.0 / load),  # omega C R of 314
        hand.resistor("R1", "B+", "ground", load),
    )


@pytest.mark.parametrize(("ratio", "charted"), [(0.01, 0.904), (0.05, 0.752)])
def test_capacitor_input_rectifier(ratio: float, charted: float) -> None:
    """Half wave, large omega C R: tan t - t = pi Rs / RL, Vdc / Vpeak = cos t.

    Source: the charge that flows in through Rs within the conduction angle 2 t equals the charge
    that flows out through RL at constant volts (derived). 500 V make the diode's drop small.
    """
    load, peak = 10e3, 500.0 * math.sqrt(2.0)
    angle = brentq(lambda t: math.tan(t) - t - math.pi * ratio, 1e-3, 1.5)
    assert math.cos(angle) == pytest.approx(charted, abs=6e-4)
    circuit = rectifier(ratio * load, load)
    times, volts = Ngspice().transient(circuit, SOUND, 60.0 * ratio, 2e-4)
    late = times >= 0.9 * times[-1]  # whole periods, long after the capacitor has settled
    steps, mean = np.diff(times[late]), (volts[late, 1][1:] + volts[late, 1][:-1]) / 2.0
    assert np.average(mean, weights=steps) / peak == pytest.approx(charted, rel=0.01)
    amps = winding_amps(circuit, "T1", times, volts)
    most = peak * (1.0 - charted) / (ratio * load)
    assert amps[late].max() == pytest.approx(most, rel=0.03)
    assert amps.max() > 1.5 * most, "the first charge takes far more than the later ones"
    assert amps.min() > -1e-6, "the diode let current back"


def test_what_cannot_be_run_says_so() -> None:
    ours, stage = Ngspice(), hand.divider_stage()
    with pytest.raises(InputError, match="no source called 'Q1'"):
        ours.sweep(stage, SOUND, "Q1", [100.0])
    with pytest.raises(InputError, match="above zero"):
        ours.sweep(stage, SOUND, "B+", [0.0])
    with pytest.raises(InputError, match="longer than the step"):
        ours.transient(stage, SOUND, 1e-3, 1.0)
    with pytest.raises(InputError, match="no source called 'nobody'"):
        ours.transient(stage, SOUND, 1.0, 1e-3, drives={"nobody": (1.0, 50.0)})
    with pytest.raises(InputError, match="not a winding"):
        winding_amps(stage, "R1", np.zeros(1), np.zeros((1, len(stage.nodes))))
    with pytest.raises(Unsolved, match="beyond all bounds"):
        ours.sweep(stage, Variation(settings=(("R1.ohms", -1.0),)), "B+", [100.0])
    adrift = hand.circuit(
        hand.source("B+", 22.0),
        hand.current("U1", "ground", "pin", 1e-3),
        hand.resistor("R1", "pin", "ground", OPEN),
    )
    with pytest.raises(Unsolved, match="no operating point"):
        ours.sweep(adrift, SOUND, "B+", [100.0])
