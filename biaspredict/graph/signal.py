"""The way the signal takes, from the inputs to the outputs, left to right.

Worked out from the wiring alone: a transistor driven at its base or gate passes the signal on at
its collector and emitter (drain and source), one driven at its emitter at its collector; resistors
and capacitors pass it on both ways; what holds still stops it.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import count

from biaspredict.graph.alternating import (
    FOLLOWERS,
    INPUTS,
    OUTPUTS,
    Alternating,
    alternating,
    passive,
    references,
)
from biaspredict.graph.network import Network, network
from biaspredict.model.parts import Part
from biaspredict.model.stage import Stage

ACTIVE_STEP = 1.0
PASSIVE_STEP = 0.1
# Entering another transistor's output through a resistor or capacitor is feedback more often than
# the way forward: it counts only where nothing else leads on.
BACKWARD_STEP = 10.0


@dataclass(frozen=True, slots=True)
class Signal:
    """Where each node and part stands between input and output.

    nodes, parts: name to place; 0 at the input, about 1 more behind each transistor. Rails and
    ground have no place. spine: node, reference, node, ... from an input to the output that lies
    furthest from it; empty where none leads there. way: references on the way to any output.
    """

    nodes: Mapping[str, float]
    parts: Mapping[str, float]
    spine: tuple[str, ...]
    way: frozenset[str]

    @property
    def order(self) -> tuple[str, ...]:
        """References from left to right."""
        return tuple(sorted(self.parts, key=self.parts.__getitem__))


@lru_cache(maxsize=32)
def signal_path(stage: Stage) -> Signal:
    """Places of nodes and parts along the signal.

    A stage without inputs, such as a supply, is followed from its rails.
    """
    net = network(stage)
    seen, rails = alternating(net), references(net)
    starts = [node for node in net.inputs if node not in seen.still]
    if starts:
        places, came = _spread(net, starts, seen, seen.still)
    else:
        places, came = _spread(net, net.sorted(set(net.rails)), seen, rails)
    nodes = {node: place for node, place in places.items() if node not in rails}
    _fill(net, nodes, rails)
    parts = {part.ref: _place(part, nodes) for part in stage.parts}
    outputs = [node for node in net.outputs if node in places]
    spines = {node: _spine(node, came) for node in outputs}
    longest = max(outputs, key=places.__getitem__, default="")
    way = frozenset(ref for spine in spines.values() for ref in spine[1::2])
    return Signal(nodes, parts, spines.get(longest, ()), way)


Came = dict[str, tuple[str, str]]


def _spread(
    net: Network, starts: Sequence[str], seen: Alternating, still: Collection[str]
) -> tuple[dict[str, float], Came]:
    """Shortest distance of each node from the starts, and the (node, reference) before it."""
    tick = count()
    places: dict[str, float] = {}
    came: Came = {}
    waiting = [(0.0, next(tick), node, "", "") for node in starts]
    while waiting:
        place, _, node, before, ref = heapq.heappop(waiting)
        if node in places:
            continue
        places[node] = place
        if ref:
            came[node] = (before, ref)
        for other, step, through in _steps(net, seen, node):
            if other not in still and other not in places:
                heapq.heappush(waiting, (place + step, next(tick), other, node, through))
    return places, came


def _steps(net: Network, seen: Alternating, node: str) -> Iterator[tuple[str, float, str]]:
    for part, terminal in net.legs[node]:
        if terminal == INPUTS.get(part.kind):
            yield part.node(OUTPUTS[part.kind]), ACTIVE_STEP, part.ref
            yield part.node(FOLLOWERS[part.kind]), ACTIVE_STEP, part.ref
        elif terminal == FOLLOWERS.get(part.kind):
            yield part.node(OUTPUTS[part.kind]), ACTIVE_STEP, part.ref
    for branch in net.at(node):
        if passive(branch):
            other = branch.other(node)
            elsewhere = seen.group[other] != seen.group[node] and seen.driven_by(other)
            yield other, PASSIVE_STEP + (BACKWARD_STEP if elsewhere else 0.0), branch.ref


def _fill(net: Network, places: dict[str, float], still: Collection[str]) -> None:
    """Give each node that the signal does not reach the place of its nearest neighbour."""
    edge = list(places)
    for node in edge:  # grows while it is walked
        for branch in net.at(node):
            other = branch.other(node)
            if other not in places and other not in still:
                places[other] = places[node]
                edge.append(other)
    end = max(places.values(), default=0.0) + ACTIVE_STEP
    for node in net.legs:
        if node not in still:
            places.setdefault(node, end)


def _place(part: Part, places: Mapping[str, float]) -> float:
    """A transistor stands just right of the lead that drives it, another part between its ends."""
    own = {
        terminal: places[node]
        for terminal, node in zip(part.terminals, part.nodes, strict=True)
        if node in places
    }
    if not own:
        return 0.0
    if part.kind in INPUTS:
        entries = [own[t] for t in (INPUTS[part.kind], FOLLOWERS[part.kind]) if t in own]
        return min(entries or own.values()) + ACTIVE_STEP / 2
    return sum(own.values()) / len(own)


def _spine(node: str, came: Came) -> tuple[str, ...]:
    spine = [node]
    while node in came:
        node, ref = came[node]
        spine += [ref, node]
    return tuple(reversed(spine))
