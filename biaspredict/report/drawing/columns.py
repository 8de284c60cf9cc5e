"""What stands left of what: a search over columns that knows only the order of heights.

Simulated annealing first (Kirkpatrick, Gelatt, Vecchi 1983), then every insertion and turn tried
until none helps; from several beginnings, of which the cheapest end is kept.
"""

from __future__ import annotations

import random
from math import exp

from biaspredict.model.parts import POTS
from biaspredict.report.drawing.costs import LEFT, RIGHT, Column, Compiled, Costs
from biaspredict.report.drawing.sketch import Sketch

STARTS = 6
FEWER_STARTS = 4  # where columns are few, or so many that each takes long
FEW, MANY = 9, 14
HOT, COLD = 5.0, 0.12


def arrange(sketch: Sketch, *, seed: int = 1) -> tuple[Column, ...]:
    """The columns from left to right. The same sketch gives the same order."""
    return _Search(sketch, seed).run()


class _Search:
    def __init__(self, sketch: Sketch, seed: int) -> None:
        self.sketch = sketch
        self.random = random.Random(seed)
        self.costs = Costs(sketch)
        self.cost = self.costs.cost
        self.compiled = self.costs.compiled

    def run(self) -> tuple[Column, ...]:
        start = [self.compiled(column) for column in self._first()]
        if len(start) < 2:
            return tuple(c.column for c in start)
        starts = STARTS if FEW <= len(start) < MANY else FEWER_STARTS
        best = min((self._descend(self._anneal(start)) for _ in range(starts)), key=self.cost)
        return tuple(c.column for c in best)

    def _first(self) -> list[Column]:
        s = self.sketch
        columns = []
        for chain in s.chains:
            sides = tuple(RIGHT if s.uprights[k].part.kind in POTS else LEFT for k in chain)
            columns.append(Column("u", chain, sides))
        columns += [Column("f", (k,)) for k in range(len(s.flats))]
        columns += [Column("s", (k,)) for k in range(len(s.stubs))]

        def place(column: Column) -> tuple[float, int]:
            flows = [s.flow[column.kind, k] for k in column.members]
            return sum(flows) / len(flows), self.compiled(column).keys[0]

        return sorted(columns, key=place)

    def _anneal(self, columns: list[Compiled]) -> list[Compiled]:
        pick = self.random
        cost = self.cost(columns)
        best, least = columns, cost
        size = len(columns)
        rounds = min(300 + 28 * size * size, 9000)
        for turn in range(rounds):
            heat = HOT * (COLD / HOT) ** (turn / rounds)
            tried = self._moved(columns, pick)
            if tried is None:
                continue
            worth = self.cost(tried)
            if worth <= cost or pick.random() < exp((cost - worth) / heat):
                columns, cost = tried, worth
                if cost < least - 1e-9:
                    best, least = columns, cost
        return best

    def _moved(self, columns: list[Compiled], pick: random.Random) -> list[Compiled] | None:
        size = len(columns)
        chance = pick.random()
        if chance < 0.50:
            # Near moves far more often than far ones.
            i = int(pick.random() * size)
            reach = 1 + int(size * pick.random() ** 2.5)
            j = i + (reach if pick.random() < 0.5 else -reach)
            if not 0 <= j < size:
                return None
            made = columns[:]
            made.insert(j, made.pop(i))
            return made
        if chance < 0.72:
            i, j = int(pick.random() * size), int(pick.random() * size)
            if i == j:
                return None
            made = columns[:]
            made[i], made[j] = made[j], made[i]
            return made
        k = int(pick.random() * size)
        column = columns[k].column
        if column.kind == "s":
            return None
        if column.kind == "f":
            return self._replaced(columns, k, Column("f", column.members, (), not column.turned))
        if chance < 0.88:
            sided = [
                i for i, m in enumerate(column.members) if self.sketch.uprights[m].side is not None
            ]
            if not sided:
                return None
            i = sided[int(pick.random() * len(sided))]
            sides = list(column.sides)
            sides[i] = LEFT if sides[i] == RIGHT else RIGHT
            return self._replaced(columns, k, Column("u", column.members, tuple(sides)))
        if chance < 0.95:
            return self._cut(columns, k, pick)
        return self._joined(columns, k, pick)

    def _cut(self, columns: list[Compiled], k: int, pick: random.Random) -> list[Compiled] | None:
        column = columns[k].column
        if len(column.members) < 2:
            return None
        at = 1 + int(pick.random() * (len(column.members) - 1))
        upper = self.compiled(Column("u", column.members[:at], column.sides[:at]))
        lower = self.compiled(Column("u", column.members[at:], column.sides[at:]))
        made = columns[:]
        made[k : k + 1] = [upper, lower] if pick.random() < 0.5 else [lower, upper]
        return made

    def _joined(
        self, columns: list[Compiled], k: int, pick: random.Random
    ) -> list[Compiled] | None:
        uprights = self.sketch.uprights
        mine = columns[k].column
        bottom = uprights[mine.members[-1]].bottom
        if self.sketch.lines[bottom].still or uprights[mine.members[-1]].top == bottom:
            return None
        fits = [
            j
            for j, other in enumerate(c.column for c in columns)
            if j != k
            and other.kind == "u"
            and uprights[other.members[0]].top == bottom
            and uprights[other.members[0]].bottom != bottom
        ]
        if not fits:
            return None
        j = fits[int(pick.random() * len(fits))]
        made = columns[:]
        other = columns[j].column
        both = self.compiled(Column("u", mine.members + other.members, mine.sides + other.sides))
        made[k if pick.random() < 0.5 else j] = both
        gone = j if made[k] is both else k
        del made[gone]
        return made

    def _descend(self, columns: list[Compiled]) -> list[Compiled]:
        """Every insertion and turn tried until none helps."""
        cost = self.cost(columns)
        better = True
        while better:
            better = False
            for tried in self._near(columns):
                worth = self.cost(tried)
                if worth < cost - 1e-9:
                    columns, cost, better = tried, worth, True
                    break
        return columns

    def _near(self, columns: list[Compiled]) -> list[list[Compiled]]:
        tries = []
        size = len(columns)
        for i in range(size):
            for j in range(size):
                if i != j and (abs(i - j) <= 8 or j in (0, size - 1)):
                    made = columns[:]
                    made.insert(j, made.pop(i))
                    tries.append(made)
        for k, column in enumerate([c.column for c in columns]):
            for i, m in enumerate(column.members if column.kind == "u" else ()):
                if self.sketch.uprights[m].side is not None:
                    sides = list(column.sides)
                    sides[i] = LEFT if sides[i] == RIGHT else RIGHT
                    turned = Column("u", column.members, tuple(sides))
                    tries.append(self._replaced(columns, k, turned))
        return tries

    def _replaced(self, columns: list[Compiled], k: int, column: Column) -> list[Compiled]:
        made = columns[:]
        made[k] = self.compiled(column)
        return made
