"""The study: cases drawn, read, put to the tool and judged, one JSON line each."""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from biaspredict.model.devices import Bipolar, Material
from biaspredict.model.parts import Kind
from biaspredict.model.stage import Stage

from . import adapter, case, lots
from .adjusting import set_and_solved
from .draws import Draws
from .spice import Runner
from .truth import Solved, draw_specimen

CIRCUITS = Path(__file__).parents[2] / "circuits"
SHARES = {"sound": 0.2, "single": 0.45, "pair": 0.1, "prior": 0.25}
GENERATED = 0.5  # share of cases on stages that nobody drew
PATIENCE = 180  # seconds a case may take

Tool = Callable[..., adapter.Answer]  # (stage, readings file, the other channel's or "")


@dataclass(frozen=True, slots=True)
class Plan:
    """What to run. only: circuit names, empty for all; follow: also hunt from zero readings.

    other: also read the other channel, a good one.
    readings: legs the person reads besides the rails, drawn anew for each case; 0: all of them.
    """

    seed: int
    cases: int
    out: str
    shares: dict[str, float] = field(default_factory=lambda: dict(SHARES))
    only: tuple[str, ...] = ()
    follow: bool = True
    readings: int = 0
    seconds: float = 1e9
    processes: int = 2
    other: bool = False


def drawn_circuits() -> list[Path]:
    """Stage files of ours; one without a rail of its own has no DC of its own either."""
    return sorted(CIRCUITS.glob("*.stage"))


@dataclass
class Ground:
    """What one process keeps between cases."""

    plan: Plan
    runner: Runner
    tool: Tool
    stages: dict[str, tuple[Stage, Solved]] = field(default_factory=dict)
    table: dict[tuple[str, str], lots.Row] = field(default_factory=lots.read_table)

    def circuits(self) -> list[str]:
        if not self.stages:
            for path in drawn_circuits():
                if self.plan.only and path.stem not in self.plan.only:
                    continue
                stage = adapter.load(path)
                if stage.rails and not any(p.kind is Kind.WINDING and p.volts for p in stage.parts):
                    nominal = set_and_solved(self.runner, draw_specimen(stage, None), Draws())
                    if nominal is None:
                        raise ValueError(f"{path.name}: the truth cannot solve the sound stage")
                    self.stages[path.stem] = (stage, nominal)
        return list(self.stages)


def biased(stage: Stage, nominal: Solved) -> bool:
    """Whether a generated stage is one a designer would have let pass: all transistors work."""
    for part in stage.parts:
        if isinstance(part.device, Bipolar):
            c, b, e = (nominal.volts[n] for n in part.nodes)
            sign = 1.0 if part.device.polarity.value == "npn" else -1.0
            least = 0.05 if part.device.material is Material.GERMANIUM else 0.4
            if sign * (b - e) < least or sign * (c - e) < 0.45:
                return False
    return True


def run_case(ground: Ground, index: int) -> dict[str, Any]:
    """One case from its number alone; never raises but for the user's own interrupt."""
    started = time.perf_counter()
    record: dict[str, Any] = {"case": index, "seed": ground.plan.seed}
    rng = np.random.default_rng([ground.plan.seed, index])
    try:
        laws = list(ground.plan.shares)
        share = np.array([ground.plan.shares[law] for law in laws])
        record["law"] = laws[int(rng.choice(len(laws), p=share / share.sum()))]
        case.run(ground, rng, record)
    except TimeoutError:
        record["error"] = "out of time"
    except Exception as problem:  # a failing tool is a result of the study
        record["error"] = f"{type(problem).__name__}: {problem}"
        record["trace"] = traceback.format_exc(limit=-4)
    record["seconds"] = round(time.perf_counter() - started, 3)
    return record


def _alarm(*_: object) -> None:
    raise TimeoutError


def _work(plan: Plan, indices: Sequence[int], path: str, stop: float, tool: Tool) -> None:
    signal.signal(signal.SIGALRM, _alarm)
    with Runner() as runner, open(path, "a", encoding="utf-8") as out:
        ground = Ground(plan, runner, tool)
        for index in indices:
            if time.time() > stop:
                return
            signal.alarm(PATIENCE * (3 if plan.other else 1))
            record = run_case(ground, index)
            signal.alarm(0)
            out.write(json.dumps(record) + "\n")
            out.flush()


def run(plan: Plan, tool: Tool = adapter.answer) -> Path:
    """Run or resume the plan; the JSON lines of every case done are in the path returned."""
    folder = Path(plan.out)
    folder.mkdir(parents=True, exist_ok=True)
    whole = folder / f"cases-{plan.seed}.jsonl"
    parts = [folder / f"cases-{plan.seed}.part{k}.jsonl" for k in range(plan.processes)]
    _gather(whole, parts)
    done = {record["case"] for record in records(whole)}
    todo = [k for k in range(plan.cases) if k not in done]
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    stop = time.time() + plan.seconds
    context = multiprocessing.get_context("spawn")
    workers = [
        context.Process(target=_work, args=(plan, todo[k :: plan.processes], str(part), stop, tool))
        for k, part in enumerate(parts)
    ]
    for worker in workers:
        worker.start()
    try:
        for worker in workers:
            worker.join()
    finally:
        for worker in workers:
            if worker.is_alive():
                worker.terminate()
                worker.join()
        _gather(whole, parts)
    return whole


def _gather(whole: Path, parts: Sequence[Path]) -> None:
    with open(whole, "a", encoding="utf-8") as out:
        for part in parts:
            if part.exists():
                out.write(part.read_text("utf-8"))
                part.unlink()


def records(path: Path) -> Iterator[dict[str, Any]]:
    """Records of a study; a line cut short by an interrupt is left out."""
    if not path.exists():
        return
    for line in path.read_text("utf-8").splitlines():
        try:
            yield json.loads(line)
        except json.JSONDecodeError:
            continue


def together(paths: Sequence[Path]) -> list[dict[str, Any]]:
    """Records of several runs; a case of one seed that stands in two files counts once."""
    found = {(r["seed"], r["case"]): r for path in paths for r in records(path)}
    return list(found.values())
