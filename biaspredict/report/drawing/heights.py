"""How high each line and each body lies, once the columns stand.

All conditions have one form, "this at least so far above that", so that the lowest heights come
from one pass from the bottom; what room is left over is then shared out towards heights that show
the volts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import log2

from biaspredict.model.parts import Part
from biaspredict.report.drawing.captions import part_lines
from biaspredict.report.drawing.costs import LEFT, MIDDLE, RIGHT, Column
from biaspredict.report.drawing.lettering import LINE
from biaspredict.report.drawing.shapes import REACH
from biaspredict.report.drawing.sketch import Sketch, Upright

BETWEEN = 0.78  # two lines above each other
APART = 0.26  # two lines beside each other with volts between them
LEAD = 0.14  # wire kept free at each end of a body
FLAT_ROOM = 0.92  # from a level part to a line passing over or under it
STEP_VOLTS = 0.4
SWEEPS = 24


@dataclass(frozen=True, slots=True)
class Spans:
    """First and last place of each line, and what covers each place of each column."""

    low: tuple[int, ...]
    high: tuple[int, ...]

    def covers(self, line: int, place: int) -> bool:
        return self.low[line] < place < self.high[line]

    def overlap(self, a: int, b: int) -> bool:
        return self.low[a] <= self.high[b] and self.low[b] <= self.high[a]


@dataclass(frozen=True, slots=True)
class Heights:
    """lines: height of each line. bodies: height of each upright ("u", k) and level part."""

    lines: tuple[float, ...]
    bodies: Mapping[tuple[str, int], float]


@dataclass(slots=True)
class _Frame:
    """Unknown heights in order from the bottom, and what holds between them."""

    keys: list[float] = field(default_factory=list)  # order of the unknowns
    below: list[list[tuple[int, float]]] = field(default_factory=list)
    above: list[list[tuple[int, float]]] = field(default_factory=list)

    def unknown(self, key: float) -> int:
        self.keys.append(key)
        self.below.append([])
        self.above.append([])
        return len(self.keys) - 1

    def at_least(self, high: int, low: int, far: float) -> None:
        if self.keys[high] <= self.keys[low]:
            raise ValueError("heights out of order")
        self.below[high].append((low, far))
        self.above[low].append((high, far))


def spans(sketch: Sketch, columns: Sequence[Column]) -> Spans:
    """Where each line begins and ends among the columns."""
    count = len(sketch.lines)
    low = [10**9] * count
    high = [-1] * count
    for place, column in enumerate(columns):
        for line, sub in leads(sketch, column):
            low[line] = min(low[line], 3 * place + sub)
            high[line] = max(high[line], 3 * place + sub)
    return Spans(tuple(low), tuple(high))


def leads(sketch: Sketch, column: Column) -> list[tuple[int, int]]:
    """(line, LEFT, MIDDLE or RIGHT) of every lead of a column."""
    if column.kind == "s":
        return [(sketch.stubs[column.members[0]].line, MIDDLE)]
    if column.kind == "f":
        left, right = ends(sketch, column)
        return [(left, LEFT), (right, RIGHT)]
    found = []
    for k, side in zip(column.members, column.sides, strict=True):
        u = sketch.uprights[k]
        found += [(u.top, MIDDLE), (u.bottom, MIDDLE)]
        if u.top == u.bottom:
            found.append((u.top, LEFT if side == RIGHT else RIGHT))
        if u.side is not None:
            found.append((u.side, side))
    return found


def ends(sketch: Sketch, column: Column) -> tuple[int, int]:
    """Left and right line of a level part as it stands."""
    flat = sketch.flats[column.members[0]]
    return (flat.right, flat.left) if column.turned else (flat.left, flat.right)


def body_room(part: Part) -> float:
    """Half the height kept clear round the body of an upright part, its lettering included."""
    lines = len(part_lines(part))
    return max(REACH[part.kind] + LEAD, (lines * LINE) / 2 + 0.08)


class Stack:
    """Works out heights for one order of columns. `extra` asks more room below some lines."""

    def __init__(self, sketch: Sketch, columns: Sequence[Column]) -> None:
        self.sketch = sketch
        self.columns = columns
        self.spans = spans(sketch, columns)
        self.group = self._groups()
        members: dict[int, list[int]] = {}
        for line, group in enumerate(self.group):
            members.setdefault(group, []).append(line)
        self.order = sorted(members, key=lambda g: min(members[g]))
        self.members = members
        self.rank = {group: place for place, group in enumerate(self.order)}
        self.beside: Mapping[tuple[int, int], float] = {}

    def _groups(self) -> list[int]:
        """Lines of one track that do not overlap share a height."""
        root = list(range(len(self.sketch.lines)))

        def find(a: int) -> int:
            while root[a] != a:
                a = root[a]
            return a

        held = {a: [a] for a in root}
        for flat in self.sketch.flats:
            a, b = find(flat.left), find(flat.right)
            if a == b or self.sketch.lines[a].track != self.sketch.lines[b].track:
                continue
            if not any(self.spans.overlap(x, y) for x in held[a] for y in held[b]):
                root[b] = a
                held[a] += held.pop(b)
        return [find(a) for a in root]

    def place(
        self,
        extra: Mapping[tuple[int, int], float] | None = None,
        beside: Mapping[tuple[int, int], float] | None = None,
    ) -> Heights:
        """extra: (upper line, lower line) to the distance that lettering between them needs.

        beside: (number of an upright, its top or bottom line) to the distance from that line to
        the middle of the body that lettering beside it needs.
        """
        frame = _Frame()
        self.beside = beside or {}
        number = {g: frame.unknown(2 * self.rank[g]) for g in self.order}
        self._between_lines(frame, number, extra or {})
        bodies: dict[tuple[str, int], int] = {}
        free: list[tuple[int, int, int]] = []
        for place, column in enumerate(self.columns):
            if column.kind == "u":
                for k in column.members:
                    bodies["u", k] = self._upright(frame, number, place, k, free)
            elif column.kind == "f":
                bodies["f", column.members[0]] = self._flat(frame, number, place, column, free)
        settled = _settle(frame, self._targets(number, len(frame.keys)), free)
        found = [round(height, 2) for height in settled]
        lines = tuple(found[number[self.group[line]]] for line in range(len(self.sketch.lines)))
        return Heights(lines, {key: found[v] for key, v in bodies.items()})

    def _between_lines(
        self,
        frame: _Frame,
        number: Mapping[int, int],
        extra: Mapping[tuple[int, int], float],
    ) -> None:
        level = self._levels()
        for low, high in pairwise(self.order):
            volts = level[high] - level[low]
            frame.at_least(number[high], number[low], APART if volts > 0.15 else 0.0)
        for a, high in enumerate(self.order):
            for low in self.order[:a]:
                far = 0.0
                for x in self.members[high]:
                    for y in self.members[low]:
                        ground = self.sketch.lines[x].ground or self.sketch.lines[y].ground
                        if self.spans.overlap(x, y) or ground:
                            far = max(far, BETWEEN, extra.get((x, y), 0.0))
                if far:
                    frame.at_least(number[high], number[low], far)

    def _levels(self) -> dict[int, float]:
        lines = self.sketch.lines
        return {
            g: sum(lines[m].level for m in held) / len(held) for g, held in self.members.items()
        }

    def _targets(self, number: Mapping[int, int], count: int) -> list[float | None]:
        """Heights that would show the volts: only their order is promised."""
        level = self._levels()
        targets: list[float | None] = [None] * count
        height = 0.0
        before = None
        for g in self.order:
            if before is not None:
                volts = max(level[g] - level[before], 0.0)
                height += 0.25 + 0.5 * log2(1 + volts / STEP_VOLTS) if volts > 0.01 else 0.0
            targets[number[g]] = height
            before = g
        return targets

    def crossing(self, place: int, sub: int, high: int, low: int) -> list[int]:
        """Groups between two lines that pass over a place, from the top."""
        lo, hi = self.rank[self.group[low]], self.rank[self.group[high]]
        at = 3 * place + sub
        return [
            g
            for g in reversed(self.order[lo + 1 : hi])
            if any(self.spans.covers(line, at) for line in self.members[g])
        ]

    def _upright(
        self,
        frame: _Frame,
        number: Mapping[int, int],
        place: int,
        k: int,
        free: list[tuple[int, int, int]],
    ) -> int:
        u = self.sketch.uprights[k]
        room = body_room(u.part)
        top, bottom = self.group[u.top], self.group[u.bottom]
        if u.top == u.bottom:
            # Shorted on itself: hangs below its line.
            body = frame.unknown(2 * self.rank[top] - 1)
            frame.at_least(number[top], body, room + 0.2)
            if self.rank[top]:
                under = self.order[self.rank[top] - 1]
                frame.at_least(body, number[under], room + 0.5)
            return body
        passing = self.crossing(place, MIDDLE, u.top, u.bottom)
        if u.side is not None:
            own = self.group[u.side]
            within = self.rank[bottom] < self.rank[own] < self.rank[top]
            if within and own not in passing:
                stack = [top, *passing, bottom]
                over = min(
                    (g for g in stack if self.rank[g] > self.rank[own]), key=self.rank.__getitem__
                )
                under = max(
                    (g for g in stack if self.rank[g] < self.rank[own]), key=self.rank.__getitem__
                )
                frame.at_least(number[over], number[own], room)
                frame.at_least(number[own], number[under], room)
                self._spread(frame, number, number[own], k, u)
                return number[own]
        stack = [top, *passing, bottom]
        gaps = list(pairwise(stack))
        upper, lower = self._gap(gaps, u.side)
        key = 2 * self.rank[lower] + 1 + (place + 1) * 1e-4
        body = frame.unknown(key)
        frame.at_least(number[upper], body, room)
        frame.at_least(body, number[lower], room)
        self._spread(frame, number, body, k, u)
        free.append((body, number[upper], number[lower]))
        return body

    def _spread(
        self, frame: _Frame, number: Mapping[int, int], body: int, k: int, u: Upright
    ) -> None:
        """Room for lettering at the ends of an upright."""
        if far := self.beside.get((k, u.top)):
            frame.at_least(number[self.group[u.top]], body, far)
        if far := self.beside.get((k, u.bottom)):
            frame.at_least(body, number[self.group[u.bottom]], far)

    def _gap(self, gaps: Sequence[tuple[int, int]], side: int | None) -> tuple[int, int]:
        """Where a body goes among the lines that pass: nearest its third lead, else the widest."""
        level = self._levels()
        if side is not None:
            rank = self.rank[self.group[side]]
            return min(
                gaps,
                key=lambda gap: abs(self.rank[gap[0]] + self.rank[gap[1]] - 2 * rank),
            )
        return max(gaps, key=lambda gap: round(level[gap[0]] - level[gap[1]], 3))

    def _flat(
        self,
        frame: _Frame,
        number: Mapping[int, int],
        place: int,
        column: Column,
        free: list[tuple[int, int, int]],
    ) -> int:
        left, right = ends(self.sketch, column)
        past_left = self.spans.high[left] > 3 * place
        past_right = self.spans.low[right] < 3 * place + RIGHT
        line = self._aligned(left, right, past_left, past_right)
        if line is not None:
            own = self.group[line]
            others = [self.rank[self.group[x]] - self.rank[own] for x in (left, right)]
            self._keep_clear(
                frame, number, place, number[own], self.rank[own], max(others) > 0, min(others) < 0
            )
            return number[own]
        # Both lines run past: the part stands above the higher of them, in the next gap.
        base = max(self.rank[self.group[left]], self.rank[self.group[right]])
        body = frame.unknown(2 * base + 1 + (place + 1) * 1e-4)
        self._keep_clear(frame, number, place, body, base + 0.5, False, True)
        return body

    def _aligned(self, left: int, right: int, past_left: bool, past_right: bool) -> int | None:
        same = self.group[left] == self.group[right]
        if same and left != right:
            return left
        if left == right or (past_left and past_right):
            return None
        if past_left or past_right:
            return right if past_left else left
        lines = self.sketch.lines
        inner = max((left, right), key=lambda x: (abs(lines[x].level), -x))
        return inner

    def _keep_clear(
        self,
        frame: _Frame,
        number: Mapping[int, int],
        place: int,
        body: int,
        rank: float,
        up: bool,
        down: bool,
    ) -> None:
        """Lines passing over or under a level part leave it and its lettering free."""
        at = 3 * place
        # Where its leads turn down all its lettering stands above it, and the other way about.
        over = FLAT_ROOM + (LINE if down and not up else 0.0)
        under = FLAT_ROOM + (LINE if up and not down else 0.0)
        for g in self.order:
            if number[g] == body:
                continue
            near = any(
                self.spans.low[x] <= at + RIGHT and self.spans.high[x] >= at
                for x in self.members[g]
            )
            if near:
                if self.rank[g] > rank:
                    frame.at_least(number[g], body, over)
                else:
                    frame.at_least(body, number[g], under)


def _settle(
    frame: _Frame, targets: Sequence[float | None], free: Sequence[tuple[int, int, int]]
) -> list[float]:
    order = sorted(range(len(frame.keys)), key=frame.keys.__getitem__)
    height = [0.0] * len(order)
    for v in order:
        height[v] = max((height[low] + far for low, far in frame.below[v]), default=0.0)
    most = max(height, default=0.0)
    tallest = max((t for t in targets if t is not None), default=0.0)
    scale = most / tallest if tallest else 0.0
    middles = {body: (upper, lower) for body, upper, lower in free}
    for sweep in range(SWEEPS):
        for v in order if sweep % 2 else reversed(order):
            low = max((height[x] + far for x, far in frame.below[v]), default=0.0)
            high = min((height[x] - far for x, far in frame.above[v]), default=most)
            if v in middles:
                upper, lower = middles[v]
                wish = (height[upper] + height[lower]) / 2
            elif targets[v] is not None:
                wish = (targets[v] or 0.0) * scale
            else:
                wish = (low + high) / 2
            height[v] = min(max(wish, low), high)
    return height
