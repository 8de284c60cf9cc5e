"""Dry, resistive and leaky capacitors, and how long to wait before a reading."""

from __future__ import annotations

import math

import numpy as np
import pytest

from biaspredict.engine.batch import Batch
from biaspredict.engine.flatten import flatten
from biaspredict.errors import Unsolved
from biaspredict.model.circuit import SOUND, Variation
from biaspredict.predict.bias import Bias, predict_bias
from biaspredict.predict.capacitors import capacitors
from biaspredict.predict.dryness import BAD, POOR, drying, series_ohms
from biaspredict.predict.leakage import READABLE, leakage, modern_limit, old_limit
from biaspredict.predict.path import signal_path_of
from biaspredict.predict.settling import settling
from biaspredict.predict.turn_on import turn_on
from tests.circuits.files import OURS, ROOT, load
from tests.predict.by_hand import DIVIDER, REFEREE, Divider, decibels, stage_of

CASES = ROOT / "tests" / "cases"
LINE = load(CASES / "silicon-line-stage.stage")


# --- dry and resistive ---------------------------------------------------------------------------


def test_cost_of_drying_against_node_equations() -> None:
    """The bypass at 2 % of its value, by hand."""
    found = {dry.ref: dry for dry in drying(signal_path_of(stage_of(DIVIDER), REFEREE)).capacitors}
    hand = Divider()
    for ref, dry in found.items():
        for share, cost in dry.left:
            less = hand.farads | {ref: hand.farads[ref] * share}
            sound = decibels([hand.gain(20.0), hand.gain(1e3)])
            now = decibels([hand.gain(20.0, less), hand.gain(1e3, less)])
            assert (cost.low, cost.middle) == pytest.approx(
                (now[0] - sound[0], now[1] - sound[1]), abs=2e-3
            )


def test_thin_sound() -> None:
    """Bench case (ours, simulated before): the bypass dried from 50 to 1 uF costs 7.4 dB at 1 kHz,
    its corner moves from 45 to 630 Hz, and the DC says nothing."""
    found = {dry.ref: dry for dry in drying(signal_path_of(LINE, REFEREE)).capacitors}
    share, cost = found["C3"].left[-1]
    assert share == 0.02
    assert cost.middle == pytest.approx(-7.4, abs=0.15)
    assert found["C3"].seen[0]
    assert not found["C2"].seen[1]


def test_a_dry_supply_filter_shows_as_hum_only() -> None:
    found = {dry.ref: dry for dry in drying(signal_path_of(LINE, REFEREE)).capacitors}
    tenth = found["C4"].left[1][1]
    assert found["C4"].seen == (False, False)
    # 2.2K and 100 uF well above their corner: a tenth of the capacitance, ten times the hum.
    assert tenth.hum == pytest.approx(20.0, abs=0.5)


def test_series_resistance_by_size() -> None:
    """Common practice, no source: 10 uF 10 ohm poor, 100 bad; 1000 uF 0.5 poor, 2 bad."""
    for farads, poor, bad in ((10e-6, 10.0, 100.0), (1000e-6, 0.5, 2.0)):
        assert series_ohms(farads, POOR) == pytest.approx(poor)
        assert series_ohms(farads, BAD) == pytest.approx(bad)
    assert 2.0 < series_ohms(100e-6, BAD) < 100.0


# --- leakage -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("farads", "volts", "amps"),
    # IEC 60384-4 (wording from memory): the larger of 3 uA and 0.01 C V.
    [(100e-6, 25.0, 25e-6), (5e-6, 15.0, 3e-6), (1000e-6, 35.0, 350e-6), (10e-6, 30.0, 3e-6)],
)
def test_modern_limit(farads: float, volts: float, amps: float) -> None:
    assert modern_limit(farads, volts) == pytest.approx(amps)


@pytest.mark.parametrize(
    ("farads", "volts", "amps"),
    # JAN-C-62 (read on a public page): I mA = K C + 0.3; K 0.01, 0.02, 0.025, 0.04.
    [(50e-6, 6.0, 0.8e-3), (20e-6, 150.0, 0.7e-3), (40e-6, 350.0, 1.3e-3), (8e-6, 450.0, 0.62e-3)],
)
def test_old_limit(farads: float, volts: float, amps: float) -> None:
    assert old_limit(farads, volts) == pytest.approx(amps)
    assert old_limit(farads, 600.0) is None


@pytest.fixture(scope="module")
def bias() -> Bias:
    return predict_bias(LINE, REFEREE, Batch())


def test_the_leak_found_is_the_least_that_shows(bias: Bias) -> None:
    """By ngspice: at that leak a node is out of its band, at two thirds of it none is."""
    circuit = flatten(LINE)
    for leak in leakage(bias, Batch()):
        assert leak.amps is not None
        part = LINE.part(leak.ref)

        def out(
            ohms: float, ref: str = leak.ref, nodes: tuple[str, ...] = part.nodes
        ) -> tuple[list[str], float]:
            found = REFEREE.solve(circuit, [Variation(settings=((f"{ref}.leak", ohms),))])
            volts = {"ground": 0.0} | dict(
                zip(circuit.nodes, map(float, found.volts[0]), strict=False)
            )
            beyond = [
                node
                for node, level in bias.levels.items()
                if not level.low - READABLE <= volts[node] <= level.high + READABLE
            ]
            return beyond, (volts[nodes[0]] - volts[nodes[1]]) / ohms

        ohms = abs(leak.volts) / leak.amps
        for _ in range(20):  # the leak itself changes the volts across it
            _, amps = out(ohms)
            ohms *= abs(amps) / leak.amps
        assert leak.node in out(ohms * 0.999)[0]
        assert out(ohms * 1.5)[0] == []


def test_leaks_of_the_line_stage(bias: Bias) -> None:
    """C1 into a base of 38K stands microamps, C3 across 1K hundreds (bench: C1's 25 uA show)."""
    found = {leak.ref: leak for leak in leakage(bias, Batch())}
    assert found["C1"].amps is not None
    assert 1e-6 < found["C1"].amps < 25e-6
    assert found["C3"].amps is not None
    assert 1e-4 < found["C3"].amps < 1e-3
    assert found["C3"].limit == pytest.approx(3e-6)
    assert found["C3"].old_limit == pytest.approx(0.8e-3)


# --- waiting -------------------------------------------------------------------------------------


def test_what_a_transient_leaves_last_is_the_slowest_mode() -> None:
    """The last volts of an ngspice run die away with the slowest time constant."""
    # Into a large output capacitor, so that one mode is ten times slower than all others.
    stage = stage_of(DIVIDER.replace("+C2 5 MFD", "+C2 50 MFD"))
    circuit = flatten(stage)
    slowest, next_one = settling(stage, REFEREE).constants[:2]
    assert slowest > 8.0 * next_one
    final = REFEREE.solve(circuit, [SOUND]).volts[0]
    times, volts = REFEREE.transient(circuit, SOUND, 5.0 * slowest, slowest / 400.0)
    column = circuit.nodes.index("OUT")
    off = np.abs(volts[:, column] - final[column])
    early, late = (int(np.searchsorted(times, k * slowest)) for k in (3.0, 4.5))
    measured = (times[late] - times[early]) / math.log(off[early] / off[late])
    assert measured == pytest.approx(slowest, rel=0.002)


@pytest.mark.parametrize("name", ["line-stage", "emitter-follower", "fet-input"])
def test_waits_against_a_run_in_ngspice(name: str) -> None:
    """Once all transistors conduct the stage is linear, and that is where the waiting is."""
    stage = load(next(path for path in OURS if path.stem == name))
    run = turn_on(stage, REFEREE)
    for wait in settling(stage, REFEREE).waits:
        measured = run.seconds[wait.node]
        assert measured is not None
        if wait.seconds > 0.1:
            assert measured == pytest.approx(wait.seconds, rel=0.05)


def test_a_node_that_only_a_meter_discharges() -> None:
    """Bench case: 1000 uF and a 10 Mohm meter are 1e4 s, 2.8 hours."""
    found = settling(load(CASES / "output-capacitor.stage"), REFEREE)
    (loose,) = found.loose
    assert (loose.node, loose.capacitors, loose.bridge) == ("OUT", ("C1",), 100.0)
    assert loose.constant == pytest.approx(2.8 * 3600.0, rel=0.01)
    # From 20 V to 10 mV.
    assert loose.seconds == pytest.approx(1e4 * math.log(20.0 / 0.01), rel=0.02)
    assert [wait.node for wait in found.waits] == ["MID"]


def test_sections_are_withheld_one_by_one() -> None:
    regulator = load(next(path for path in OURS if path.stem == "series-regulator"))
    found = capacitors(regulator, REFEREE, Batch())
    assert set(found.withheld) == {"bass", "dry"}
    assert found.leaks is not None
    assert found.settling is not None
    winding = load(next(path for path in OURS if path.stem == "bench-supply"))
    with pytest.raises(Unsolved, match="winding"):
        capacitors(winding, REFEREE, Batch())
