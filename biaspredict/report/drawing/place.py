"""From columns and heights to wires, symbols and ends in their places."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from biaspredict.report.drawing.costs import LEFT, RIGHT, Column
from biaspredict.report.drawing.heights import Heights, ends
from biaspredict.report.drawing.outline import flat_out
from biaspredict.report.drawing.records import Dot, End, Hop, Symbol, Wire
from biaspredict.report.drawing.room import GROUND_STUB, LOOP, TURN, own_ground
from biaspredict.report.drawing.shapes import REACH, SIDE, shape
from biaspredict.report.drawing.sketch import Sketch, Upright
from biaspredict.report.drawing.stack import side_leads

NEAR = 1e-6
LOOSE = 0.3


@dataclass(slots=True)
class Placed:
    """Everything of one row that has a place; heights run upwards."""

    symbols: list[Symbol] = field(default_factory=list)
    wires: list[Wire] = field(default_factory=list)
    dots: list[Dot] = field(default_factory=list)
    hops: list[Hop] = field(default_factory=list)
    ends: list[End] = field(default_factory=list)


class Placer:
    """Collects what meets each line and what runs upright, then draws the lines."""

    def __init__(
        self, sketch: Sketch, columns: Sequence[Column], heights: Heights, x: Sequence[float]
    ) -> None:
        self.sketch = sketch
        self.columns = columns
        self.heights = heights
        self.x = x
        self.made = Placed()
        self.meets: dict[int, list[float]] = {k: [] for k in range(len(sketch.lines))}
        self.alone: dict[int, float] = {}  # line to the way its only lead points
        self.uprights: list[tuple[int, float, float, float]] = []  # line, x, low, high
        self.levels: list[tuple[int, float, float, float]] = []  # line, y, left, right

    def run(self, reach: Mapping[int, tuple[float, float]]) -> Placed:
        """reach: how far a line runs to the left and right besides, for its lettering or ring."""
        for place, column in enumerate(self.columns):
            if column.kind == "u":
                self._stack(place, column)
            elif column.kind == "f":
                self._flat(place, column)
            else:
                self._stub(place, column)
        self._lines(reach)
        self._wires()
        return self.made

    def _upright(self, line: int, x: float, a: float, b: float) -> None:
        """An upright piece of wire of a line from height a to b."""
        if abs(a - b) > NEAR:
            self.uprights.append((line, x, min(a, b), max(a, b)))

    def _level(self, line: int, y: float, a: float, b: float) -> None:
        if abs(a - b) > NEAR:
            self.levels.append((line, y, min(a, b), max(a, b)))

    def _stack(self, place: int, column: Column) -> None:
        x = self.x[place]
        y = self.heights.lines
        outs = side_leads(self.sketch, column, self.heights)
        for k, side in zip(column.members, column.sides, strict=True):
            u = self.sketch.uprights[k]
            body = self.heights.bodies["u", k]
            reach = REACH[u.part.kind]
            high, low = body + reach, body - reach
            self.meets[u.top].append(x)
            self._upright(u.top, x, y[u.top], high)
            if u.top == u.bottom:
                turn = x + (LOOP if side == LEFT else -LOOP)
                self._level(u.bottom, low, x, turn)
                self._upright(u.bottom, turn, low, y[u.bottom])
                self.meets[u.bottom].append(turn)
            else:
                self.meets[u.bottom].append(x)
                self._upright(u.bottom, x, low, y[u.bottom])
            points = {u.top_terminal: (x, high), u.bottom_terminal: (x, low)}
            word = ""
            if u.side is not None:
                sign = 1 if side == RIGHT else -1
                out = x + sign * outs[k]
                points[u.side_terminal] = (x + sign * SIDE, body)
                self._level(u.side, body, x + sign * SIDE, out)
                if abs(body - y[u.side]) < NEAR and not own_ground(self.sketch, u.side):
                    self.alone[u.side] = sign * LOOSE
                self._upright(u.side, out, body, y[u.side])
                self.meets[u.side].append(out)
                word = "right" if side == RIGHT else "left"
            self._symbol(u, x, body, points, word)
            self._grounds(u, x)
            if u.side is not None and own_ground(self.sketch, u.side):
                self._side_ground(u.side, out, sign * TURN)

    def _symbol(
        self,
        u: Upright,
        x: float,
        y: float,
        points: Mapping[str, tuple[float, float]],
        side: str,
    ) -> None:
        names = [name for name in u.part.terminals if name != u.side_terminal]
        along = "down" if u.top_terminal == names[0] else "up"
        self.made.symbols.append(
            Symbol(
                u.part.ref,
                shape(u.part),
                x,
                y,
                along,
                side,
                tuple((name, *points[name]) for name in u.part.terminals),
            )
        )

    def _grounds(self, u: Upright, x: float) -> None:
        for line, upper in ((u.top, True), (u.bottom, False)):
            shown = self.sketch.lines[line]
            if not own_ground(self.sketch, line):
                continue
            y = self.heights.lines[line]
            if upper:
                self._level(line, y, x - GROUND_STUB, x)
                self.made.ends.append(End("ground", "", shown.node, x - GROUND_STUB, y, "down"))
            else:
                self.made.ends.append(End("ground", "", shown.node, x, y, "down"))

    def _side_ground(self, line: int, x: float, way: float) -> None:
        """A ground of its own, a little way off the end of a lead."""
        y = self.heights.lines[line]
        self._level(line, y, x, x + way)
        self.made.ends.append(End("ground", "", self.sketch.lines[line].node, x + way, y, "down"))

    def _flat(self, place: int, column: Column) -> None:
        flat = self.sketch.flats[column.members[0]]
        x, y = self.x[place], self.heights.bodies["f", column.members[0]]
        reach, far = REACH[flat.part.kind], flat_out(self.sketch, column, self.heights)
        names = (flat.left_terminal, flat.right_terminal)
        if column.turned:
            names = names[::-1]
        points = {names[0]: (x - reach, y), names[1]: (x + reach, y)}
        for line, sign in zip(ends(self.sketch, column), (-1, 1), strict=True):
            out = x + sign * far
            self._level(line, y, x + sign * reach, out)
            self._upright(line, out, y, self.heights.lines[line])
            self.meets[line].append(out)
        if own_ground(self.sketch, flat.right):
            self._side_ground(flat.right, x + far, TURN)
        terminals = flat.part.terminals
        along = "right" if names[0] == terminals[0] else "left"
        shown = tuple((name, *points[name]) for name in terminals)
        self.made.symbols.append(Symbol(flat.part.ref, shape(flat.part), x, y, along, "", shown))

    def _stub(self, place: int, column: Column) -> None:
        stub = self.sketch.stubs[column.members[0]]
        x, y = self.x[place], self.heights.lines[stub.line]
        self.meets[stub.line].append(x)
        if own_ground(self.sketch, stub.line):
            self._side_ground(stub.line, x, GROUND_STUB)
        towards = "right" if stub.what in ("output", "link out") else "left"
        node = self.sketch.lines[stub.line].node
        what = "link" if stub.what.startswith("link") else stub.what
        self.made.ends.append(End(what, stub.name, node, x, y, towards))

    def _lines(self, reach: Mapping[int, tuple[float, float]]) -> None:
        for line in self.sketch.lines:
            met = self.meets[line.number]
            if not met:
                continue
            left, right = min(met), max(met)
            if line.number in reach:
                left, right = min(left, reach[line.number][0]), max(right, reach[line.number][1])
            y = self.heights.lines[line.number]
            self._level(line.number, y, left, right)
            if left == right and line.number in self.alone:
                # A lead that nothing else meets shows as a loose end.
                self._level(line.number, y, left, left + self.alone[line.number])

    def _wires(self) -> None:
        lines = self.sketch.lines
        for line, x, low, high in self.uprights:
            shown = lines[line]
            self.made.wires.append(Wire(shown.node, x, high, x, low, shown.dashed))
        for line, y, left, right in self.levels:
            shown = lines[line]
            self.made.wires.append(Wire(shown.node, left, y, right, y, shown.dashed))
            for other, x, low, high in self.uprights:
                if other != line and low < y < high and left < x < right:
                    self.made.hops.append(Hop(shown.node, lines[other].node, x, y))
        self._dots()

    def _dots(self) -> None:
        """A dot where three or more ways of one line meet."""
        ways: dict[tuple[int, float, float], set[str]] = {}

        def way(line: int, x: float, y: float, towards: str) -> None:
            ways.setdefault((line, round(x, 6), round(y, 6)), set()).add(towards)

        for line, x, low, high in self.uprights:
            way(line, x, low, "up")
            way(line, x, high, "down")
        for symbol in self.made.symbols:
            part_line = self._lines_of(symbol)
            for name, x, y in symbol.points:
                towards = self._inward(symbol, x, y)
                way(part_line[name], x, y, towards)
        corners = list(ways)
        for line, y, left, right in self.levels:
            way(line, left, y, "right")
            way(line, right, y, "left")
            for other, x, at in corners:
                if other == line and abs(at - y) < NEAR and left + NEAR < x < right - NEAR:
                    way(line, x, at, "left")
                    way(line, x, at, "right")
        for line, x, low, high in self.uprights:
            for other, at, y in corners:
                if other == line and abs(at - x) < NEAR and low + NEAR < y < high - NEAR:
                    way(line, at, y, "up")
                    way(line, at, y, "down")
        for (line, x, y), met in ways.items():
            if len(met) >= 3:
                self.made.dots.append(Dot(self.sketch.lines[line].node, x, y))

    def _lines_of(self, symbol: Symbol) -> dict[str, int]:
        for u in self.sketch.uprights:
            if u.part.ref == symbol.ref:
                found = {u.top_terminal: u.top, u.bottom_terminal: u.bottom}
                if u.side is not None:
                    found[u.side_terminal] = u.side
                return found
        for f in self.sketch.flats:
            if f.part.ref == symbol.ref:
                return {f.left_terminal: f.left, f.right_terminal: f.right}
        raise KeyError(symbol.ref)

    @staticmethod
    def _inward(symbol: Symbol, x: float, y: float) -> str:
        """The way from a lead's end to the body."""
        if abs(x - symbol.x) < NEAR:
            return "down" if y > symbol.y else "up"
        return "left" if x > symbol.x else "right"
