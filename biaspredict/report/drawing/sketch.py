"""One row of the drawing before anything has a place: lines, upright parts, level parts, ends.

A `Line` is what a node shows as: one level line for most nodes; a node that is grounded in the
middle of the picture shows as many short ones.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from biaspredict.model.parts import POTS, Kind, Part
from biaspredict.model.stage import GROUND
from biaspredict.report.drawing.facts import LEVEL, Facts

SIDES = {Kind.TRANSISTOR: "base", Kind.FET: "gate", Kind.POT: "wiper", Kind.TRIMMER: "wiper"}


@dataclass(frozen=True, slots=True)
class Line:
    """A level line. Numbered from the lowest up.

    track: lines of one track may share a height. ground: shows a ground symbol of its own.
    """

    number: int
    node: str
    level: float
    track: int
    still: bool = False
    ground: bool = False
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Upright:
    """A part drawn upright between two lines, with a third lead to one side where it has one."""

    part: Part
    top: int
    bottom: int
    top_terminal: str
    bottom_terminal: str
    side: int | None = None
    side_terminal: str = ""
    amps: float = 0.0


@dataclass(frozen=True, slots=True)
class Flat:
    """A part drawn level between two lines."""

    part: Part
    left: int
    right: int
    left_terminal: str
    right_terminal: str


@dataclass(frozen=True, slots=True)
class Stub:
    """Where a line leaves the drawing: an input, an output, a pin, a link to another row."""

    what: str
    name: str
    line: int
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sketch:
    """A row. steps: pairs of parts or stubs, as ("u", 3), the first to stand left of the second.

    chains: upright parts that one column holds, top first.
    """

    lines: tuple[Line, ...]
    uprights: tuple[Upright, ...]
    flats: tuple[Flat, ...]
    stubs: tuple[Stub, ...]
    chains: tuple[tuple[int, ...], ...]
    steps: tuple[tuple[tuple[str, int], tuple[str, int]], ...]
    flow: Mapping[tuple[str, int], float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LooseStub:
    """A stub before its node has a line."""

    what: str
    name: str
    node: str
    notes: tuple[str, ...] = ()


def sketch(facts: Facts, parts: Sequence[Part], stubs: Iterable[LooseStub]) -> Sketch:
    """The row that these parts and stubs make."""
    stubs = list(stubs)
    pen = _Pen(facts, parts, stubs)
    uprights = tuple(pen.upright(part) for part in parts if part.ref not in facts.flat)
    flats = tuple(pen.flat(part) for part in parts if part.ref in facts.flat)
    made = tuple(Stub(s.what, s.name, pen.line(s.node), s.notes) for s in stubs)
    lines = tuple(pen.lines)
    chains = _chains(lines, uprights, flats, made)
    flow = _flow(facts, uprights, flats, made, lines)
    return Sketch(
        lines, uprights, flats, made, chains, _steps(uprights, flats, made, lines, flow), flow
    )


class _Pen:
    """Numbers the lines of a row from the lowest up."""

    def __init__(self, facts: Facts, parts: Sequence[Part], stubs: Sequence[LooseStub]) -> None:
        self.facts = facts
        met = [node for part in parts for node in part.nodes] + [stub.node for stub in stubs]
        nodes = sorted(dict.fromkeys(met), key=facts.above)
        local = facts.ground == "middle"
        tracks = _tracks(facts, nodes, parts)
        # Tracks lie whole, each at the height of its middle.
        middle: dict[int, list[float]] = {}
        for node in nodes:
            middle.setdefault(tracks[node], []).append(facts.level[node])
        nodes.sort(
            key=lambda n: (
                round(sum(middle[tracks[n]]) / len(middle[tracks[n]]), 6),
                facts.above(n)[1] if n == GROUND else 0.0,
                0 if len(middle[tracks[n]]) == 1 else 1,
                tracks[n] if len(middle[tracks[n]]) > 1 else 0,
                _outermost(facts, n),
                facts.above(n),
            )
        )
        self.lines: list[Line] = []
        self.by_node: dict[str, int] = {}
        self.grounds: list[int] = []
        for node in nodes:
            if node == GROUND and local:
                for _ in range(met.count(GROUND)):
                    self.grounds.append(self._add(node, tracks[node], ground=True))
            else:
                self.by_node[node] = self._add(node, tracks[node], ground=node == GROUND)

    def _add(self, node: str, track: int, *, ground: bool) -> int:
        number = len(self.lines)
        level = self.facts.level[node]
        still = node in self.facts.still
        if ground and self.facts.ground == "middle":
            track = -1 - number
        self.lines.append(
            Line(number, node, level, track, still, ground, node in self.facts.dashed)
        )
        return number

    def line(self, node: str) -> int:
        """The line of a node; each call for ground in the middle gives a fresh one."""
        if node in self.by_node:
            return self.by_node[node]
        return self.grounds.pop(0)

    def upright(self, part: Part) -> Upright:
        names = part.terminals
        side_name = SIDES.get(part.kind, "")
        ends = [name for name in names if name != side_name]
        first, last = ends[0], ends[-1]
        high, low = part.node(first), part.node(last)
        top, bottom = self.line(high), self.line(low)
        if top < bottom:
            first, last, top, bottom = last, first, bottom, top
        side = self.line(part.node(side_name)) if side_name else None
        amps = self.facts.amps[part.ref]
        return Upright(part, top, bottom, first, last, side, side_name, amps)

    def flat(self, part: Part) -> Flat:
        first, last = part.terminals
        places = self.facts.places
        a, b = (places.get(part.node(t), 0.0) for t in (first, last))
        if b < a:
            first, last = last, first
        left = self.line(part.node(first))
        right = left if part.node(first) == part.node(last) else self.line(part.node(last))
        return Flat(part, left, right, first, last)


def _main_ends(part: Part) -> tuple[str, str]:
    """Nodes at the two ends of an upright part."""
    ends = [t for t in part.terminals if t != SIDES.get(part.kind, "")]
    return part.node(ends[0]), part.node(ends[-1])


def _outermost(facts: Facts, node: str) -> float:
    """Rails stand outside what hangs on them by a fuse or a coil."""
    level = facts.level[node]
    return (level > 0) - (level < 0) if node in facts.still else 0.0


def _tracks(facts: Facts, nodes: Sequence[str], parts: Sequence[Part]) -> dict[str, int]:
    """Nodes that level parts join at one height get one number."""
    root = {node: node for node in nodes}

    def find(node: str) -> str:
        while root[node] != node:
            node = root[node]
        return node

    upright = [_main_ends(part) for part in parts if part.ref not in facts.flat]
    held = {node: {node} for node in nodes}
    for part in parts:
        if part.ref not in facts.flat:
            continue
        a, b = part.nodes
        if GROUND in (a, b) or abs(facts.level[a] - facts.level[b]) >= LEVEL:
            continue
        a, b = find(a), find(b)
        both = held[a] | held[b]
        # What stands upright between two nodes keeps them at two heights.
        if a != b and not any(x != y and x in both and y in both for x, y in upright):
            root[b] = a
            held[a] = both
    number = {node: k for k, node in enumerate(nodes)}
    return {node: number[find(node)] for node in nodes}


def _chains(
    lines: Sequence[Line],
    uprights: Sequence[Upright],
    flats: Sequence[Flat],
    stubs: Sequence[Stub],
) -> tuple[tuple[int, ...], ...]:
    """Columns: from the largest current down, parts stacked from rail to rail."""
    legs: dict[int, int] = {}
    for u in uprights:
        for line in (u.top, u.bottom, u.side):
            if line is not None:
                legs[line] = legs.get(line, 0) + 1
    for line in (*(x for f in flats for x in (f.left, f.right)), *(s.line for s in stubs)):
        legs[line] = legs.get(line, 0) + 1
    left = dict.fromkeys(range(len(uprights)))

    def rank(k: int) -> tuple[bool, float, int]:
        return uprights[k].part.kind in (Kind.TRANSISTOR, Kind.FET), uprights[k].amps, -k

    def onward(line: int, *, up: bool) -> int | None:
        if lines[line].still:
            return None
        fits = [
            k
            for k in left
            if (uprights[k].bottom if up else uprights[k].top) == line
            and (uprights[k].amps > 0 or legs[line] == 2)
            and uprights[k].top != uprights[k].bottom
        ]
        return max(fits, key=lambda k: (uprights[k].amps, -k), default=None)

    found = []
    for seed in sorted(left, key=rank, reverse=True):
        if seed not in left:
            continue
        del left[seed]
        chain = [seed]
        if uprights[seed].top != uprights[seed].bottom:
            for up in (True, False):
                end = chain[0] if up else chain[-1]
                while (
                    k := onward(uprights[end].top if up else uprights[end].bottom, up=up)
                ) is not None:
                    del left[k]
                    chain.insert(0, k) if up else chain.append(k)
                    end = k
        found.append(tuple(chain))
    return tuple(found)


def _flow(
    facts: Facts,
    uprights: Sequence[Upright],
    flats: Sequence[Flat],
    stubs: Sequence[Stub],
    lines: Sequence[Line],
) -> dict[tuple[str, int], float]:
    flow: dict[tuple[str, int], float] = {}
    flow.update({("u", k): facts.flow[u.part.ref] for k, u in enumerate(uprights)})
    flow.update({("f", k): facts.flow[f.part.ref] for k, f in enumerate(flats)})
    most = max(flow.values(), default=0.0)
    for k, stub in enumerate(stubs):
        place = facts.places.get(lines[stub.line].node, most)
        edge = {"input": -1.0, "link in": -1.0, "output": most + 1.0, "link out": most + 1.0}
        flow["s", k] = edge.get(stub.what, place)
    return flow


def _steps(
    uprights: Sequence[Upright],
    flats: Sequence[Flat],
    stubs: Sequence[Stub],
    lines: Sequence[Line],
    flow: Mapping[tuple[str, int], float],
) -> tuple[tuple[tuple[str, int], tuple[str, int]], ...]:
    """What hands the signal on, and what takes it up."""
    gives: dict[int, list[tuple[str, int]]] = {}
    takes: dict[int, list[tuple[str, int]]] = {}
    for k, u in enumerate(uprights):
        if u.side is None:
            continue
        if u.part.kind in POTS:
            takes.setdefault(u.top, []).append(("u", k))
            gives.setdefault(u.side, []).append(("u", k))
        else:
            takes.setdefault(u.side, []).append(("u", k))
            gives.setdefault(u.top, []).append(("u", k))
            gives.setdefault(u.bottom, []).append(("u", k))
    for k, f in enumerate(flats):
        takes.setdefault(f.left, []).append(("f", k))
        gives.setdefault(f.right, []).append(("f", k))
    for k, u in enumerate(uprights):
        # Emitter resistors and the like hand on to the level parts behind them.
        if u.side is None:
            for line in (u.top, u.bottom):
                if not lines[line].still:
                    gives.setdefault(line, []).append(("u", k))
    for k, s in enumerate(stubs):
        if s.what in ("input", "link in"):
            gives.setdefault(s.line, []).append(("s", k))
        elif s.what in ("output", "link out"):
            takes.setdefault(s.line, []).append(("s", k))
    return tuple(
        (a, b)
        for line, givers in gives.items()
        for a in givers
        for b in takes.get(line, ())
        if a != b
        and flow[a] <= flow[b]
        and not (a[0] == b[0] == "u" and uprights[a[1]].side is None)
    )
