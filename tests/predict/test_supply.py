"""Supplies run to rest: against waiting for it, and against the balance of charge and power."""

from __future__ import annotations

import math

import numpy as np
import pytest

from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.engine.values import held
from biaspredict.errors import InputError, Unsolved
from biaspredict.model.circuit import SOUND, Variation
from biaspredict.predict.at_rest import must_be_fed
from biaspredict.predict.rectifying import rectifiers, stored
from biaspredict.predict.steady import Steady, mains_hertz, settle
from biaspredict.predict.supply import rail_lines, supply
from tests.predict import supplies
from tests.predict.supplies import stage

ALL = {
    "half": supplies.HALF_WAVE,
    "negative": supplies.NEGATIVE,
    "bridge": supplies.BRIDGE,
    "both": supplies.BOTH_WAYS,
    "doubler": supplies.DOUBLER,
    "cascade": supplies.CASCADE,
    "choke": supplies.CHOKE,
}


def settled(text: str, variation: Variation = SOUND) -> Steady:
    of = stage(text)
    return settle(flatten(of), must_be_fed(of), 50.0, Ngspice(), variation)


@pytest.mark.parametrize("name", ["bridge", "doubler", "choke"])
def test_rest_is_where_waiting_leads(name: str) -> None:
    of = stage(ALL[name])
    circuit = flatten(of)
    found = settled(ALL[name])
    seconds, volts = Ngspice().transient(circuit, SOUND, 2.0, 2e-4)
    late = seconds > 2.0 - 4 / 50
    for node in circuit.nodes:
        column = volts[late, circuit.nodes.index(node)]
        mean = np.trapezoid(column, seconds[late]) / np.ptp(seconds[late])
        top = max(abs(v) for v in found.means.values())
        assert found.means[node] == pytest.approx(mean, abs=1e-3 * top)


@pytest.mark.parametrize("name", ALL)
def test_charge_balances(name: str) -> None:
    """At rest no capacitor gains charge, and what rectifiers bring is what the load takes."""
    of = stage(ALL[name])
    found = settled(ALL[name])
    side = must_be_fed(of)
    for capacitor in stored(of, found, None):
        nodes = found.circuit.element(capacitor.ref).nodes
        volts = found.across(*nodes)
        assert abs(volts[-1] - volts[0]) < 0.01 * capacitor.ripple
    load = abs(found.means[found.circuit.element("R1").nodes[0]]) / (
        of.part("R1").now or math.inf
    )
    into = {f.node: f.rectifiers for f in side.feeds if f.rectifiers}
    means = {r.ref: r.mean for r in rectifiers(side, found)}
    first = next(iter(into.values()))
    assert sum(means[ref] for ref in first) == pytest.approx(load, rel=0.005)


def test_ripple_current_is_what_the_load_does_not_take() -> None:
    """Rectified current less its DC, in the quadrature sum of rms values."""
    found = settled(supplies.BRIDGE)
    (reservoir,) = stored(stage(supplies.BRIDGE), found, None)
    drawn = found.means["RAW"] / 330.0
    winding = found.rms(found.winding("T1"))
    assert reservoir.amps == pytest.approx(math.sqrt(winding**2 - drawn**2), rel=0.01)


@pytest.mark.parametrize("name", ["half", "bridge", "both"])
def test_power_balances(name: str) -> None:
    """What the windings' sources give is heat in windings, rectifiers and loads."""
    of = stage(ALL[name])
    found = settled(ALL[name])
    side = must_be_fed(of)
    given, heat = 0.0, 0.0
    for ref in side.windings:
        amps = found.winding(ref)
        ohms = held(found.circuit.element(ref).value("ohms"))
        a, b = found.circuit.element(ref).nodes
        given += found.mean(amps * (found.across(a, b) + ohms * amps))
        heat += ohms * found.rms(amps) ** 2
    drop = 0.0
    for rectifier in rectifiers(side, found):
        drop += 0.85 * rectifier.mean  # volts of a small or medium rectifier in its pulse
        assert rectifier.peak > 3.0 * rectifier.mean
    heat += sum(
        found.rms(found.across(*e.nodes)) ** 2 / e.value("ohms")
        for e in found.circuit.elements
        if e.name in ("R1", "R2")
    )
    assert given == pytest.approx(heat + drop, rel=0.01)


def test_volts_follow_the_line() -> None:
    found = supply(stage(supplies.BRIDGE), Ngspice())
    (line,) = found.lines
    # the drops of two rectifiers stay where they are
    assert (line.high + 1.7) / (line.volts + 1.7) == pytest.approx(1.1, abs=0.005)
    assert (line.low + 1.7) / (line.volts + 1.7) == pytest.approx(0.9, abs=0.005)
    assert found.capacitors[0].unloaded == pytest.approx(line.high, rel=0.05)


def test_rail_line_reads_back_and_predicts_another_load() -> None:
    """The rail that stands for the supply, with half as much again drawn, against a run."""
    from biaspredict.notation import read_stage

    (text,) = rail_lines(supply(stage(supplies.BRIDGE), Ngspice()))
    behind = read_stage(f'stage "behind"\n{text}\nRAW -- R1 220 5 W -- ground\n', "behind.stage")
    direct = Ngspice().solve(flatten(behind), [SOUND]).volts[0, 0]
    run = settled(supplies.BRIDGE.replace("330 5 W", "220 5 W"))
    assert direct == pytest.approx(run.means["RAW"], rel=0.01)


def test_leakage_in_the_reservoir_is_followed() -> None:
    leaky = settled(supplies.BRIDGE, Variation(settings=(("C1.leak", 330.0),)))
    loaded = settled(supplies.BRIDGE.replace("330 5 W", "165 5 W"))
    assert leaky.means["RAW"] == pytest.approx(loaded.means["RAW"], rel=1e-3)


def test_switch_on_of_a_choke_is_tamed() -> None:
    choke = supply(stage(supplies.CHOKE), Ngspice()).switch_on
    straight = supplies.CHOKE.replace("L1 choke 5 H 100 ohms", "R9 100 10 W")
    assert choke.amps < supply(stage(straight), Ngspice()).switch_on.amps
    assert choke.seconds is not None


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("rail B+ 9 V\nB+ -- R1 1K -- ground\n", "no transformer winding"),
        (
            "T1 winding 18 V 50 Hz 3 ohms\nground -- T1 -- A -- R1 330 -- ground\n",
            "no rectifier",
        ),
        ("rail RAW 15 V\n" + supplies.HALF_WAVE, "not a rail already"),
        (supplies.HALF_WAVE.replace("50 Hz ", ""), "no frequency"),
        (
            supplies.HALF_WAVE + "T2 winding 9 V 60 Hz 1 ohms\nground -- T2 -- B -- D2> -- RAW\n",
            "different frequencies: T1 50 Hz, T2 60 Hz",
        ),
    ],
    ids=["no winding", "no rectifier", "rail", "no hertz", "two mains"],
)
def test_what_is_no_supply_is_refused(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says) as problem:
        supply(stage(text), Ngspice())
    assert problem.value.remedy


def test_a_transistor_on_the_winding_is_refused() -> None:
    text = supplies.HALF_WAVE + "Q1 npn\nA -- R2 10K -- Q1.base\nRAW -- R3 1K -- Q1.collector\n"
    with pytest.raises(Unsolved, match="reaches Q1 without a rectifier"):
        supply(stage(text + "Q1.emitter -- ground\n"), Ngspice())


def test_hertz_of_the_windings() -> None:
    of = stage(supplies.BOTH_WAYS)
    assert mains_hertz(of, must_be_fed(of)) == 50.0
