"""`python -m tests.proving.kinds`: what signal readings and ohms add, as rows of a table.

Signals: half of the stages are sound, the others have one electrolytic dried out, resistive or
open. The DC is read, then the signal readings that the tool asks for, three at most.
Ohms: one fault that DC can see; the usual volts with and without the ohms of every node.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from biaspredict.infer.verdict import Verdict
from biaspredict.model.parts import CAPACITORS, Kind
from biaspredict.model.stage import Stage
from biaspredict.notation import read_readings
from biaspredict.pipeline import suspect

from . import adapter, faults, keys, lots, meterman, sounding
from .adjusting import set_and_solved
from .draws import Draws
from .spice import Runner
from .study import drawn_circuits
from .table import figure
from .truth import Solved, draw_specimen, solve

MOST = 3  # signal readings after the DC
TRIES = 20
COUNTS = 1.12, 2.0  # a gain moved by a decibel, and by six
# Volts rms of any node and of a generator at most, and the least that a plain meter shows.
LOUDEST, GENERATOR, READABLE = 0.3, 0.1, 0.5e-3


def stages(signals: bool) -> list[tuple[str, Stage]]:
    """Circuits with rails and no windings; for signals also an input and an electrolytic."""
    found = []
    for path in drawn_circuits():
        stage = adapter.load(path)
        kinds = {part.kind for part in stage.parts}
        if not stage.rails or Kind.WINDING in kinds or stage.pins:
            continue
        if signals and not (stage.inputs and stage.outputs and Kind.ELECTROLYTIC in kinds):
            continue
        found.append((path.stem, stage))
    return found


def _specimen(runner: Runner, stage: Stage, draw: Draws) -> Solved:
    for _ in range(TRIES):
        found = set_and_solved(runner, draw_specimen(stage, draw.rng), draw, check=True)
        if found is not None:
            return found
    raise ValueError("no specimen solves")


def _verdict(stage: Stage, text: str) -> Verdict:
    return suspect(stage, read_readings(text, "drawn.readings", stage))


def _next_signal(verdict: Verdict) -> Any:
    """The signal reading asked for: of the splits where the stage is not sound, else the test."""
    if verdict.settled:
        return None
    asked = [s for s in verdict.splits if s.touch.probe.signal is not None]
    if verdict.testing is not None:
        return verdict.testing
    return max(asked, key=lambda s: s.worth, default=None)


def signals(runner: Runner, case: int, seed: int, names: list[tuple[str, Stage]]) -> dict[str, Any]:
    draw = Draws(np.random.default_rng([seed, case, 1]))
    assert draw.rng is not None
    name, stage = names[int(draw.rng.integers(len(names)))]
    solved = _specimen(runner, stage, draw)
    habit = meterman.draw_habit(draw)
    stores = sounding.draw_stores(stage, draw)
    sick = dict(stores)
    part, mode = "", ""
    if draw.chance(0.5):
        part, mode, left = sounding.draw_silent(stage, draw)
        sick[part] = left
    taken = meterman.read(runner, solved, meterman.points(stage), habit)
    if taken is None:
        raise ValueError("the truth does not solve with the meter connected")
    text = meterman.sheet(taken, habit)
    record: dict[str, Any] = {"kind": "signals", "circuit": name, "part": part, "mode": mode}
    record["moves"] = _moves(solved, stores, sick) if part else 1.0
    verdict = _verdict(stage, text)
    record["dc_sound"] = verdict.sound
    generator = ""
    asked = []
    for _ in range(MOST):
        split = _next_signal(verdict)
        if split is None:
            break
        probe = split.touch.probe
        line = sounding.signal_line(
            solved.specimen, sick, probe.node, probe.minus, probe.signal.hertz,
            probe.signal.volts, draw,
        )
        if line is None:
            break
        asked.append(line)
        port = stage.inputs[0]
        generator = (
            f"generator {probe.signal.volts * 1e3:g} mV from {port.ohms or 600:g} at {port.node}")
        verdict = _verdict(stage, "\n".join([text, generator, *asked]) + "\n")
    ranking = verdict.ranking
    first = ranking.suspects[0] if ranking.suspects else None
    record |= {
        "asked": len(asked), "lines": asked, "sound": ranking.sound,
        "first": list(first.parts) if first else [], "weight": first.weight if first else 0.0,
        "in_group": any(s.parts == (part,) for s in ranking.suspects if s.group == 1),
        "explained": ranking.explained,
        "called_sound": verdict.sound and ranking.explained,
    }
    # where the stage is called sound the first group holds all that could still be
    record["found"] = record["in_group"] and not record["called_sound"]
    return record


def _moves(solved: Solved, stores: Any, sick: Any) -> float:
    """The factor by which the fault moves the signal most, at 20 Hz or 1 kHz, of those nodes'
    signals that a meter shows with the generator as loud as no node minds."""
    most = 1.0
    known = set(solved.specimen.stage.nodes)
    for hertz in (20.0, 1e3):
        sound = sounding.phasors(solved.specimen, stores, hertz)
        faulty = sounding.phasors(solved.specimen, sick, hertz)
        if sound is None or faulty is None:
            continue
        loud = LOUDEST / max(*sound.values(), *faulty.values(), LOUDEST / GENERATOR)
        for node, size in sound.items():
            if node in known:
                both = [max(volts * loud, READABLE) for volts in (size, faulty.get(node, 0.0))]
                most = max(most, max(both) / min(both))
    return most


def ohms(runner: Runner, case: int, seed: int, names: list[tuple[str, Stage]]) -> dict[str, Any]:
    draw = Draws(np.random.default_rng([seed, case, 2]))
    assert draw.rng is not None
    name, stage = names[int(draw.rng.integers(len(names)))]
    for _ in range(TRIES):
        sound = _specimen(runner, stage, draw)
        truth = () if draw.chance(0.2) else lots.single(stage, sound.volts, draw)
        broken = sound.specimen
        for fault in truth:
            broken = faults.apply(broken, fault)
        (sick,) = solve(runner, [broken], check=True)
        if sick is not None:
            break
    else:
        raise ValueError("no faulty specimen solves")
    habit = meterman.draw_habit(draw)
    taken = meterman.read(runner, sick, meterman.points(stage), habit)
    lines = sounding.ohms_lines(runner, broken, draw)
    if taken is None or lines is None:
        raise ValueError("the truth does not solve with the meter connected")
    text = meterman.sheet(taken, habit)
    record: dict[str, Any] = {
        "kind": "ohms", "circuit": name,
        "faults": [(f.part, f.mode, f.severity) for f in truth],
        "capacitor": any(stage.part(f.part).kind in CAPACITORS for f in truth
                         if f.part in {p.ref for p in stage.parts}),
    }
    for label, sheet in (("volts", text), ("both", text + "\n".join(lines) + "\n"),
                         ("ohms", 'readings "off"\n' + "\n".join(lines) + "\n")):
        verdict = _verdict(stage, sheet)
        answer = [adapter._suspect(s) for s in verdict.ranking.suspects if s.weight > 1e-4]
        group = [s for s in answer if s.group == 1]
        record[label] = {
            "sound": verdict.ranking.sound,
            "called_sound": verdict.sound and verdict.ranking.explained,
            "in_group": any(keys.names(s, truth) for s in group),
            "group": len({s.parts for s in group}),
            "first": bool(answer) and keys.names(answer[0], truth),
            "explained": verdict.ranking.explained,
        }
    return record


def rows(records: list[dict[str, Any]]) -> Iterator[str]:
    """The table."""
    heard = [r for r in records if r["kind"] == "signals" and "error" not in r]
    ill = [r for r in heard if r["part"]]
    well = [r for r in heard if not r["part"]]
    yield "with the signal readings asked for, three at most"
    yield f"  dried, resistive or open, called sound by DC   {_f(ill, 'dc_sound')}"
    for least, words in zip(COUNTS, ("1 dB", "6 dB"), strict=True):
        counts = [r for r in ill if r["moves"] > least]
        right = sum(r["first"] == [r["part"]] and r["found"] for r in counts)
        yield f"  of those that move some signal by {words}: found  {_f(counts, 'found')}"
        yield f"    first suspect is the part                    {figure(right, len(counts))}"
        yield f"    called sound all the same                    {_f(counts, 'called_sound')}"
    yield f"  sound stages called sound                      {_f(well, 'called_sound')}"
    if heard:
        mean = sum(r["asked"] for r in heard) / len(heard)
        yield f"  signal readings taken, mean                    {mean:.1f}"
    cold = [r for r in records if r["kind"] == "ohms" and "error" not in r]
    bad = [r for r in cold if r["faults"]]
    good = [r for r in cold if not r["faults"]]
    yield "one fault that DC can see, and sound stages"
    for label, words in (("volts", "volts alone"), ("ohms", "ohms alone"), ("both", "both")):
        yield f"  {words}"
        for key, said in (("in_group", "true part in the first group"),
                          ("first", "first suspect right")):
            hits = sum(bool(r[label][key]) for r in bad)
            yield f"    {said:<29}{figure(hits, len(bad))}"
        if bad:
            parts = sum(r[label]["group"] for r in bad) / len(bad)
            yield f"    parts in the first group, mean   {parts:.1f}"
        hits = sum(bool(r[label]["called_sound"]) for r in good)
        yield f"    sound called sound           {figure(hits, len(good))}"
    wrong = [r for r in records if "error" in r]
    yield f"errors {len(wrong)}"


def _f(some: list[dict[str, Any]], key: str) -> str:
    return figure(sum(bool(r[key]) for r in some), len(some))


def main() -> None:
    ask = argparse.ArgumentParser(prog="python -m tests.proving.kinds", description=__doc__)
    ask.add_argument("--cases", type=int, default=100, help="of each kind")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--out", default="", help="JSON lines of every case")
    ask.add_argument("--only", choices=["signals", "ohms"])
    given = ask.parse_args()
    records = []
    with Runner() as runner:
        for run in (signals, ohms):
            if given.only and run.__name__ != given.only:
                continue
            names = stages(run is signals)
            for case in range(given.cases):
                began = time.perf_counter()
                try:
                    record = run(runner, case, given.seed, names)
                except Exception as problem:  # a failing tool is a result of the study
                    record = {"kind": run.__name__, "error": f"{type(problem).__name__}: {problem}"}
                record |= {"case": case, "seconds": round(time.perf_counter() - began, 1)}
                records.append(record)
                if given.out:
                    with open(Path(given.out), "a", encoding="utf-8") as out:
                        out.write(json.dumps(record, default=str) + "\n")
    print("\n".join(rows(records)))


if __name__ == "__main__":
    main()
