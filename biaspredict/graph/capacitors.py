"""What each capacitor is there for, told from where its ends lie."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from enum import Enum

from biaspredict.graph.alternating import (
    FOLLOWERS,
    INPUTS,
    OUTPUTS,
    Alternating,
    alternating,
    large,
    passive,
    references,
)
from biaspredict.graph.network import Branch, Network, Way, network
from biaspredict.graph.signal import Signal, signal_path
from biaspredict.graph.wording import lone
from biaspredict.model.parts import CAPACITORS, Kind, Part
from biaspredict.model.stage import Stage


class Role(Enum):
    """What a capacitor does for the signal."""

    COUPLING = "coupling"  # hands the signal on
    BYPASS = "bypass"  # holds an emitter or a base still
    DECOUPLING = "decoupling"  # holds a supply or a bias point still
    FEEDBACK = "feedback"  # from a transistor's output back to its own or an earlier input
    TONE = "tone"  # shapes the response: equalisation, treble cut or lift, stability
    IDLE = "idle"  # shorted on itself, or with nothing at one end


@dataclass(slots=True)
class _Heads:
    """Hops from one end of a capacitor to what drives that end and to what that end drives.

    Both map the place along the signal to hops: -inf the inputs, inf the outputs.
    """

    drivers: dict[float, int]
    sinks: dict[float, int]


def capacitor_role(stage: Stage, part: Part) -> Role:
    """The role of a capacitor of the stage, by its wiring; size counts only towards ground.

    Raises ValueError for a part that is no capacitor of this stage.
    """
    net = network(stage)
    if part.kind not in CAPACITORS or part.ref not in net.branches:
        raise ValueError(f"{part.ref} is no capacitor of this stage")
    (branch,) = net.branches[part.ref]
    if branch.a == branch.b or any(lone(net, node) for node in (branch.a, branch.b)):
        return Role.IDLE
    hard, seen = references(net), alternating(net, branch)
    live = [node for node in (branch.a, branch.b) if not _held(net, branch, node, hard)]
    if len(live) == 2:  # an end that other capacitors hold counts as ground too
        live = [node for node in live if node not in seen.still]
    if not live:
        return Role.DECOUPLING
    if len(live) == 1:
        return _towards_ground(net, live[0], large(part), seen)
    return _between(net, branch, seen)


def _held(net: Network, branch: Branch, node: str, still: Collection[str]) -> bool:
    """Whether an end is still, or leads through resistors alone and only to what is still."""
    seen, edge = {node}, [node]
    for here in edge:  # grows while it is walked
        if here in still:
            continue
        if here in net.ports or here in net.pins:
            return False
        for way in net.at(here):
            if way == branch:
                continue
            if way.way is not Way.OHMIC:
                return False
            if (other := way.other(here)) not in seen:
                seen.add(other)
                edge.append(other)
    return True


def _towards_ground(net: Network, node: str, much: bool, seen: Alternating) -> Role:
    """Role of a capacitor from `node` to ground or a rail."""
    legs = net.legs[node]
    emitters = [part for part, terminal in legs if terminal == FOLLOWERS.get(part.kind)]
    bases = [part for part, terminal in legs if terminal == INPUTS.get(part.kind)]
    collectors = [part for part, terminal in legs if terminal == OUTPUTS.get(part.kind)]
    if node in net.ports or collectors:
        return Role.DECOUPLING if much else Role.TONE
    if emitters or bases:
        follower = any(part.node(OUTPUTS[part.kind]) in seen.still for part in emitters + bases)
        if follower:
            return Role.DECOUPLING if much else Role.TONE
        return Role.BYPASS if emitters or much else Role.TONE
    resistors = [way for way in net.at(node) if way.way is Way.OHMIC]
    split_emitter = len(resistors) <= 2 and any(
        terminal == FOLLOWERS.get(part.kind)
        for way in resistors
        for part, terminal in net.legs[way.other(node)]
    )
    if split_emitter:
        return Role.BYPASS if much else Role.TONE
    brought = any(
        way.way is Way.CAPACITOR and way.other(node) not in seen.still for way in net.at(node)
    )
    if _fed_from_supply(net, node) and (much or not brought):
        return Role.DECOUPLING
    return Role.BYPASS if much else Role.TONE


def _fed_from_supply(net: Network, node: str) -> bool:
    """Whether resistors and rectifiers lead from a rail or a winding to the node, past no
    transistor."""
    hard = references(net)
    seen, edge = {node}, [node]
    for here in edge:  # grows while it is walked
        if any(part.kind is Kind.WINDING and part.volts for part, _ in net.legs[here]):
            return True
        for way in net.at(here):
            other = way.other(here)
            if way.way not in (Way.OHMIC, Way.JUNCTION) or other in seen:
                continue
            if other in net.rails:
                return True
            seen.add(other)
            if other not in hard and not any(part.kind in INPUTS for part, _ in net.legs[other]):
                edge.append(other)
    return False


def _between(net: Network, branch: Branch, seen: Alternating) -> Role:
    """Role of a capacitor with signal at both ends."""
    if any({branch.a, branch.b} == _channel(part) for part in net.stage.parts):
        return Role.BYPASS  # across a transistor that holds two bases apart
    signal = signal_path(net.stage)
    a, b = (_heads(net, branch, node, seen, signal) for node in (branch.a, branch.b))
    onward, back = math.inf, math.inf
    for one, two in ((a, b), (b, a)):
        for source, out in one.drivers.items():
            for target, into in two.sinks.items():
                if target > source:
                    onward = min(onward, out + into)
                else:
                    back = min(back, out + into)
    on_the_way = branch.ref in signal.way
    if back == 0 and not on_the_way:
        return Role.FEEDBACK
    if _beside_resistors(net, branch, seen):
        return Role.TONE
    if on_the_way:
        return Role.COUPLING
    if back < math.inf and back <= onward:
        return Role.FEEDBACK
    return Role.TONE if onward == math.inf else Role.COUPLING


def _channel(part: Part) -> set[str]:
    if part.kind not in OUTPUTS:
        return set()
    return {part.node(OUTPUTS[part.kind]), part.node(FOLLOWERS[part.kind])}


def _heads(net: Network, branch: Branch, end: str, seen: Alternating, signal: Signal) -> _Heads:
    found = _Heads({}, {})
    hops = {end: 0}
    edge = [end]
    for node in edge:  # grows while it is walked
        hop = hops[node]
        driven = bool(seen.driven_by(node))
        for here in seen.together(node) if driven else (node,):
            _meet(net, here, hop, found, signal)
        if driven:
            continue
        for way in net.at(node):
            other = way.other(node)
            if way != branch and passive(way) and other not in seen.still and other not in hops:
                hops[other] = hop + 1
                edge.append(other)
    return found


def _meet(net: Network, node: str, hop: int, found: _Heads, signal: Signal) -> None:
    # What a box does with the signal is not known: its pins take it and give it.
    if node in net.inputs or node in net.pins:
        found.drivers.setdefault(-math.inf, hop)
    if node in net.outputs or node in net.pins:
        found.sinks.setdefault(math.inf, hop)
    for part, terminal in net.legs[node]:
        if terminal in (OUTPUTS.get(part.kind), FOLLOWERS.get(part.kind)):
            found.drivers.setdefault(signal.parts[part.ref], hop)
        if terminal in (INPUTS.get(part.kind), FOLLOWERS.get(part.kind)):
            found.sinks.setdefault(signal.parts[part.ref], hop)


def _beside_resistors(net: Network, branch: Branch, seen: Alternating) -> bool:
    """Whether resistors alone join both ends too, past no transistor's output."""
    outputs = {node for node in net.legs if seen.driven_by(node)} - {branch.a, branch.b}
    ways = net.reached(
        branch.a, {Way.OHMIC}, without_parts={branch.ref}, without_nodes={*outputs, *seen.still}
    )
    return branch.b in ways
