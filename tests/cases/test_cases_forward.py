"""Each case's fault gives the volts that were read, in both engines; so do the wrong guesses."""

from __future__ import annotations

import math

import pytest

from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.model.circuit import SOUND, Load, Variation
from biaspredict.model.readings import Quantity
from biaspredict.model.stage import GROUND
from biaspredict.notation.load import load_readings
from tests.cases.cases import BY_NAME, CASES, Case
from tests.circuits.files import ENGINES, load, metered, volts

# Two decimals were kept, and the meter takes 10 Mohm where the figures were worked out without.
ROUNDED = 0.01
METER = 10e6

STILL = [case for case in CASES if case.name != "volts-on-the-speaker"]  # that one still charges
SOUND_VOLTS = {
    "silicon-line-stage": {
        "VA": 17.58,
        "Q1.collector": 8.44,
        "Q1.base": 2.63,
        "Q1.emitter": 1.96,
    },
    "germanium-line-stage": {"Q1.collector": -8.02, "Q1.base": -2.02, "Q1.emitter": -1.82},
}


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("stage", SOUND_VOLTS)
def test_the_sound_stage(stage: str, engine: str) -> None:
    case = next(case for case in CASES if case.stage == stage)
    found = volts(load(case.stage_file), ENGINES[engine])
    for name, value in SOUND_VOLTS[stage].items():
        assert found[name] == pytest.approx(value, abs=ROUNDED), name


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("case", STILL, ids=lambda case: case.name)
def test_the_fault_gives_the_readings(case: Case, engine: str) -> None:
    stage = load(case.stage_file)
    entries = [
        entry
        for entry in load_readings(case.readings_file, stage).entries
        if entry.quantity is Quantity.VOLTS
    ]
    assert entries
    found = volts(stage, ENGINES[engine], case.fault)
    for entry in entries:
        assert found[entry.node] == pytest.approx(entry.value, abs=ROUNDED), entry.name


@pytest.mark.parametrize("engine", ENGINES)
def test_the_wrong_guesses_give_nearly_the_same(engine: str) -> None:
    for case in CASES:
        stage = load(case.stage_file)
        for wrong in case.wrong:
            found = volts(stage, ENGINES[engine], wrong.fault)
            for name, value in wrong.volts:
                assert found[name] == pytest.approx(value, abs=ROUNDED), (case.name, wrong.words)


@pytest.mark.parametrize("engine", ENGINES)
def test_the_wiper_shows_the_leak(engine: str) -> None:
    case = BY_NAME["scratchy-pot"]
    stage = load(case.stage_file)
    for fault, shown in ((SOUND, case.next.sound), (case.fault, case.next.faulty)):
        found = metered(stage, ENGINES[engine], [("P1.wiper", None, METER)], fault)
        assert found[0] == pytest.approx(shown, abs=0.005)
    # ... and at minimum it hides: the wiper stands on ground.
    low = case.fault.plus(Variation(settings=(("P1.turn", 0.0),)))
    assert metered(stage, ENGINES[engine], [("P1.wiper", None, METER)], low)[0] < 0.001
    # The leak itself: 25 uA through 68K.
    found = volts(stage, ENGINES[engine], case.fault)
    assert (found["Q1.base"] - found["P1.wiper"]) / 68e3 == pytest.approx(25e-6, abs=0.5e-6)


def test_a_dried_bypass_shows_only_in_the_signal() -> None:
    case = BY_NAME["thin-sound"]
    stage = load(case.stage_file)
    circuit = flatten(stage)
    base, emitter, out = (
        circuit.nodes.index(stage.node(n)) for n in ("Q1.base", "Q1.emitter", "OUT")
    )
    level = {}
    for fault, ratio in ((SOUND, case.next.sound), (case.fault, case.next.faulty)):
        row = Ngspice().sweep(circuit, fault, "input IN", [1e3])[0]
        assert abs(row[emitter] / row[base]) == pytest.approx(ratio, abs=0.01)
        level[fault] = abs(row[out])
    assert 20 * math.log10(level[case.fault] / level[SOUND]) == pytest.approx(-7.4, abs=0.1)


@pytest.mark.parametrize("engine", ENGINES)
def test_the_chart_was_read_through_its_meter(engine: str) -> None:
    case = BY_NAME["chart-reads-low"]
    stage = load(case.stage_file)
    chart = stage.charts[0]
    points = [(entry.name, None, chart.meter.input_ohms(entry.value)) for entry in chart.entries]
    assert [ohms for _, _, ohms in points] == [200e3] * 3
    shown = metered(stage, ENGINES[engine], points)
    for entry, value in zip(chart.entries, shown, strict=True):
        assert value == pytest.approx(entry.value, abs=0.05), entry.name
    # 200K put across the base by hand, today's line 6 % up.
    across = case.fault.plus(Variation(loads=(Load(stage.node("Q1.base"), GROUND, 200e3),)))
    assert volts(stage, ENGINES[engine], across)["Q1.base"] == pytest.approx(2.48, abs=ROUNDED)


def test_the_output_capacitor_is_still_charging() -> None:
    case = BY_NAME["volts-on-the-speaker"]
    stage = load(case.stage_file)
    read = load_readings(case.readings_file, stage)
    after = 60.0 * (read.minutes or 0.0)
    shown = next(entry.value for entry in read.entries if entry.name == "OUT")
    # By hand: 1000 uF into 10 Mohm has a time constant of 10,000 s, 2.8 hours.
    assert 20.0 * math.exp(-after / 10e3) == pytest.approx(shown, abs=0.05)
    circuit = flatten(stage)
    meter = Variation(loads=(Load(stage.node("OUT"), GROUND, read.meter.ohms),))
    seconds, found = Ngspice().transient(circuit, meter, after, after / 500)
    assert seconds[-1] == pytest.approx(after)
    assert found[-1, circuit.nodes.index(stage.node("OUT"))] == pytest.approx(shown, abs=0.05)
    # 100 ohms across the terminals: a time constant of 0.1 s, so a minute is plenty.
    loaded = Variation(loads=(Load(stage.node("OUT"), GROUND, 100.0),))
    _, found = Ngspice().transient(circuit, loaded, 60.0, 0.05)
    assert abs(found[-1, circuit.nodes.index(stage.node("OUT"))]) < 0.01
