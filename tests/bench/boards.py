"""What the benchmarks work on: shipped stages, and a generated board of 42 stages."""

from __future__ import annotations

import random
from pathlib import Path

from biaspredict.infer.faults import Fault, catalogue, severities
from biaspredict.infer.priors import standard_priors
from biaspredict.model.circuit import Variation
from biaspredict.model.readings import Readings
from biaspredict.model.stage import Stage
from biaspredict.notation import load_stage, read_readings, read_stage

ROOT = Path(__file__).resolve().parents[2]
SMALL = ROOT / "circuits" / "phono-pair.stage"  # 19 parts
DEMO = ROOT / "demo" / "preamp.stage"  # 18 parts
POWER = ROOT / "circuits" / "split-rail-amplifier.stage"  # 55 parts
STAGES = 42  # of 7 parts each
CELLS = 3  # stages behind one decoupling resistor


def board() -> Stage:
    """42 single-transistor stages of 7 parts one after the other: 294 parts."""
    lines = ['stage "a board of 42 stages"', "rail B+ 24 V 5%", "assume resistors 10%"]
    at = "IN"
    for k in range(1, STAGES + 1):
        r, out = 4 * (k - 1), f"OUT{k}"
        lines += [
            f"Q{k} npn silicon gain 100..300",
            f"B+ -- R{r + 1} 220K -- Q{k}.base -- R{r + 2} 47K -- ground",
            f"B+ -- R{r + 3} 4.7K -- Q{k}.collector",
            f"Q{k}.emitter -- R{r + 4} 1K -- ground",
            f"{at} -- C{2 * k - 1}+ 5 MFD 25V -- Q{k}.base",
            f"Q{k}.collector -- +C{2 * k} 5 MFD 25V -- {out}",
        ]
        at = out
    lines += ["input IN from 600", f"output {at} into 47K"]
    return read_stage("\n".join(lines) + "\n", "board.stage")


def stage_of(name: str) -> Stage:
    return {"small": lambda: load_stage(SMALL), "power": lambda: load_stage(POWER),
            "demo": lambda: load_stage(DEMO), "board": board}[name]()


def by_value(stage: Stage, count: int) -> list[Variation]:
    """Faults that only change values, each degree drawn anew: all four ways can do those."""
    rng = random.Random(1)
    faults = [
        fault for fault in catalogue(stage, standard_priors())
        if not fault.silent and not any(_wires(fault))
    ]
    return [_drawn(rng, rng.choice(faults)) for _ in range(count)]


def _wires(fault: Fault) -> tuple[object, ...]:
    variation = fault.act(severities(fault)[0])
    changed = [name for name, _ in variation.scales if name.endswith(".polarity")]
    return variation.lifts, variation.moves, variation.loads, changed


def _drawn(rng: random.Random, fault: Fault) -> Variation:
    if fault.least is None or fault.most is None:
        return fault.act(1.0)
    return fault.act(fault.least * (fault.most / fault.least) ** rng.random())


DIGITAL, NEEDLE = "10 MEG 1% + 2 digits", "20 kohm/V 3% of range"


def readings_of(
    stage: Stage, volts: dict[str, float], nodes: list[str], meter: str = DIGITAL
) -> Readings:
    """A meter's readings of some nodes."""
    lines = ['readings "bench"', f"meter {meter}"]
    lines += [f"{node} {volts[node]:.3f}" for node in nodes]
    return read_readings("\n".join(lines) + "\n", "bench.readings", stage)
