"""One case: a specimen with its faults, its readings, the tool's answer, the verdict."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from biaspredict.model.devices import Bipolar, Material
from biaspredict.model.stage import Stage

from . import adapter, beside, faults, generate, judge, keys, lots, meterman
from .adjusting import set_and_solved
from .draws import Draws
from .faults import Fault
from .hunt import hunt
from .meterman import Habit, Taken
from .truth import Solved, draw_specimen, solve

if TYPE_CHECKING:
    from .study import Ground

FOLLOWED = 4  # every so many single faults are also hunted from zero readings
TRIES = 30
LISTED = 8  # suspects kept in the record


def run(ground: Ground, rng: np.random.Generator, record: dict[str, Any]) -> None:
    """Fill the record of one case."""
    circuit, stage, nominal = _stage(ground, rng, record)
    draw = Draws(rng)
    hot = _has_germanium(stage) and draw.chance(0.5)
    ambient = draw.uniform(29.0, 38.0) if hot else draw.uniform(18.0, 32.0)
    told = round(ambient + draw.normal(1.5)) if hot or draw.chance(0.4) else None
    habit = meterman.draw_habit(draw)
    sound, sick, truth = _specimen(ground, stage, ambient, draw, record)
    where = _where(stage, ground.plan.readings, rng)
    taken = meterman.read(ground.runner, sick, meterman.touched(where, sick, draw), habit)
    if taken is None:
        raise ValueError("the truth does not solve with the meter connected")
    rails = {name: volts for name, (volts, _) in sound.specimen.rails.items()}
    spread = judge.healthy(ground.runner, stage, rails, int(rng.integers(2**31)))
    # The same specimen before its fault, through the same meter on the same ranges.
    before = meterman.across(ground.runner, sound, where, [t.ohms for t in taken])
    if not all(map(math.isfinite, before)):
        raise ValueError("the sound specimen does not solve with the meter connected")
    bands = judge.half_bands(stage, spread, where, before)
    moved = judge.shift(before, [t.exact for t in taken], bands)
    seen = [f for f in truth if not lots.is_blind(stage, f)]
    record |= {
        "circuit": circuit,
        "families": judge.families(stage, nominal, ambient),
        "parts": len(stage.parts),
        "meter": habit.instrument.name,
        "ambient": round(ambient, 1),
        "faults": [
            {"name": f.name, "part": f.part, "severity": f.severity, "unit": f.unit} for f in seen
        ],
        "shift": round(moved, 3),
    }
    text = record["sheet"] = meterman.sheet(taken, habit, told)
    started = time.perf_counter()
    answer = ground.tool(stage, text)
    record["tool_seconds"] = round(time.perf_counter() - started, 3)
    _judge(ground, stage, seen, answer, taken, habit, record)
    if record["law"] == "single" and ground.plan.follow and record["case"] % FOLLOWED == 0:
        record["hunt"] = hunt(ground, stage, sick, seen, habit, told, rng)
    if ground.plan.other:
        beside.run(ground, stage, sound, sick, seen, where, habit, told, record)


def _where(stage: Stage, count: int, rng: np.random.Generator) -> tuple[meterman.Point, ...]:
    """Every point a person reads, or the rails and so many of the others in the usual order."""
    usual = meterman.points(stage)
    rails = len(stage.rails)
    if not count or len(usual) - rails <= count:
        return usual
    kept = sorted(rng.choice(len(usual) - rails, count, replace=False))
    return (*usual[:rails], *(usual[rails + int(k)] for k in kept))


def _stage(
    ground: Ground, rng: np.random.Generator, record: dict[str, Any]
) -> tuple[str, Stage, Solved]:
    from .study import GENERATED, biased

    names = ground.circuits()
    if names and (ground.plan.only or rng.random() >= GENERATED):
        name = names[int(rng.integers(len(names)))]
        return name, *ground.stages[name]
    record["undesigned"] = 0
    for _ in range(TRIES):
        kind, text = generate.generate(rng)
        stage = adapter.parse(text)
        nominal = set_and_solved(ground.runner, draw_specimen(stage, None), Draws(), check=True)
        if nominal is not None and biased(stage, nominal):
            record["stage"] = text
            return f"generated {kind}", stage, nominal
        record["undesigned"] += 1
    raise ValueError("no generated stage came out biased")


def _has_germanium(stage: Stage) -> bool:
    return any(
        isinstance(p.device, Bipolar) and p.device.material is Material.GERMANIUM
        for p in stage.parts
    )


def _specimen(
    ground: Ground, stage: Stage, ambient: float, draw: Draws, record: dict[str, Any]
) -> tuple[Solved, Solved, tuple[Fault, ...]]:
    """A sound specimen, the same with its faults, and the faults; both verifiably solved."""
    record["redrawn"] = 0
    for _ in range(TRIES):
        fresh = draw_specimen(stage, draw.rng, ambient=ambient)
        healthy = set_and_solved(ground.runner, fresh, draw, check=True)
        if healthy is not None:
            truth = _faults(ground, stage, healthy, draw, record["law"])
            broken = healthy.specimen
            for fault in truth:
                broken = faults.apply(broken, fault)
            (sick,) = solve(ground.runner, [broken], check=True)
            if sick is not None:
                return healthy, sick, truth
        record["redrawn"] += 1
    raise ValueError("no specimen of this stage solves verifiably")


def _faults(
    ground: Ground, stage: Stage, sound: Solved, draw: Draws, law: str
) -> tuple[Fault, ...]:
    if law == "sound":
        return ()
    if law == "single":
        return lots.single(stage, sound.volts, draw)
    if law == "pair":
        return lots.pair(stage, sound.volts, draw)
    return lots.by_prior(stage, sound.volts, draw, ground.table)


def _judge(
    ground: Ground,
    stage: Stage,
    truth: Sequence[Fault],
    answer: adapter.Answer,
    taken: Sequence[Taken],
    habit: Habit,
    record: dict[str, Any],
) -> None:
    suspects = answer.suspects
    record |= {
        "sound": round(answer.sound, 5),
        "worst_blame": round(max((s.weight for s in suspects), default=0.0), 5),
        "unsolved": answer.unsolved,
        "explained": answer.explained,
        "suspects": [
            {"faults": s.faults, "weight": round(s.weight, 4), "group": s.group}
            for s in suspects[:LISTED]
        ],
        "in_group": any(keys.names(s, truth) for s in answer.first_group),
        "in_three": any(keys.names(s, truth) for s in suspects[:3]),
        "in_three_groups": any(keys.names(s, truth) for s in answer.groups(3)),
        "group_size": len({s.parts for s in answer.first_group}),
        "first_right": bool(suspects) and keys.names(suspects[0], truth),
    }
    if record["law"] == "prior":
        record["weights"] = [
            (round(s.weight, 4), keys.holds(stage, s, truth)) for s in suspects
        ]
    mine = [s for s in suspects if truth and keys.is_it(stage, s, truth)]
    record["true_weight"] = round(sum(s.weight for s in mine), 5)
    record["true_group"] = min((s.group for s in mine), default=None)
    _severity(stage, truth, answer, record)
    if truth and suspects and not record["first_right"] and record["shift"] > 1:
        started = time.perf_counter()
        seed = int(record["case"]) + 1
        refit = judge.Refitter(ground.runner, stage, taken, habit.instrument, seed)
        blamed = sorted(suspects[0].parts)
        record["same_to_readings"] = len(blamed) == 1 and refit.can_be(blamed[0], truth)
        record["refit_seconds"] = round(time.perf_counter() - started, 2)


def _severity(
    stage: Stage, truth: Sequence[Fault], answer: adapter.Answer, record: dict[str, Any]
) -> None:
    """Whether the reported range of the true fault holds its true severity."""
    if len(truth) != 1 or truth[0].severity is None:
        return
    wanted = keys.key(stage, truth[0])
    for suspect in answer.suspects:
        if suspect.faults == (wanted,) and suspect.low is not None and suspect.high is not None:
            if suspect.unit != truth[0].unit:
                continue  # a joint in series, told as a drift
            record["severity"] = {
                "true": truth[0].severity,
                "low": suspect.low,
                "high": suspect.high,
                "weight": round(suspect.weight, 4),
                "inside": suspect.low <= truth[0].severity <= suspect.high,
            }
