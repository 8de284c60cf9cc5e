"""Where the flows and slopes of all elements go among the equations of the nodes.

Rows are those of all groups one after the other: flow by flow, or slope by slope, and element by
element. Most stand on the same nodes in every variation, and rows are added whole; those that a
variation moves or lifts are taken out and added where they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from biaspredict.engine.laws import Group
from biaspredict.engine.plan import Ints
from biaspredict.engine.solver import Floats

Turns = list[tuple[Ints, Ints]]
NONE: Ints = np.empty(0, dtype=np.int64)


class Places(Protocol):
    """Where a form keeps the slope of an equation by an unknown; see `elimination.Form`."""

    nodes: int

    def place(self, equation: Ints, unknown: Ints) -> Ints: ...


class Flows:
    """signs: (N, R) of rows at the nodes that they leave (1) and enter (-1); see `signs`.

    rows, whose: (S,) of those that stand elsewhere, and between which nodes start, end (S,).
    """

    def __init__(self, groups: Sequence[Group], signs: Floats) -> None:
        self.signs = signs
        self.rows, self.whose, self.start, self.end = _strays(groups, [g.ends for g in groups])

    def leave(self, total: Floats, rows: Floats) -> Floats:
        """Add rows (R, B) to what leaves each node (N, B); those elsewhere (S,), taken out."""
        strays = rows[self.rows, self.whose]
        if strays.size:
            rows[self.rows, self.whose] = 0.0
            np.add.at(total, (self.start, self.whose), strays)
            np.subtract.at(total, (self.end, self.whose), strays)
        total += self.signs @ rows
        return strays

    def traffic(self, rows: Floats, strays: Floats, which: Ints) -> Floats:
        """(N, b) sums of the sizes at each node of some variations."""
        total: Floats = np.abs(self.signs) @ np.abs(rows.take(which, axis=1))
        if strays.size:
            now = np.full(rows.shape[1], -1)
            now[which] = np.arange(len(which))
            whose = now[self.whose]
            mine = whose >= 0
            sizes, whose = np.abs(strays[mine]), whose[mine]
            np.add.at(total, (self.start[mine], whose), sizes)
            np.add.at(total, (self.end[mine], whose), sizes)
        return total


class Slopes:
    """turns: rows and places (of the form's) to which they are added, each place once a turn.

    rows, whose: (S,) of those that stand elsewhere, and their places (S,).
    """

    def __init__(self, form: Places, groups: Sequence[Group], turns: Turns) -> None:
        self.turns = turns
        self.rows, self.whose, equation, unknown = _strays(groups, [g.pairs for g in groups])
        self.places = form.place(equation, unknown)

    def add(self, total: Floats, rows: Floats) -> None:
        """Add rows (R, B) to the slopes of all equations (places, B). The rows are used up."""
        if self.rows.size:
            strays = rows[self.rows, self.whose]
            rows[self.rows, self.whose] = 0.0
            np.add.at(total, (self.places, self.whose), strays)
        for some, places in self.turns:
            total[places] += rows[some]


def signs(groups: Sequence[Group], nodes: int) -> Floats:
    """(N, R) how the rows of flows count at each node but ground."""
    wide = sum(len(group.ends) * group.count for group in groups)
    found, first = np.zeros((nodes, wide)), 0
    for group in groups:
        for a, b in group.ends:
            span = np.arange(first, first + group.count)
            np.add.at(found, (group.legs.usual[a], span), 1.0)
            np.add.at(found, (group.legs.usual[b], span), -1.0)
            first += group.count
    found[0] = 0.0
    return found


def turns(form: Places, groups: Sequence[Group]) -> Turns:
    """Where the rows of slopes go; nowhere where ground is one of the two nodes."""
    found: list[tuple[list[int], list[int]]] = []
    met: dict[int, int] = {}
    first = 0
    for group in groups:
        for i, j in group.pairs:
            equation, unknown = group.legs.usual[i], group.legs.usual[j]
            places = form.place(equation, unknown).tolist()
            for d in np.flatnonzero((equation != 0) & (unknown != 0)).tolist():
                turn = met[places[d]] = met.get(places[d], -1) + 1
                if turn == len(found):
                    found.append(([], []))
                found[turn][0].append(first + d)
                found[turn][1].append(places[d])
            first += group.count
    return [(np.array(rows), np.array(places)) for rows, places in found]


def _strays(
    groups: Sequence[Group], every: Sequence[Sequence[tuple[int, int]]]
) -> tuple[Ints, Ints, Ints, Ints]:
    """Of what stands elsewhere, each (S,): rows, variations, and the nodes at each pair of
    terminals."""
    found: list[tuple[Ints, Ints, Ints, Ints]] = []
    first = 0
    for group, pairs in zip(groups, every, strict=True):
        legs = group.legs
        if not legs.shared:
            found += [
                (first + k * group.count + legs.which, legs.whose, legs.own[a], legs.own[b])
                for k, (a, b) in enumerate(pairs)
            ]
        first += len(pairs) * group.count
    if not found:
        return NONE, NONE, NONE, NONE
    rows, whose, here, there = (np.concatenate(parts) for parts in zip(*found, strict=True))
    return rows, whose, here, there
