"""One benchmark a process: `python -m tests.bench.cases NAME ARGUMENT...` prints its figures."""

from __future__ import annotations

import json
import resource
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from biaspredict import pipeline
from biaspredict.engine.batch import Batch
from biaspredict.engine.flatten import flatten
from biaspredict.infer.verdict import Verdict
from biaspredict.model.circuit import SOUND
from biaspredict.model.readings import Quantity, Readings
from biaspredict.model.stage import Stage
from tests.bench import boards

Figures = dict[str, Any]


def megabytes() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def fastest(job: Callable[[], Any], times: int = 3) -> float:
    """CPU seconds of the fastest of some runs."""
    taken = []
    for _ in range(times):
        begin = time.process_time()
        job()
        taken.append(time.process_time() - begin)
    return min(taken)


def batch(name: str, count: str) -> Figures:
    """The batched engine, and its floor: one LU each of the same matrices."""
    from biaspredict.engine.network import Network
    from biaspredict.engine.plan import lot, plan_of

    stage = boards.stage_of(name)
    circuit, variations = flatten(stage), boards.by_value(stage, int(count))
    engine = Batch()
    sound = engine.solve(circuit, [SOUND]).volts[0]
    found = engine.solve(circuit, variations)
    seconds = fastest(lambda: engine.solve(circuit, variations))
    plan = plan_of(circuit)
    nodes = np.zeros((plan.size + 1, len(variations)))
    nodes[1:] = found.volts[:, : plan.size].T
    part, floor = 128, 0.0
    for first in range(0, len(variations), part):
        some = variations[first : first + part]
        network = Network(plan, lot(plan, some))
        leaving, slopes, _ = network.balance(nodes[:, first : first + part])
        matrices = np.ascontiguousarray(network.form.whole(slopes)[:, 1:, 1:])
        right = leaving[1:].T[..., None]
        floor += fastest(lambda a=matrices, b=right: np.linalg.solve(a, b))
    return {"seconds": seconds / len(variations), "floor": floor / len(variations),
            "solved": int(found.solved.sum()), "count": len(variations), "nodes": plan.size,
            "sample": _sample(found.volts[:, : plan.size]), "sound": sound.tolist()}


def _sample(volts: Any) -> list[list[float]]:
    return [[round(float(v), 6) for v in row] for row in volts[:40]]


def altered(name: str, count: str) -> Figures:
    """The bare loop on raw vectors: alter, op, read, undo; ngspice's circuit stays loaded."""
    from biaspredict.engine.deck import deck, handles
    from biaspredict.engine.ngspice import using
    from biaspredict.engine.values import applied

    stage = boards.stage_of(name)
    circuit, variations = flatten(stage), boards.by_value(stage, int(count))
    changes = []
    for variation in variations:
        concrete = applied(circuit, variation)
        moved = [
            (k, new, old)
            for k, (new, old) in enumerate(zip(concrete.elements, circuit.elements, strict=True))
            if new is not old
        ]
        there: dict[str, float] = {}
        back: dict[str, float] = {}
        for k, new, old in moved:
            before = handles(k, old, circuit.celsius)
            for handle, value in handles(k, new, circuit.celsius).items():
                if before[handle] != value:
                    there[handle], back[handle] = value, before[handle]
        changes.append((there, back))
    found: list[list[float]] = []
    with using() as simulator:
        text = deck(circuit)
        simulator.load(text)
        names = [text.names[node].encode() for node in circuit.nodes]

        def loop() -> None:
            found.clear()
            for there, back in changes:
                simulator.set(there)
                simulator.run("op")
                found.append([simulator.value(name) for name in names])
                simulator.set(back)

        seconds = fastest(loop, 2)
    return {"seconds": seconds / len(variations), "count": len(variations),
            "sample": _sample(np.array(found))}


def rebuilt(name: str, count: str) -> Figures:
    """PySpice's own way; see rebuilt.py."""
    import logging

    from biaspredict.engine.ngspice import using
    from tests.bench.rebuilt import operating_point

    with using():
        pass  # finds the library, and is the instance that PySpice uses then
    logging.getLogger("PySpice").setLevel(logging.CRITICAL)
    stage = boards.stage_of(name)
    circuit, variations = flatten(stage), boards.by_value(stage, int(count))
    operating_point(circuit, SOUND)
    begin = time.process_time()
    found = [operating_point(circuit, variation) for variation in variations]
    seconds = time.process_time() - begin
    nothing = [float("nan")] * len(circuit.nodes)
    return {"seconds": seconds / len(variations), "count": len(variations),
            "raised": sum(row is None for row in found),
            "sample": _sample([row or nothing for row in found])}


def faulty(stage: Stage, name: str, meter: str) -> dict[str, float]:
    """What a meter shows of a specimen with a fault, every value a little off."""
    from biaspredict.infer.tasks import task_of
    from biaspredict.predict.observe import Predictor

    predictor = Predictor(pipeline.fed(stage).stage, Batch())
    nodes = [n for n in predictor.circuit.nodes if "/" not in n and "(" not in n]
    ref = {"small": "R5", "demo": "R5", "power": "R10", "board": "R83"}[name]
    variation = boards.Variation(scales=((f"{ref}.ohms", 3.0),))
    amounts = np.random.default_rng(2).normal(size=(1, len(predictor.axes))) * predictor.sigmas
    volts = dict.fromkeys(nodes, 100.0)
    for _ in range(2):  # from the highest range down to the one that holds what is there
        asked = boards.readings_of(stage, volts, nodes, meter)
        probes = task_of(asked, predictor.stage).probes
        shown = predictor.observe([variation], 0.5 * amounts, probes).values[0]
        volts = {probe.node: float(v) for probe, v in zip(probes, shown, strict=True)}
    return volts


def suspect(name: str, readings: str, meter: str = boards.DIGITAL) -> Figures:
    """A whole answer after start-up, then what an advised reading says at first sight, then a
    whole answer after one more reading."""
    stage = boards.stage_of(name)
    volts = faulty(stage, name, meter)
    rng = np.random.default_rng(3)
    picked = [str(node) for node in rng.permutation(list(volts))[: int(readings)]]
    assert len(picked) == int(readings), "fewer nodes than readings"
    less = boards.readings_of(stage, volts, picked[:-1], meter)
    more = boards.readings_of(stage, volts, picked, meter)
    small = boards.stage_of("small")
    nothing = boards.readings_of(small, {"B+": 24.0}, ["B+"])
    pipeline.suspect(small, nothing)  # imports; another stage: nothing of this one is known yet
    figures = {}
    for word, some, soon in (("first", less, False), ("again", more, False), ("soon", less, True)):
        begin = time.process_time()
        verdict = pipeline.suspect(stage, some, soon=soon)
        figures[word] = time.process_time() - begin
        if word == "first":
            figures["sight"] = _sight(stage, volts, less, verdict, meter)
    return {**figures, "megabytes": megabytes(), "parts": len(stage.parts),
            "readings": len(picked), "components": len(verdict.ranking.components)}


def _sight(
    stage: Stage, volts: dict[str, float], readings: Readings, verdict: Verdict, meter: str
) -> float:
    """Seconds that the first advised reading of volts takes to be seen; NaN without any."""
    from biaspredict.infer.first_sight import at_first_sight

    probes = [split.touch.probe for split in verdict.splits]
    plain = [p.node for p in probes if p.quantity is Quantity.VOLTS and p.minus is None
             and not p.doing]
    node = next((n for n in plain if n in volts), None)
    if node is None:
        return float("nan")
    more = boards.readings_of(stage, volts, [*(r.node for r in readings.entries), node], meter)
    said = at_first_sight(verdict.splits, stage, more, more.entries[-1])
    assert said, f"{node} was foreseen"
    return fastest(lambda: at_first_sight(verdict.splits, stage, more, more.entries[-1]))


def flat(name: str, engine: str, count: str) -> Figures:
    """Memory over many solves."""
    from biaspredict.engine.ngspice import Ngspice

    stage = boards.stage_of(name)
    circuit, variations = flatten(stage), boards.by_value(stage, 1000)
    solver = Batch() if engine == "batch" else Ngspice()
    marks = []
    for done in range(0, int(count), len(variations)):
        solver.solve(circuit, variations)
        if done in (int(count) // 10, int(count) - len(variations)):
            marks.append(megabytes())
    return {"early": marks[0], "late": marks[-1], "count": int(count)}


CASES = {f.__name__: f for f in (batch, altered, rebuilt, suspect, flat)}

if __name__ == "__main__":
    print(json.dumps(CASES[sys.argv[1]](*sys.argv[2:])))
