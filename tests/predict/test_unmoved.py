"""A first look at a board leaves out what a fault does not move, and comes to the same."""

from __future__ import annotations

import numpy as np
import pytest

from biaspredict import pipeline
from biaspredict.engine.flatten import flatten
from biaspredict.infer.components import NO_FAULT
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.fuses import known_faults
from biaspredict.infer.priors import standard_priors
from biaspredict.infer.ranking import components_of
from biaspredict.infer.tasks import task_of
from biaspredict.model.circuit import SOUND, Load, Variation
from biaspredict.notation import read_stage
from biaspredict.predict import unmoved
from biaspredict.predict.observe import Predictor
from biaspredict.predict.points import points_of
from tests.bench import boards
from tests.bench.cases import faulty


def test_the_evidence_of_a_first_look_is_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """400 of the 294 parts' faults by 20 readings, each reading of each linearised or not."""
    stage = boards.stage_of("board")
    volts = faulty(stage, "board", boards.DIGITAL)
    nodes = [str(n) for n in np.random.default_rng(3).permutation(list(volts))[:20]]
    predictor = Predictor(pipeline.fed(stage).stage, pipeline.ranker())
    task = task_of(
        boards.readings_of(stage, volts, nodes, boards.DIGITAL), predictor.stage)
    faults = [f for f in known_faults(predictor, standard_priors()) if not f.silent]
    every = components_of(faults)
    rows = np.sort(np.random.default_rng(7).choice(len(every), 400, replace=False))
    components = [NO_FAULT, *(every[i] for i in rows)]
    found = []
    for least in (1000, unmoved.LEAST):
        monkeypatch.setattr(unmoved, "LEAST", least)
        scores, strict = Explainer(predictor, task)._first(components, None)
        found.append((scores, strict))
    (whole, other), (mine, strict) = found
    asked = np.zeros(1, dtype=bool)
    where = points_of(predictor.circuit, [SOUND], task.probes, asked)[0]
    volts_there = predictor.middle([c.centre for c in components])
    still, few, own = predictor.unmoved.few([c.centre for c in components], volts_there, where)
    assert len(still) > 50
    assert len(still) + len(few) > 200, "most move few of the readings"
    assert own.shape == (len(few), 20 // unmoved.SHARE)
    solved = mine.solved & whole.solved
    assert (mine.solved == whole.solved).all()
    assert np.abs(mine.values - whole.values)[solved].max() < 2e-3
    # of those that lie hundreds of nats behind only so large a share is the same
    allowed = 0.02 + 1e-3 * np.abs(whole.log_evidence[solved] - whole.log_evidence[0])
    assert (np.abs(mine.log_evidence - whole.log_evidence)[solved] < allowed).all()
    assert (np.abs(strict - other)[solved] < allowed).all()


def test_what_may_reach_a_reading() -> None:
    """Two dividers on one rail: the lower parts of neither move the other; the rail, a meter, the
    temperature of all move both, and so does a lead that goes to the other one."""
    stage = read_stage(
        'stage "two"\nrail B+ 20 V\nB+ -- R1 10K -- A -- R2 10K -- ground\n'
        "B+ -- R3 10K -- B -- R4 10K -- ground\n", "two.stage")
    circuit = flatten(stage)
    solver = pipeline.ranker()
    sound = solver.solve(circuit, [SOUND]).volts[0]
    variations = [
        Variation(scales=(("R2.ohms", 3.0),)),
        Variation(lifts=(("R4.1", 1e4),)),
        Variation(scales=(("B+.volts", 1.2),)),
        Variation(settings=(("temperature", 60.0),)),
        Variation(loads=(Load("A", "ground", 1e4),)),
        Variation(moves=(("R2.2", "B"),)),
    ]
    volts = solver.solve(circuit, variations).volts
    a, b = circuit.nodes.index("A"), circuit.nodes.index("B")
    points = np.array([[a, -1], [b, -1], [a, b]])
    moved = unmoved.Unmoved(circuit, sound).moved(variations, volts, points)
    assert moved.tolist() == [
        [True, False, True], [False, True, True], [True, True, True], [True, True, True],
        [True, True, True], [True, True, True],
    ]
