"""Stage files of the project with their volts, and the netlist that a picture should show."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path

from biaspredict.engine.batch import Batch
from biaspredict.engine.flatten import flatten
from biaspredict.model.circuit import SOUND
from biaspredict.model.stage import GROUND, Stage
from biaspredict.notation import load_stage
from biaspredict.report.drawing.draw import lay_out
from biaspredict.report.drawing.records import Layout

ROOT = Path(__file__).parents[2]
EVERY = sorted((ROOT / "circuits").rglob("*.stage"))
SMALL = 8  # parts; the quick tests stop here


@cache
def load(path: Path) -> Stage:
    return load_stage(path)


def quick() -> list[Path]:
    """Files small enough for the tests that always run."""
    return [path for path in EVERY if len(load(path).parts) <= SMALL]


def name_of(path: Path) -> str:
    return path.stem


@cache
def solved(path: Path) -> Mapping[str, float]:
    """Predicted volts of every node."""
    stage = load(path)
    circuit = flatten(stage)
    found = Batch().solve(circuit, [SOUND])
    assert found.solved[0], f"{path.name} does not solve"
    volts = dict(zip(circuit.nodes, found.volts[0].tolist(), strict=False)) | {GROUND: 0.0}
    return {node: volts[node] for node in stage.nodes}


@cache
def laid_out(path: Path) -> Layout:
    return lay_out(load(path), solved(path))


def netlist(stage: Stage) -> frozenset[frozenset[str]]:
    """What meets at each node, in the words of `read_back`."""
    nets: dict[str, set[str]] = {}
    for part in stage.parts:
        for terminal, node in zip(part.terminals, part.nodes, strict=True):
            nets.setdefault(node, set()).add(f"{part.ref}.{terminal}")
    if GROUND in nets:
        nets[GROUND].add("ground")
    for rail in stage.rails:
        if rail.name in nets:
            nets[rail.name].add(f"rail {rail.name}")
    for word, ports in (("input", stage.inputs), ("output", stage.outputs)):
        for port in ports:
            nets.setdefault(port.node, set()).add(f"{word} {port.node}")
    for pin in stage.pins:
        nets.setdefault(pin.node, set()).add(f"pin {pin.name}")
    return frozenset(frozenset(net) for net in nets.values())
