"""Small signals of many variations at once: against ngspice, and slopes against differences."""

from __future__ import annotations

import numpy as np
import pytest

from biaspredict.engine.batch import Batch
from biaspredict.engine.ngspice import Ngspice
from biaspredict.engine.responses import responses
from biaspredict.model.circuit import OPEN, SOUND, Axis, Load, Variation
from biaspredict.model.stage import Stage
from biaspredict.predict.path import signal_circuit
from biaspredict.predict.spread import axes
from tests.circuits.files import ROOT, load

STAGES = {
    name: load(ROOT / "circuits" / f"{name}.stage")
    for name in ("line-stage", "phono-pair", "fet-input", "split-rail-amplifier", "tone-stage")
}
LINE = STAGES["line-stage"]


def capacitors(stage: Stage) -> list[Axis]:
    return [
        Axis((f"{part.ref}.farads",), 0.2, name=part.ref)
        for part in stage.parts
        if part.kind.value in ("capacitor", "electrolytic")
    ]


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.parametrize("hertz", [20.0, 1e3, 20e3])
def test_gain_is_that_of_ngspice(name: str, hertz: float) -> None:
    stage = STAGES[name]
    circuit = signal_circuit(stage)
    source = f"input {stage.inputs[0].node}"
    some = [SOUND, Variation(scales=((f"{capacitors(stage)[0].name}.farads", 0.05),))]
    volts = Batch().solve(circuit, some).volts
    points = np.tile([circuit.nodes.index(stage.outputs[0].node)], (2, 1))
    found = responses(circuit, some, (), None, volts, source, hertz, points)
    for row, variation in enumerate(some):
        wanted = Ngspice().sweep(circuit, variation, source, [hertz])[0, points[row, 0]]
        # ngspice keeps its own gmin, which a high-impedance gate sees
        assert found.volts[row, 0] == pytest.approx(wanted, rel=2e-4)


@pytest.mark.parametrize("name", STAGES)
def test_slopes_are_those_of_the_solved_stage(name: str) -> None:
    """Central differences of the gain, each end at an operating point of its own."""
    stage = STAGES[name]
    circuit = signal_circuit(stage)
    source = f"input {stage.inputs[0].node}"
    around = [*axes(stage), *capacitors(stage)]
    random = np.random.default_rng(7)
    centre = random.normal(size=len(around)) * [0.4 * axis.sigma for axis in around]
    points = [circuit.nodes.index(p.node) for p in (stage.outputs[0], stage.inputs[0])]

    def shown(amounts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        many = [SOUND] * len(amounts)
        found = Batch().solve(circuit, many, around, amounts)
        assert found.solved.all()
        got = responses(circuit, many, around, amounts, found.volts, source, 100.0,
                        np.tile([points], (len(many), 1)))
        return got.volts, got.slopes

    half = np.array([0.05 if axis.name == "temperature" else 1e-3 for axis in around])
    volts, slopes = shown(centre[None])
    ends = np.concatenate([centre + np.diag(half), centre - np.diag(half)])
    moved, _ = shown(ends)
    wanted = (moved[: len(around)] - moved[len(around):]) / (2.0 * half[:, None])
    size = np.abs(volts[0])
    assert np.abs(slopes[0].T - wanted).max() < 2e-3 * size.max()
    assert np.abs(wanted).max() > 0.01 * size.max()


def test_a_generator_put_on_by_hand_and_a_lifted_lead() -> None:
    circuit = signal_circuit(LINE)
    lifted = Variation(lifts=(("Q1.emitter", OPEN),))
    some = [SOUND, lifted]
    volts = Batch().solve(circuit, some).volts
    base, collector = (circuit.nodes.index(LINE.node(f"Q1.{leg}")) for leg in ("base", "collector"))
    points = np.tile([base, collector], (2, 1))
    generator = Load(LINE.node("Q1.base"), "ground", 600.0)
    found = responses(circuit, some, (), None, volts, generator, 1e3, points)
    sound, dead = np.abs(found.volts)
    assert sound[1] / sound[0] > 10.0
    assert dead[1] / dead[0] < 0.1  # no emitter, no gain
    assert dead[0] > sound[0]  # the base no longer loads the generator


def test_the_impedance_seen_is_what_a_load_halves() -> None:
    circuit = signal_circuit(LINE)
    volts = Batch().solve(circuit, [SOUND]).volts
    out = circuit.nodes.index(LINE.outputs[0].node)
    source = f"input {LINE.inputs[0].node}"
    free = responses(circuit, [SOUND], (), None, volts, source, 1e3, np.array([[out]]))
    loaded = Variation(loads=(Load(LINE.outputs[0].node, "ground", 5e3),))
    less = responses(circuit, [loaded], (), None, volts, source, 1e3, np.array([[out]]))
    assert less.volts[0, 0] == pytest.approx(free.volts[0, 0] / (1 + free.ohms[0, 0] / 5e3))


def test_what_is_no_source_is_refused() -> None:
    circuit = signal_circuit(LINE)
    with pytest.raises(KeyError):
        responses(circuit, [SOUND], (), None, np.zeros((1, len(circuit.nodes))), "R1", 1e3,
                  np.zeros((1, 1), dtype=np.int64))
