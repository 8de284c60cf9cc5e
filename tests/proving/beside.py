"""The same case once more, with readings of the other channel, which the person knows is good."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from biaspredict.model.stage import Stage

from . import keys, meterman
from .adapter import Answer
from .draws import Draws
from .faults import Fault
from .fellow import fellow
from .hunt import MOST, next_point
from .meterman import Habit, Point, Taken
from .truth import Solved

if TYPE_CHECKING:
    from .study import Ground


def run(
    ground: Ground, stage: Stage, sound: Solved, sick: Solved, truth: Sequence[Fault],
    where: Sequence[Point], habit: Habit, told: float | None, record: dict[str, Any],
) -> None:
    """Fill record["other"]; cases whose fault sits in a common rail have no good channel."""
    rails = {rail.name for rail in stage.rails} | {pin.name for pin in stage.pins}
    if any(fault.part in rails for fault in truth):
        return
    rng = np.random.default_rng([ground.plan.seed, int(record["case"]), 7])
    there = fellow(ground.runner, stage, sound.specimen, rng)
    if there is None:
        return
    hand = replace(habit, draw=Draws(rng))
    taken = meterman.read(ground.runner, there, where, hand)
    if taken is None:
        return
    other = meterman.sheet(taken, habit, told)
    started = time.perf_counter()
    answer = ground.tool(stage, record["sheet"], other)
    found: dict[str, Any] = {
        "sheet": other,
        "tool_seconds": round(time.perf_counter() - started, 3),
        **summary(stage, answer, truth),
    }
    if record.get("hunt") is not None:
        alone = record["hunt"]["steps"]
        found["hunt"] = _hunt(ground, stage, sick, hand, told, other)
        if found["hunt"] is not None:
            found["hunt"]["alone"] = alone
    record["other"] = found


def summary(stage: Stage, answer: Answer, truth: Sequence[Fault]) -> dict[str, Any]:
    """How right an answer is."""
    suspects = answer.suspects
    mine = [s for s in suspects if truth and keys.is_it(stage, s, truth)]
    return {
        "sound": round(answer.sound, 5),
        "worst_blame": round(max((s.weight for s in suspects), default=0.0), 5),
        "in_group": any(keys.names(s, truth) for s in answer.first_group),
        "group_size": len({s.parts for s in answer.first_group}),
        "first_right": bool(suspects) and keys.names(suspects[0], truth),
        "true_weight": round(sum(s.weight for s in mine), 5),
    }


def _hunt(
    ground: Ground, stage: Stage, sick: Solved, habit: Habit, told: float | None, other: str
) -> dict[str, Any] | None:
    """Readings, as advised with the other channel known, until the first group is among the
    parts that reading every node leaves without it: the goal of the hunt without it."""
    places = meterman.touched(meterman.everywhere(stage), sick, habit.draw)
    taken = meterman.read(ground.runner, sick, places, habit)
    if taken is None:
        return None
    goal = _parts(ground.tool(stage, meterman.sheet(taken, habit, told)))
    paper = {(t.point.node, t.point.minus): t for t in taken}

    def steps() -> int | None:
        have: list[Taken] = []
        while len(have) < MOST:
            answer = ground.tool(stage, meterman.sheet(have, habit, told), other)
            if have and _parts(answer) <= goal:
                return len(have)
            point = next_point(stage, answer, have)
            if point is None:
                return None
            key = (point.node, point.minus)
            if key not in paper:
                more = meterman.read(ground.runner, sick, [point], habit)
                if more is None:
                    return None
                paper[key] = more[0]
            have.append(paper[key])
        return None

    return {"beside": steps(), "nodes": len(taken)}


def _parts(answer: Answer) -> frozenset[str]:
    return frozenset(name for s in answer.first_group for name in s.parts)


def lines(records: Sequence[dict[str, Any]]) -> list[str]:
    """The rows of the table."""
    from .table import figure, moved

    both = [r for r in records if r.get("other")]
    singles = [r for r in both if len(r["faults"]) == 1 and moved(r)]
    sound = [r for r in both if not r["faults"]]
    if not both:
        return []

    def row(name: str, rows: Sequence[dict[str, Any]], what: str, most: float = 0.5) -> str:
        def hits(of: Sequence[dict[str, Any]]) -> str:
            if what == "sound":
                return figure(sum(r["worst_blame"] <= most for r in of), len(of))
            return figure(sum(bool(r[what]) for r in of), len(of))

        return f"  {name:<26}{hits(rows):<27}{hits([r['other'] for r in rows])}"

    def mean(of: Sequence[dict[str, Any]], what: str) -> str:
        return f"{sum(r[what] for r in of) / len(of):.2f}" if of else "-"

    there = [r["other"] for r in singles]
    hunts = [r["other"]["hunt"] for r in singles if r["other"].get("hunt")]
    told = [h for h in hunts if h["alone"] is not None and h["beside"] is not None]
    fewer = sum(h["alone"] - h["beside"] for h in told)
    return [
        f"with the other channel known good: {len(both)} cases",
        f"  {'':<26}{'without it':<27}with it",
        row("sound called sound", sound, "sound"),
        row("single: true part first", singles, "first_right"),
        row("... in the first group", singles, "in_group"),
        f"  {'... parts in that group':<26}{mean(singles, 'group_size'):<27}"
        f"{mean(there, 'group_size')}",
        f"  {'... weight of the truth':<26}{mean(singles, 'true_weight'):<27}"
        f"{mean(there, 'true_weight')}",
        f"  hunts that both ended: {len(told)} of {len(hunts)}; readings needed "
        f"{mean(told, 'alone')} without, {mean(told, 'beside')} with: {fewer} fewer in all",
    ]
