"""From zero readings to a group that volts cannot split further, as the tool advises."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from biaspredict.model.stage import GROUND, Stage

from . import adapter, keys, meterman
from .adapter import Answer
from .faults import Fault
from .meterman import Habit, Point, Taken
from .truth import Solved

if TYPE_CHECKING:
    from .study import Ground

Sight = tuple[bool, bool, float]
MOST = 14  # readings after which a hunt is called endless


def hunt(
    ground: Ground,
    stage: Stage,
    sick: Solved,
    truth: Sequence[Fault],
    habit: Habit,
    told: float | None,
    rng: np.random.Generator,
) -> dict[str, Any] | None:
    """Follow the advice; then the same number of readings in random order, and all nodes.

    steps: readings until the first group's parts are among those that reading every node
    leaves; None where the advice ended or went on too long before that.
    """
    places = meterman.touched(meterman.everywhere(stage), sick, habit.draw)
    taken = meterman.read(ground.runner, sick, places, habit)
    if taken is None:
        return None
    paper: dict[tuple[str, str], Taken] = {(t.point.node, t.point.minus): t for t in taken}

    def ask(which: Iterable[Taken]) -> Answer:
        return ground.tool(stage, meterman.sheet(list(which), habit, told))

    everything = ask(taken)
    final = _parts(everything)
    have: list[Taken] = []
    sights: list[Sight] = []
    steps = None
    answer = ask(have)
    while len(have) < MOST:
        point = next_point(stage, answer, have)
        if point is None:
            break
        key = (point.node, point.minus)
        if key not in paper:
            more = meterman.read(ground.runner, sick, [point], habit)
            if more is None:
                break
            paper[key] = more[0]
        have.append(paper[key])
        before, answer = answer, ask(have)
        text = meterman.sheet(have, habit, told)
        sights.append(_sight(adapter.at_first_sight(before, stage, text), answer))
        if _parts(answer) <= final:
            steps = len(have)
            break
    # As many readings taken blindly.
    blind = ask([taken[int(k)] for k in rng.permutation(len(taken))[: len(have)]])
    return {
        "steps": steps,
        "read": len(have),
        "nodes": len(taken),
        "all_hit": _hit(everything, truth),
        "all_size": len(final),
        "hit": _hit(answer, truth),
        "size": len(_parts(answer)),
        "random_hit": _hit(blind, truth),
        "random_size": len(_parts(blind)),
        "random_done": _parts(blind) <= final,
        "sights": sights,
    }


def _sight(told: Mapping[tuple[str, ...], float], answer: Answer) -> Sight:
    """Whether a part was told at first sight, whether it leads afterwards too, and how far off
    its share was."""
    if not told:
        return False, False, 0.0
    label = max(told, key=lambda one: told[one])
    full = answer.shares
    off = abs(told[label] - full.get(label, 0.0))
    return True, label == max(full, key=lambda one: full[one]), off


def _parts(answer: Answer) -> frozenset[str]:
    return frozenset(name for s in answer.first_group for name in s.parts)


def _hit(answer: Answer, truth: Sequence[Fault]) -> bool:
    return any(keys.names(s, truth) for s in answer.first_group)


def next_point(stage: Stage, answer: Answer, have: Sequence[Taken]) -> Point | None:
    """The first advised reading of volts that is not on the paper yet, named as on the sheet."""
    done = {(t.point.node, t.point.minus) for t in have}
    for advice in answer.advice:
        if advice.volts and (advice.node, advice.minus) not in done:
            rail = any(r.name == advice.node for r in stage.rails) and advice.minus == GROUND
            name = f"rail {advice.node}" if rail else advice.node
            return Point(name, advice.node, advice.minus)
    return None
