"""The netlist read back out of a picture, from its geometry alone.

Wires join where they end at the same point, and wherever a dot lies on them; a wire that hops
over another does not meet it. Names that the picture's wires carry are not looked at, only those
of parts, rails and ports. Whatever a reader could take two ways is an error.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree

_SVG = "{http://www.w3.org/2000/svg}"
_TOLERANCE = 0.03  # pixels
_STEP = re.compile(r"([MHVLA])([^MHVLAZ]*)")

Point = tuple[float, float]


class Unreadable(ValueError):
    """A picture that a reader could take two ways; says where."""


@dataclass(frozen=True, slots=True)
class _Piece:
    """A straight piece of wire. wire: which wire it belongs to; a hop parts two pieces of one."""

    wire: int
    a: Point
    b: Point

    def holds(self, p: Point) -> bool:
        """Whether a point lies on the piece."""
        (x1, y1), (x2, y2) = self.a, self.b
        x, y = p
        across = min(x1, x2) - _TOLERANCE <= x <= max(x1, x2) + _TOLERANCE
        along = min(y1, y2) - _TOLERANCE <= y <= max(y1, y2) + _TOLERANCE
        off = abs((x2 - x1) * (y - y1) - (y2 - y1) * (x - x1))
        return across and along and off <= _TOLERANCE * (abs(x2 - x1) + abs(y2 - y1))

    def ends_at(self, p: Point) -> bool:
        return _same(self.a, p) or _same(self.b, p)

    @property
    def upright(self) -> bool:
        return abs(self.a[0] - self.b[0]) <= _TOLERANCE


def read_back(svg: str) -> frozenset[frozenset[str]]:
    """Nets of the picture, each the set of what meets: "R1.1", "ground", "rail B+", "input IN".

    Raises Unreadable where wires touch without a dot, cross without a hop or lie on each other,
    and where a lead ends in the air.
    """
    root = ElementTree.fromstring(svg)
    pieces = list(_pieces(root))
    dots = [
        (float(e.attrib["cx"]), float(e.attrib["cy"]))
        for e in root.iter(f"{_SVG}circle")
        if e.get("class") == "dot"
    ]
    marks = list(_terminals(root))
    _look(pieces, dots)
    nets = _Nets(max((p.wire for p in pieces), default=-1) + 1)
    for i, one in enumerate(pieces):
        for other in pieces[i + 1 :]:
            if any(other.ends_at(p) for p in (one.a, one.b)):
                nets.join(one.wire, other.wire)
    for dot in dots:
        nets.join_all(p.wire for p in pieces if p.holds(dot))
    found: dict[int, set[str]] = {}
    by_name: dict[str, int] = {}
    at_wire: list[tuple[str, int]] = []
    for name, at, outside in marks:
        # A lead ends where a wire does; a ring or a ground may also sit on a wire.
        met = [p for p in pieces if p.ends_at(at) or (outside and p.holds(at))]
        if not met:
            raise Unreadable(f"{name} at {at} ends in the air")
        nets.join_all(p.wire for p in met)
        at_wire.append((name, met[0].wire))
        if outside and (name == "ground" or name.startswith(("rail ", "link "))):
            nets.join(by_name.setdefault(name, met[0].wire), met[0].wire)
    for name, wire in at_wire:
        if not name.startswith("link "):
            found.setdefault(nets.find(wire), set()).add(name)
    return frozenset(frozenset(net) for net in found.values())


class _Nets:
    def __init__(self, count: int) -> None:
        self.root = list(range(count))

    def find(self, a: int) -> int:
        while self.root[a] != a:
            self.root[a] = self.root[self.root[a]]
            a = self.root[a]
        return a

    def join(self, a: int, b: int) -> None:
        self.root[self.find(a)] = self.find(b)

    def join_all(self, wires: Iterable[int]) -> None:
        first: int | None = None
        for wire in wires:
            if first is None:
                first = wire
            self.join(first, wire)


def _same(a: Point, b: Point) -> bool:
    return abs(a[0] - b[0]) <= _TOLERANCE and abs(a[1] - b[1]) <= _TOLERANCE


def _pieces(root: ElementTree.Element) -> Iterable[_Piece]:
    wires = [e for e in root.iter(f"{_SVG}path") if e.get("class") == "wire"]
    for wire, element in enumerate(wires):
        at: Point = (0.0, 0.0)
        for letter, rest in _STEP.findall(element.attrib["d"]):
            values = [float(v) for v in rest.split()]
            if letter == "M":
                at = (values[0], values[1])
                continue
            if letter == "A":
                at = (values[5], values[6])
                continue
            to = {
                "H": lambda v, a: (v[0], a[1]),
                "V": lambda v, a: (a[0], v[0]),
                "L": lambda v, a: (v[0], v[1]),
            }[letter](values, at)
            yield _Piece(wire, at, to)
            at = to


def _terminals(root: ElementTree.Element) -> Iterable[tuple[str, Point, bool]]:
    """Name and place of each lead, and of each ground, ring and link (True)."""
    for element in root.iter(f"{_SVG}g"):
        if element.get("class") == "part":
            for point in element.attrib["data-points"].split(";"):
                name, x, y = point.split(",")
                yield f"{element.attrib['data-ref']}.{name}", (float(x), float(y)), False
        elif element.get("class") == "end":
            x, y = element.attrib["data-at"].split(",")
            what, name = element.attrib["data-what"], element.attrib["data-name"]
            yield f"{what} {name}".strip(), (float(x), float(y)), True


def _look(pieces: Sequence[_Piece], dots: Sequence[Point]) -> None:
    """Raise where a reader could be in doubt."""
    for i, one in enumerate(pieces):
        for other in pieces[i + 1 :]:
            if one.wire == other.wire:
                continue
            if one.upright == other.upright:
                if _overlap(one, other):
                    raise Unreadable(f"wires lie on each other at {one.a} to {one.b}")
                continue
            level, upright = (other, one) if one.upright else (one, other)
            at = (upright.a[0], level.a[1])
            if not (level.holds(at) and upright.holds(at)):
                continue
            if level.ends_at(at) and upright.ends_at(at):
                continue
            if not any(_same(dot, at) for dot in dots):
                raise Unreadable(f"wires meet at {at} without a dot or a hop")


def _overlap(one: _Piece, other: _Piece) -> bool:
    k = 1 if one.upright else 0
    if abs(one.a[1 - k] - other.a[1 - k]) > _TOLERANCE:
        return False
    low = max(min(one.a[k], one.b[k]), min(other.a[k], other.b[k]))
    high = min(max(one.a[k], one.b[k]), max(other.a[k], other.b[k]))
    return high - low > 2 * _TOLERANCE
