"""Stage files of the project, both engines, and a meter put to a point of a circuit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

import numpy as np

from biaspredict.engine.batch import Batch
from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.engine.solver import Solver
from biaspredict.model.circuit import SOUND, Load, Variation
from biaspredict.model.stage import GROUND, Stage
from biaspredict.notation.load import load_stage

ROOT = Path(__file__).parents[2]
OURS = sorted((ROOT / "circuits").glob("*.stage"))
PUBLISHED = sorted((ROOT / "circuits" / "published").glob("*.stage"))
DEMO = sorted((ROOT / "demo").glob("*.stage"))

ENGINES: dict[str, Solver] = {"batch": Batch(), "ngspice": Ngspice()}


@cache
def load(path: Path) -> Stage:
    """The stage a file describes."""
    return load_stage(path)


def name_of(path: Path) -> str:
    """Short name of a file, for the names of tests."""
    return path.stem


def volts(stage: Stage, solver: Solver, variation: Variation = SOUND) -> Mapping[str, float]:
    """Volts of every node by every name it has, with nothing connected; ground included."""
    circuit = flatten(stage)
    found = solver.solve(circuit, [variation])
    assert found.solved[0], f"{stage.title}: not solved"
    by_node = dict(zip(circuit.nodes, found.volts[0].tolist(), strict=False)) | {GROUND: 0.0}
    return by_node | {name: by_node[node] for name, node in stage.names.items()}


def metered(
    stage: Stage,
    solver: Solver,
    points: Sequence[tuple[str, str | None, float]],
    variation: Variation = SOUND,
) -> list[float]:
    """What a meter shows at each (red, black or None, its ohms), one point at a time."""
    circuit = flatten(stage)
    index = {node: i for i, node in enumerate(circuit.nodes)}
    pairs = [(stage.node(red), GROUND if black is None else stage.node(black))
             for red, black, _ in points]
    connected = [
        variation.plus(Variation(loads=(Load(red, black, ohms),)))
        for (red, black), (_, _, ohms) in zip(pairs, points, strict=True)
    ]
    found = solver.solve(circuit, connected)
    assert found.solved.all(), f"{stage.title}: not solved with the meter connected"
    padded = np.append(found.volts[:, : len(circuit.nodes)], np.zeros((len(points), 1)), axis=1)
    index[GROUND] = len(circuit.nodes)
    return [float(row[index[a]] - row[index[b]]) for row, (a, b) in zip(padded, pairs, strict=True)]
