"""Every stage file of the project: read, written back, wired, solved, standing as intended."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from biaspredict.engine.flatten import flatten
from biaspredict.findings import Gravity
from biaspredict.graph.checks import connectivity
from biaspredict.model.circuit import SOUND
from biaspredict.model.devices import Bipolar, Fet
from biaspredict.model.parts import Kind
from biaspredict.notation import read_stage, write_stage
from biaspredict.predict.states import Region, transistor_state
from biaspredict.predict.strain import strain
from tests.circuits.files import DEMO, ENGINES, OURS, PUBLISHED, load, metered, name_of, volts

EVERY = OURS + PUBLISHED + DEMO

# Where a transistor is meant to do anything but amplify.
RESTING = {
    ("split-rail-amplifier", "Q11"): Region.CUT_OFF,  # current limiters
    ("split-rail-amplifier", "Q12"): Region.CUT_OFF,
    ("saturated-pnp", "Q1"): Region.SATURATED,
}


def test_there_are_enough_of_them() -> None:
    assert len(OURS) >= 14
    assert len(PUBLISHED) >= 30
    assert len(DEMO) == 1
    amplifier = load(next(path for path in OURS if path.stem == "split-rail-amplifier"))
    assert len(amplifier.parts) >= 40
    assert sum(part.kind is Kind.TRANSISTOR for part in amplifier.parts) >= 9


@pytest.mark.parametrize("path", EVERY, ids=name_of)
def test_it_can_be_written_back(path: Path) -> None:
    stage = load(path)
    text = write_stage(stage)
    assert read_stage(text, path.name) == stage
    assert write_stage(read_stage(text, path.name)) == text


@pytest.mark.parametrize("path", EVERY, ids=name_of)
def test_its_wiring_has_no_slip(path: Path) -> None:
    found = [finding for finding in connectivity(load(path)) if finding.gravity is Gravity.STOP]
    assert not found, [finding.fact for finding in found]


@pytest.mark.parametrize("path", EVERY, ids=name_of)
def test_both_engines_agree(path: Path) -> None:
    circuit = flatten(load(path))
    one, other = (engine.solve(circuit, [SOUND]) for engine in ENGINES.values())
    assert one.solved.all()
    assert other.solved.all()
    far = np.abs(one.volts - other.volts)
    assert (far <= 1e-3 + 1e-3 * np.abs(other.volts)).all(), dict(
        zip(circuit.nodes, far[0], strict=False)
    )


@pytest.mark.parametrize("path", EVERY, ids=name_of)
def test_every_transistor_stands_where_it_should(path: Path) -> None:
    stage = load(path)
    found = volts(stage, ENGINES["ngspice"])
    for part in stage.parts:
        if isinstance(part.device, Bipolar | Fet):
            state = transistor_state(stage, part, found)
            assert state is not None
            expected = RESTING.get((path.stem, part.ref), Region.ACTIVE)
            assert state.region is expected, (part.ref, state)


@pytest.mark.parametrize("path", OURS + DEMO, ids=name_of)
def test_no_part_is_strained(path: Path) -> None:
    # Electrolytics the right way round and below their working volts, resistors within watts.
    stage = load(path)
    # Where transistors stand is tested above.
    found = strain(stage, volts(stage, ENGINES["ngspice"]))
    assert [f.fact for f in found if not f.code.startswith("transistor-")] == []


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("path", OURS + DEMO, ids=name_of)
def test_its_chart_agrees(path: Path, engine: str) -> None:
    stage = load(path)
    for chart in stage.charts:
        if chart.quantity != "volts":
            continue
        points = [
            (entry.name, entry.minus_name, chart.meter.input_ohms(entry.value))
            for entry in chart.entries
        ]
        shown = metered(stage, ENGINES[engine], points)
        for entry, value in zip(chart.entries, shown, strict=True):
            # Printed to a tenth of a volt (0.05) where small, else within the chart's tolerance.
            room = max(0.05, chart.tolerance * abs(value))
            assert entry.value == pytest.approx(value, abs=room), entry.name


def test_enough_charts_are_printed() -> None:
    assert sum(bool(load(path).charts) for path in OURS + DEMO) >= 10
