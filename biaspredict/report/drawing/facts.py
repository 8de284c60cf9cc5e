"""What the stage says about how it is to be drawn: which node is higher, which part lies level."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from biaspredict.graph.network import DC, floating, network
from biaspredict.graph.signal import signal_path
from biaspredict.model.parts import CAPACITORS, POTS, Kind, Part
from biaspredict.model.stage import GROUND, Stage
from biaspredict.report.drawing.guess import guess

LEVEL = 0.15  # volts: closer than this, two nodes joined by a level part share a height
FEED = 0.30  # volts: a resistor that only feeds bases lies level below this
IDLE_AMPS = 1e-4
SAME = 1e-3  # volts: closer than this, volts order nothing

THREE = POTS | {Kind.TRANSISTOR, Kind.FET}
JOINTS = frozenset({Kind.FUSE, Kind.SWITCH, Kind.CONTACT, Kind.COIL, Kind.WINDING})
DRIVEN = {Kind.TRANSISTOR: "base", Kind.FET: "gate"}


@dataclass(frozen=True, slots=True)
class Facts:
    """What holds for the whole stage.

    level: volts that set the height of each node. dashed: nodes whose height means nothing.
    lean: settles ties; more is nearer to what is fed. still: ground and rails. flow: place of
    each part along the signal. ground: "bottom", "top" or "middle" of all heights.
    amps: current through each part as far as resistors tell. flat: references drawn level.
    """

    stage: Stage
    level: Mapping[str, float]
    dashed: frozenset[str]
    lean: Mapping[str, float]
    still: frozenset[str]
    flow: Mapping[str, float]
    places: Mapping[str, float]
    ground: str
    amps: Mapping[str, float]
    flat: frozenset[str]

    def above(self, node: str) -> tuple[float, float, float]:
        """Sorts nodes from low to high."""
        level = round(self.level[node], 3)
        tie = 0.0
        if node == GROUND:
            tie = 1.0 if self.ground == "top" else -1.0
        return (level, tie, self.lean[node])


def facts(stage: Stage, volts: Mapping[str, float] | None) -> Facts:
    """Gather them; volts of None or missing nodes are guessed from the wiring."""
    known = {
        node: value
        for node, value in (volts or {}).items()
        if value is not None and math.isfinite(value)
    }
    known[GROUND] = 0.0
    loose = floating(replace(stage, inputs=(), outputs=()))
    for node in loose:
        known.pop(node, None)
    level = guess(stage, known)
    dashed = frozenset(loose - {GROUND})
    _carry_levels(stage, level, dashed)
    still = frozenset({GROUND, *(rail.name for rail in stage.rails)})
    lowest = min((level[n] for n in level if n not in dashed), default=0.0)
    highest = max((level[n] for n in level if n not in dashed), default=0.0)
    if lowest > -LEVEL:
        ground = "bottom"
        level = {n: max(v, 0.0) for n, v in level.items()}
    elif highest < LEVEL:
        ground = "top"
        level = {n: min(v, 0.0) for n, v in level.items()}
    else:
        ground = "middle"
    lean = _lean(stage, level, still, -1.0 if ground == "top" else 1.0)
    amps = _amps(stage, level)
    signal = signal_path(stage)
    flat = frozenset(
        part.ref for part in stage.parts if _lies(stage, part, level, amps, still, dashed)
    )
    places, flow = _pairs_together(stage, dict(signal.nodes), dict(signal.parts), still)
    return Facts(stage, level, dashed, lean, still, flow, places, ground, amps, flat)


def _carry_levels(stage: Stage, level: dict[str, float], dashed: frozenset[str]) -> None:
    """Give each floating node the level of its neighbour beyond a capacitor, signal nodes first."""
    left = set(dashed)
    weak = {GROUND, *(rail.name for rail in stage.rails)}
    while left:
        found: dict[str, tuple[bool, float]] = {}
        for part in stage.parts:
            for here, there in _pairs(part):
                if here in left and there not in left and (here not in found or found[here][0]):
                    found[here] = (there in weak, level[there])
        strong = {n: v for n, (is_weak, v) in found.items() if not is_weak}
        if not found:
            level.update(dict.fromkeys(left, 0.0))
            return
        for node, value in (strong or {n: v for n, (_, v) in found.items()}).items():
            level[node] = value
            left.discard(node)


def _pairs(part: Part) -> Iterator[tuple[str, str]]:
    for a in part.nodes:
        for b in part.nodes:
            if a != b:
                yield a, b


def _lean(
    stage: Stage, level: Mapping[str, float], still: frozenset[str], sign: float
) -> dict[str, float]:
    """A share between 0 at ground and 1 at inputs, as if every part were one resistor."""
    guessed = guess(stage)
    top = max((abs(v) for v in guessed.values()), default=0.0) or 1.0
    fixed = dict.fromkeys(still, 0.0)
    fixed.update({port.node: 1.0 for port in stage.inputs if port.node not in still})
    lean = {node: fixed.get(node, 0.5) for node in level}
    beside: dict[str, list[str]] = {node: [] for node in level}
    for part in stage.parts:
        for a, b in _pairs(part):
            beside[a].append(b)
    for _ in range(60):
        for node, others in beside.items():
            if node not in fixed and others:
                lean[node] = sum(lean[other] for other in others) / len(others)
    # Volts that the wiring suggests settle what solved volts leave equal (rectifiers at rest).
    return {node: sign * lean[node] + 4 * guessed.get(node, 0.0) / top for node in level}


def _amps(stage: Stage, level: Mapping[str, float]) -> dict[str, float]:
    """Through resistors by Ohm's law; through the rest the largest of what meets it."""
    amps: dict[str, float] = {}
    at: dict[str, float] = {}
    for part in stage.parts:
        if part.kind in (Kind.RESISTOR, Kind.THERMISTOR, *POTS):
            ohms = part.now or 1e4
            amps[part.ref] = abs(level[part.nodes[0]] - level[part.nodes[-1]]) / max(ohms, 1e-3)
            for node in (part.nodes[0], part.nodes[-1]):
                if node != GROUND:
                    at[node] = max(at.get(node, 0.0), amps[part.ref])
    for part in stage.parts:
        if part.ref not in amps:
            ends = (part.nodes[0], part.nodes[-1])
            met = [at[node] for node in ends if node in at]
            amps[part.ref] = 0.0 if part.kind in CAPACITORS else min(met, default=0.0)
    return amps


def _lies(
    stage: Stage,
    part: Part,
    level: Mapping[str, float],
    amps: Mapping[str, float],
    still: frozenset[str],
    dashed: frozenset[str],
) -> bool:
    """Whether a part is drawn level, in the way of the signal."""
    if part.kind in THREE:
        return False
    a, b = part.nodes
    if a == b:
        return True
    if GROUND in (a, b):
        return False
    drop = abs(level[a] - level[b])
    if part.kind in JOINTS:
        return drop < LEVEL
    if a in still or b in still:
        return False
    if part.kind in CAPACITORS:
        return _couples(stage, part, drop, still)
    if part.kind in (Kind.DIODE, Kind.ZENER):
        return False
    if drop >= FEED or any(_leads_on(stage, part, node) for node in (a, b)):
        return False
    only_bases = any(_feeds_bases(stage, part, node) for node in (a, b))
    return amps[part.ref] < IDLE_AMPS or only_bases


def _couples(stage: Stage, part: Part, drop: float, still: frozenset[str]) -> bool:
    a, b = part.nodes
    net = network(stage)
    held = {GROUND, *still}
    island = net.reached(a, DC, without_parts={part.ref}, without_nodes=held)
    if b in island:
        return drop < LEVEL
    for start in (a, b):
        if _dead_end(stage, part, net.reached(start, DC, without_nodes=held)):
            return False
    return True


def _dead_end(stage: Stage, part: Part, island: frozenset[str]) -> bool:
    """Nodes that nothing but parts to ground and this capacitor hang on: a series R and C."""
    if any(port.node in island for port in (*stage.inputs, *stage.outputs)):
        return False
    if any(pin.node in island for pin in stage.pins):
        return False
    for other in stage.parts:
        if other.ref != part.ref and set(other.nodes) & island:
            if other.kind in THREE or other.kind in CAPACITORS:
                return False
            if not set(other.nodes) <= island | {GROUND}:
                return False
    return True


def _feeds_bases(stage: Stage, part: Part, node: str) -> bool:
    legs = [(p, t) for p, t in stage.at(node) if p.ref != part.ref and p.kind not in CAPACITORS]
    return bool(legs) and all(t == DRIVEN.get(p.kind) for p, t in legs)


def _leads_on(stage: Stage, part: Part, node: str) -> bool:
    """Whether a resistor only carries on what stands at a node, such as an emitter."""
    legs = [(p, t) for p, t in stage.at(node) if p.ref != part.ref]
    if any(port.node == node for port in (*stage.inputs, *stage.outputs)):
        return False
    if len(legs) == 1 and legs[0][0].kind in CAPACITORS:
        return GROUND in legs[0][0].nodes
    flowing = [(p, t) for p, t in legs if p.kind not in CAPACITORS]
    return bool(flowing) and all(p.kind in DRIVEN and t != DRIVEN[p.kind] for p, t in flowing)


def _pairs_together(
    stage: Stage, places: dict[str, float], flow: dict[str, float], still: frozenset[str]
) -> tuple[dict[str, float], dict[str, float]]:
    """Both halves of a differential pair at the place of the first, and the base of the second."""
    tails: dict[str, list[Part]] = {}
    for part in stage.parts:
        if part.kind not in DRIVEN:
            continue
        node = part.nodes[-1]
        for _ in range(2):  # the emitter itself, or behind its resistor
            if node not in still:
                tails.setdefault(node, []).append(part)
            beyond = [
                p for p, _ in stage.at(node) if p.kind is Kind.RESISTOR and p.nodes[0] != p.nodes[1]
            ]
            if len(beyond) != 1 or node in still:
                break
            node = beyond[0].nodes[1] if beyond[0].nodes[0] == node else beyond[0].nodes[0]
    for met in tails.values():
        if (
            len(met) == 2
            and met[0].ref != met[1].ref
            and type(met[0].device) is type(met[1].device)
        ):
            first, second = sorted(met, key=lambda part: flow[part.ref])
            polarity = [getattr(part.device, "polarity", None) for part in met]
            if polarity[0] != polarity[1] or first.nodes[1] == second.nodes[1]:
                continue
            flow[second.ref] = flow[first.ref] + 0.01
            places[second.nodes[1]] = min(places.get(second.nodes[1], 0.0), flow[second.ref])
    return places, flow
