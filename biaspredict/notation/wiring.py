"""Which names mean one node: the wires of the paths, joined one by one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from biaspredict.errors import InputError
from biaspredict.model.stage import GROUND
from biaspredict.span import Span

# A point of the stage: ("word", key), ("leg", "Q1.base") or ("joint", "R1/R2").
Point = tuple[str, str]
EARTH: Point = ("word", GROUND)


@dataclass(slots=True)
class Wiring:
    """Points joined into nodes. `fixed` are those whose volts are set: ground and the rails."""

    fixed: dict[Point, str] = field(default_factory=lambda: {EARTH: GROUND})
    _above: dict[Point, Point] = field(default_factory=dict)
    _held: dict[Point, str] = field(default_factory=dict)

    def add(self, point: Point) -> None:
        """Make a point known; a new one is a node of its own."""
        if point not in self._above:
            self._above[point] = point
            if point in self.fixed:
                self._held[point] = self.fixed[point]

    def __contains__(self, point: Point) -> bool:
        return point in self._above

    def root(self, point: Point) -> Point:
        self.add(point)
        while self._above[point] != point:
            self._above[point] = self._above[self._above[point]]
            point = self._above[point]
        return point

    def join(self, one: Point, other: Point, place: Span) -> None:
        """Wire between two points. InputError where it would short two fixed voltages."""
        first, second = self.root(one), self.root(other)
        if first == second:
            return
        held = [self._held[root] for root in (first, second) if root in self._held]
        if len(held) == 2:
            raise InputError(
                f"this wire joins {held[0]} and {held[1]}",
                remedy="Look for a part or a node left out of this path, or of another one "
                "that meets it.",
                place=place,
            )
        self._above[second] = first
        if held:
            self._held[first] = held[0]

    def groups(self) -> Iterator[tuple[Point, ...]]:
        """The nodes, each with its points in the order they were met."""
        found: dict[Point, list[Point]] = {}
        for point in self._above:
            found.setdefault(self.root(point), []).append(point)
        for points in found.values():
            yield tuple(points)
