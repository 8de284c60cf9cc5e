"""Gain and input resistance by hand: each transistor on the way of the signal, one by one.

In the middle of the band coupling and bypass capacitors are wire, and every supply is ground. A
transistor's own emitter resistance is kT/q over its emitter current.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from biaspredict.engine.stores import EARTH, Store, level_gain, ohms_seen
from biaspredict.graph.signal import signal_path
from biaspredict.model.circuit import CLOSED, OPEN, Device, Element
from biaspredict.model.devices import thermal_volts
from biaspredict.model.stage import GROUND
from biaspredict.predict.duties import Sorted
from biaspredict.predict.hand.feed import conductances, star_of
from biaspredict.predict.hand.net import WIPER, Arm, Junctionless, Net, Transistor
from biaspredict.predict.hand.records import Key, What

Device_ = Transistor | Junctionless


@dataclass(frozen=True, slots=True)
class Seen:
    """Ohms from a node to what stands still, and what they are made of."""

    ohms: float
    words: str
    feedback: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Stride:
    """One transistor on the way: its own emitter ohms, those that its current meets, its gain.

    follows: the signal leaves by the emitter. own: ohms left in the emitter for the signal.
    share: of the signal before it that reaches its base.
    """

    ref: str
    amps: float
    inner: float
    own: Seen | None
    load: Seen
    follows: bool
    gain: float
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class SignalByHand:
    """gain: output over input node, below 0 where the phase turns; solved_gain the same of the
    linear stage. input_ohms: what the source sees; input_words: made of. output_ohms: what the
    load sees, solved. feedback: parts that bring signal back, which the short way leaves out.
    """

    strides: tuple[Stride, ...]
    gain: float
    solved_gain: float
    input_ohms: float
    input_words: str
    solved_input_ohms: float
    output_ohms: float | None
    feedback: tuple[str, ...]


def signal_by_hand(
    net: Net, amps: Mapping[Key, float], order: Sorted
) -> SignalByHand | None:
    """The way of a path, or None where the signal passes a transistor otherwise than by the book.

    amps: hand currents, those of emitters and drains among them.
    """
    still = _Still(net, amps, order)
    path = order.path
    alone = replace(path.stage, inputs=(path.start,), outputs=(path.end,))
    spine = signal_path(alone).spine
    every: tuple[Device_, ...] = (*net.transistors, *net.channels)
    devices = {device.ref: device for device in every}
    strides: list[Stride] = []
    at = path.start.node
    for before, ref, after in zip(spine[::2], spine[1::2], spine[2::2], strict=False):
        device = devices.get(ref)
        if device is None:
            continue
        stride = still.stride(device, before, after)
        if stride is None:
            return None
        strides.append(replace(stride, share=still.share(at, device)))
        at = after
    if not strides:
        return None
    gain = still.share(at, path.end.node)
    for stride in strides:
        gain *= stride.gain * stride.share
    entry = still.seen(path.start.node, driven=still.driven())
    feedback = tuple(dict.fromkeys(
        name
        for seen in (entry, *(s for stride in strides for s in (stride.own, stride.load)))
        if seen is not None
        for name in seen.feedback
    ))
    solved_gain, solved_in, solved_out = _solved(order)
    return SignalByHand(
        tuple(strides), gain, solved_gain, entry.ohms, entry.words, solved_in, solved_out,
        feedback,
    )


class _Still:
    """The stage in the middle of the band: capacitors that are wire join their nodes."""

    def __init__(self, net: Net, amps: Mapping[Key, float], order: Sorted) -> None:
        self.net, self.amps = net, amps
        path = order.path
        self.celsius = path.circuit.celsius
        self.start, self.end = path.start.node, path.end.node
        self._top = {node: node for node in (GROUND, *path.circuit.nodes)}
        self.source_ohms = path.circuit.element(path.source).value("ohms")
        arms = [a for e in path.circuit.elements if e.name != path.source for a in _arms(e)]
        wires = [path.circuit.element(s.name).nodes for s in (*order.bass, *path.outside)]
        wires += [(arm.a, arm.b) for arm in arms if arm.ohms <= WIPER]
        for a, b in wires:
            self._join(a, b)
        self.arms = tuple(
            Arm(arm.words, self.at(arm.a), self.at(arm.b), arm.ohms)
            for arm in arms
            if arm.ohms > WIPER and self.at(arm.a) != self.at(arm.b)
        )

    def at(self, node: str) -> str:
        while self._top.get(node, node) != node:
            node = self._top[node]
        return node

    def _join(self, a: str, b: str) -> None:
        one, other = self.at(a), self.at(b)
        if other == GROUND:
            one, other = other, one
        self._top[other] = one

    @property
    def ground(self) -> str:
        return self.at(GROUND)

    def legs(self, device: Device_) -> tuple[str, str, str]:
        """Nodes of base, collector, emitter, or gate, drain, source."""
        if isinstance(device, Transistor):
            nodes = device.base, device.collector, device.emitter
        else:
            nodes = device.gate, device.drain, device.source
        one, two, three = (self.at(node) for node in nodes)
        return one, two, three

    def driven(self, *but: Device_) -> frozenset[str]:
        """Where other transistors put their signal out: taken as still."""
        others: list[Device_] = [*self.net.transistors, *self.net.channels]
        return frozenset(
            node for device in others if device not in but
            and self._awake(device) for node in self.legs(device)[1:]
        ) - {self.ground}

    def _awake(self, device: Device_) -> bool:
        return self._current(device) > 0.0

    def _current(self, device: Device_) -> float:
        what = What.EMITTER if isinstance(device, Transistor) else What.DRAIN
        return self.amps.get(device.key(what), 0.0)

    def inner(self, device: Device_) -> float:
        """The emitter's own ohms; of a FET one over its slope."""
        current = self._current(device)
        if isinstance(device, Transistor):
            return thermal_volts(self.celsius) / current
        return device.pinch_off / (2.0 * math.sqrt(current * device.idss))

    def _around(
        self, node: str, without: Collection[Device_], known: Collection[str]
    ) -> tuple[list[str], list[Arm]]:
        """Nodes that resistors join to a node, no further than to what is known, and the ways
        between them, those into the bases that hang there among them."""
        inside = [self.at(node)]
        for name in inside:  # grows while it is walked
            for arm in self.arms:
                if name in (arm.a, arm.b) and arm.other(name) not in (*known, *inside):
                    inside.append(arm.other(name))
        arms = [arm for arm in self.arms if arm.a in inside or arm.b in inside]
        for device in self.net.transistors:
            base = self.legs(device)[0]
            if base in inside and device not in without and self._awake(device):
                into = self.into(device)
                if into is not None:
                    arms.append(Arm(into.words, base, self.ground, into.ohms))
        return inside, arms

    def seen(
        self, node: str, without: Collection[Device_] = (), driven: Collection[str] = ()
    ) -> Seen:
        """Ohms from a node to ground and to nodes that others drive."""
        here = self.at(node)
        known = {self.ground, *driven} - {here}
        inside, arms = self._around(node, without, known)
        if not any(arm.a in known or arm.b in known for arm in arms):
            return Seen(OPEN, "")
        matrix, _ = conductances(arms, {name: i for i, name in enumerate(inside)})
        if np.linalg.matrix_rank(matrix) < len(inside):
            return Seen(OPEN, "")
        ohms = float(np.linalg.inv(matrix)[0, 0])
        star, through = star_of(here, arms, dict.fromkeys(known, 0.0), ())
        back = tuple(
            arm.words for arm in arms
            if (arm.a in driven) != (arm.b in driven) and self.ground not in (arm.a, arm.b)
        )
        if star is None:
            return Seen(ohms, "the resistors there", back)
        words = " beside ".join(
            f"({arm.words})" if " + " in arm.words and not _is_base(arm) else arm.words
            for arm in star
        )
        return Seen(ohms, f"{through.words} + ({words})" if through else words, back)

    def share(self, start: str, to: Device_ | str) -> float:
        """Share of a signal held at one node that arrives at a base, or at another node."""
        there = self.at(to) if isinstance(to, str) else self.legs(to)[0]
        here = self.at(start)
        if here == there or self.ground in (here, there):
            return 1.0
        known = {self.ground, here, *self.driven()} - {there}
        inside, arms = self._around(there, (), known)
        place = {name: i for i, name in enumerate(inside)}
        matrix, edges = conductances(arms, place)
        fed = np.zeros(len(inside))
        for row, end, siemens in edges:
            if end == here:
                fed[row] += siemens
        return float(np.linalg.solve(matrix, fed)[0]) if fed.any() else 1.0

    def into(self, device: Device_) -> Seen | None:
        """What a base takes: gain + 1 times what stands in its emitter; None for a gate."""
        if not isinstance(device, Transistor):
            return None
        _, _, emitter = self.legs(device)
        there = self.inner(device)
        words = "its own emitter ohms"
        if emitter != self.ground:
            own = self.seen(emitter, without=(device,), driven=self.driven(device))
            there += own.ohms
            words += f" + {own.words}" if own.words else ""
        times = f"{device.gain + 1.0:.4g}"
        return Seen((device.gain + 1.0) * there, f"{times} x ({words}) of {device.ref}")

    def stride(self, device: Device_, before: str, after: str) -> Stride | None:
        base, collector, emitter = self.legs(device)
        if self.at(before) != base or not self._awake(device):
            return None
        inner = self.inner(device)
        driven = self.driven(device)
        out = self.at(after)
        if out == emitter and out != self.ground:
            load = self.seen(emitter, without=(device,), driven=driven)
            gain = load.ohms / (inner + load.ohms)
            return Stride(device.ref, self._current(device), inner, None, load, True, gain)
        if out != collector or out == self.ground:
            return None
        load = self.seen(collector, without=(device,), driven=driven - {emitter})
        own = None
        if emitter != self.ground:
            own = self.seen(emitter, without=(device,), driven=driven | {collector})
        total = inner + (own.ohms if own else 0.0)
        alpha = 1.0
        if isinstance(device, Transistor):
            alpha = device.gain / (device.gain + 1.0)
        gain = -alpha * load.ohms / total
        return Stride(device.ref, self._current(device), inner, own, load, False, gain)


def _is_base(arm: Arm) -> bool:
    """Whether the words are those of a base, whose brackets they bring along."""
    return " x (" in arm.words


def _arms(element: Element) -> Iterator[Arm]:
    if element.device is Device.RESISTOR:
        if element.value("ohms") < OPEN:
            kind, _, node = element.name.partition(" ")
            words = f"the load at {node}" if kind == "load" and node else element.name
            yield Arm(words, element.nodes[0], element.nodes[1], element.value("ohms"))
    elif element.device is Device.WINDING or (
        element.device is Device.COIL and not element.value("henries")
    ):
        yield Arm(element.name, element.nodes[0], element.nodes[1], element.value("ohms"))
    elif element.device is Device.SOURCE:
        words = f"{element.name}'s own ohms"
        yield Arm(words, element.nodes[0], GROUND, element.value("ohms"))
    elif element.device is Device.JUNCTION:
        yield Arm(element.name, element.nodes[0], element.nodes[1], WIPER)
    elif element.device is Device.POT:
        top, wiper, bottom = element.nodes
        total, turn = element.values
        yield Arm(f"{element.name}'s upper part", top, wiper, total * (1.0 - turn))
        yield Arm(f"{element.name}'s lower part", wiper, bottom, total * turn)


def _solved(order: Sorted) -> tuple[float, float, float | None]:
    """Gain over the input node, ohms into it, ohms out of the output, by the linear stage."""
    path = order.path
    whole = level_gain(path.matrix, path.drive, path.out, order.bass)
    start = path.column[path.start.node]
    at_input = level_gain(path.matrix, path.drive, start, order.bass)
    opened = path.matrix.copy()
    source = path.circuit.element(path.source)
    opened[path.column[source.nodes[0]], path.column[source.nodes[0]]] -= 1.0 / max(
        source.value("ohms"), CLOSED)
    into = ohms_seen(opened, Store("", start, EARTH, 0.0, 0.0), order.bass)
    unloaded = path.matrix.copy()
    name = f"load {path.end.node}"
    if any(element.name == name for element in path.circuit.elements):
        load = path.circuit.element(name)
        at = path.column[load.nodes[0]]
        unloaded[at, at] -= 1.0 / load.value("ohms")
    out = ohms_seen(unloaded, Store("", path.out, EARTH, 0.0, 0.0), order.bass)
    return whole / at_input, into if into is not None else 0.0, out
