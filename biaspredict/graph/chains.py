"""Chains: the DC paths between rails and ground, the fullest first.

A drawing sets each chain as one column, a reader follows it as one sentence: rail, resistor,
transistor, resistor, ground.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Collection, Iterator, Mapping
from itertools import count

from biaspredict.graph.network import BIAS, Branch, Chain, Network, Way, network
from biaspredict.model.stage import GROUND, Stage

# Ohms by which a path through a transistor or diode counts when nothing is solved yet: less than
# a bias resistor, so that collector paths come first.
LIKELY_OHMS = {Way.CHANNEL: 100.0, Way.JUNCTION: 100.0}
UNKNOWN_OHMS = 1e4

Cost = tuple[float, float]
# Cost of a path with nothing on it, and cost of a path made longer by a branch (None: no way).
Rule = tuple[Cost, Callable[[Cost, Branch, str], Cost | None]]


def chains(stage: Stage, amps: Mapping[str, float] | None = None) -> tuple[Chain, ...]:
    """DC paths from feed to feed, then from chain to chain, each branch in one chain at most.

    amps: current into the part at each lead ("R1.1", "Q1.collector", ...), in amperes; then the
    path with the largest current comes first and all run with the current. Without it the path
    of fewest ohms comes first, and starts at the feed with the higher voltage. Base and gate
    leads belong to no chain; nor do parts that lead nowhere.
    """
    net = network(stage)
    rule = _FEWEST_OHMS if amps is None else _largest_current(amps)
    left = {
        branch: None
        for branches in net.branches.values()
        for branch in branches
        if branch.way in BIAS and branch.a != branch.b
    }
    found: list[Chain] = []
    ends = dict.fromkeys(net.sorted(net.fed))
    for between_chains in (False, True):
        for chain in found:
            ends.update(dict.fromkeys(chain.nodes))
        while best := _best(net, left, ends, rule):
            found.append(best if amps is not None else _downhill(net, best))
            for branch in best.branches:
                del left[branch]
            if between_chains:
                ends.update(dict.fromkeys(best.nodes))
    return tuple(found)


def _fewest_ohms(cost: Cost, branch: Branch, _node: str) -> Cost | None:
    ohms = LIKELY_OHMS.get(branch.way, UNKNOWN_OHMS if branch.ohms is None else branch.ohms)
    return cost[0] + max(ohms, 0.0), cost[1] + 1


_FEWEST_OHMS: Rule = ((0.0, 0.0), _fewest_ohms)


def _largest_current(amps: Mapping[str, float]) -> Rule:
    def step(cost: Cost, branch: Branch, node: str) -> Cost | None:
        into = amps.get(branch.lead)
        if not into:
            return None
        at = branch.a if branch.lead == f"{branch.ref}.{branch.first}" else branch.b
        along = into if node == at else -into
        return None if along <= 0 else (max(cost[0], -along), cost[1] + 1)

    return (-math.inf, 0.0), step


def _best(
    net: Network, left: Collection[Branch], ends: Collection[str], rule: Rule
) -> Chain | None:
    """The cheapest path of branches in `left` from one end to another, through no third end."""
    paths = (path for start in ends for path in _from(net, left, ends, rule, start))
    best = min(paths, key=lambda path: path[0], default=None)
    return None if best is None else best[1]


def _from(
    net: Network, left: Collection[Branch], ends: Collection[str], rule: Rule, start: str
) -> Iterator[tuple[Cost, Chain]]:
    tick = count()  # settles ties in the order of the sheet
    settled: set[str] = set()
    nothing, longer_by = rule
    waiting = [(nothing, next(tick), start, Chain((start,), ()))]
    while waiting:
        cost, _, node, chain = heapq.heappop(waiting)
        if node in settled:
            continue
        settled.add(node)
        if node in ends and node != start:
            yield cost, chain
            continue
        for branch in net.at(node):
            following = longer_by(cost, branch, node) if branch in left else None
            if following is not None:
                other = branch.other(node)
                longer = Chain((*chain.nodes, other), (*chain.branches, branch))
                heapq.heappush(waiting, (following, next(tick), other, longer))


def _downhill(net: Network, chain: Chain) -> Chain:
    """The chain turned so that it starts at the end with the higher voltage, where known."""
    first, last = (_volts(net, node) for node in (chain.nodes[0], chain.nodes[-1]))
    if first is None or last is None or first >= last:
        return chain
    return Chain(chain.nodes[::-1], chain.branches[::-1])


def _volts(net: Network, node: str) -> float | None:
    if node == GROUND:
        return 0.0
    rails = net.rails.get(node)
    return rails[0].volts if rails else None
