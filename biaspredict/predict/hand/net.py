"""The stage as a person reckons with it: resistances, fixed volts, and devices in their region."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from biaspredict.engine.flatten import flatten
from biaspredict.model.circuit import OPEN, Circuit, Device, Element
from biaspredict.model.devices import Bipolar, Channel, Diode, Fet, Polarity, Zener
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.hand.records import Key, What
from biaspredict.predict.states import Region, transistor_state

JOINT = 0.02  # ohms up to which two nodes are one to a person with a calculator
WIPER = 1.0  # ohms between a wiper and an end, up to which the wiper stands at the end
CONDUCTS = 0.5  # share of its stated drop from which a diode is said to conduct
BROKEN_DOWN = 0.9  # share of its stated volts from which a zener is said to regulate


@dataclass(frozen=True, slots=True)
class Arm:
    """A resistance from node a to node b: one part, or (key None) several taken together."""

    words: str
    a: str
    b: str
    ohms: float
    key: Key | None = None

    def other(self, node: str) -> str:
        return self.b if node == self.a else self.a


@dataclass(frozen=True, slots=True)
class Transistor:
    """sign: 1 NPN, -1 PNP. vbe, gain: as stated, above 0. region: by the solved stage."""

    ref: str
    sign: float
    base: str
    collector: str
    emitter: str
    vbe: float
    gain: float
    region: Region

    def key(self, what: What) -> Key:
        return Key(what, self.ref)

    @property
    def leads(self) -> tuple[tuple[str, Key, float], ...]:
        """(node, current, amps into the node for each ampere of it)."""
        return (
            (self.base, self.key(What.BASE), -self.sign),
            (self.collector, self.key(What.COLLECTOR), -self.sign),
            (self.emitter, self.key(What.EMITTER), self.sign),
        )


@dataclass(frozen=True, slots=True)
class Junctionless:
    """A junction FET; its gate takes no current. sign: 1 n-channel, -1 p-channel."""

    ref: str
    sign: float
    gate: str
    drain: str
    source: str
    idss: float
    pinch_off: float
    region: Region

    def key(self, what: What) -> Key:
        return Key(what, self.ref)

    @property
    def leads(self) -> tuple[tuple[str, Key, float], ...]:
        drain = self.key(What.DRAIN)
        return (self.drain, drain, -self.sign), (self.source, drain, self.sign)


@dataclass(frozen=True, slots=True)
class Fall:
    """A conducting diode or zener: current runs from `high` to `low` and loses `volts`."""

    ref: str
    high: str
    low: str
    volts: float
    zener: bool

    @property
    def leads(self) -> tuple[tuple[str, Key, float], ...]:
        through = Key(What.THROUGH, self.ref)
        return (self.high, through, -1.0), (self.low, through, 1.0)


@dataclass(frozen=True, slots=True)
class Taken:
    """A box's pin that takes `amps` (below 0: gives) whatever the volts."""

    node: str
    key: Key
    amps: float

    @property
    def leads(self) -> tuple[tuple[str, Key, float], ...]:
        return ((self.node, self.key, -1.0),)


HasLeads = Transistor | Junctionless | Fall | Taken


class Net:
    """Nodes that joints make one are called by one name: `at`.

    fixed: volts of nodes that a stiff source holds. order: references of transistors and FETs in
    the order in which they are to be told. asleep: transistors cut off, and diodes and zeners that
    do not conduct, in the solved stage.
    """

    def __init__(self, stage: Stage, solved: Mapping[str, float], order: tuple[str, ...]) -> None:
        self.stage = stage
        self.circuit: Circuit = flatten(stage)
        self.solved = solved
        self.order = order
        self._top: dict[str, str] = {node: node for node in (GROUND, *self.circuit.nodes)}
        self._rank = {node: i for i, node in enumerate(self._by_fame())}
        arms = [arm for element in self.circuit.elements for arm in _arms(element)]
        for arm in arms:
            if arm.ohms <= (WIPER if "'s " in arm.words else JOINT):
                self._join(arm.a, arm.b)
        self.fixed: dict[str, float] = {GROUND: 0.0}
        for element in self.circuit.elements:
            if element.device is Device.SOURCE:
                arms += self._source(element)
        self.arms = tuple(
            Arm(arm.words, self.at(arm.a), self.at(arm.b), arm.ohms, arm.key)
            for arm in arms
            if self.at(arm.a) != self.at(arm.b)
        )
        place = {ref: i for i, ref in enumerate(order)}
        found = sorted(self._transistors(), key=lambda t: place.get(t.ref, len(place)))
        # A base tied to the collector makes a diode of a transistor.
        self.transistors = tuple(t for t in found if t.base != t.collector)
        self.channels = tuple(
            sorted(self._channels(), key=lambda c: place.get(c.ref, len(place)))
        )
        self.falls = (*self._falls(), *(_tied(t) for t in found if t.base == t.collector))
        self.taken = tuple(self._pins())
        awake = {fall.ref for fall in self.falls}
        self.asleep = tuple(
            part.ref for part in stage.parts
            if (isinstance(part.device, Diode | Zener) and part.ref not in awake)
            or any(t.ref == part.ref and t.region is Region.CUT_OFF for t in self.transistors)
        )

    def at(self, node: str) -> str:
        while self._top[node] != node:
            node = self._top[node]
        return node

    @cached_property
    def nodes(self) -> tuple[str, ...]:
        """Every node once, those inside zeners left out."""
        names = (node for node in (GROUND, *self.circuit.nodes) if not node.endswith("(slope)"))
        return tuple(dict.fromkeys(self.at(node) for node in names)) + tuple(
            node for node in self.fixed if node not in self._rank
        )

    @cached_property
    def arms_at(self) -> Mapping[str, tuple[Arm, ...]]:
        found: dict[str, list[Arm]] = {}
        for arm in self.arms:
            found.setdefault(arm.a, []).append(arm)
            found.setdefault(arm.b, []).append(arm)
        return {node: tuple(some) for node, some in found.items()}

    @cached_property
    def dead(self) -> Mapping[str, str]:
        """Nodes that only a resistance without current joins to anything: to the node it meets."""
        found: dict[str, str] = {}
        while True:
            for node in self.nodes:
                if node in found or node in self.fixed or node in self.leads_at:
                    continue
                ways = {
                    arm.other(node) for arm in self.arms_at.get(node, ())
                    if arm.other(node) not in found
                }
                if len(ways) == 1:
                    found[node] = ways.pop()
                    break
            else:
                return found

    @cached_property
    def leads_at(self) -> Mapping[str, tuple[tuple[Key, float], ...]]:
        """Device leads at each node: (current, amps into the node for each ampere of it)."""
        found: dict[str, list[tuple[Key, float]]] = {}
        devices: tuple[HasLeads, ...] = (
            *self.transistors, *self.channels, *self.falls, *self.taken
        )
        for device in devices:
            for node, key, way in device.leads:
                found.setdefault(node, []).append((key, way))
        return {node: tuple(some) for node, some in found.items()}

    def transistor(self, ref: str) -> Transistor:
        return next(t for t in self.transistors if t.ref == ref)

    def _by_fame(self) -> Iterator[str]:
        rails = {rail.name for rail in self.stage.rails}
        yield GROUND
        yield from (node for node in self.circuit.nodes if node in rails)
        yield from (node for node in self.circuit.nodes if node not in rails)

    def _join(self, a: str, b: str) -> None:
        first, second = sorted((self.at(a), self.at(b)), key=self._rank.__getitem__)
        self._top[second] = first

    def _source(self, element: Element) -> Iterator[Arm]:
        """What holds a node, or stands behind a resistance."""
        node, held, ohms = self.at(element.nodes[0]), element.value("volts"), element.value("ohms")
        if ohms <= JOINT:
            self.fixed[node] = held
        elif held == 0.0:
            words = f"the source at {element.nodes[0]}"
            yield Arm(words, element.nodes[0], GROUND, ohms, Key(What.AMPS, element.name))
        elif ohms < OPEN:
            inside = f"{element.name}, unloaded"
            self._top[inside] = inside
            self.fixed[inside] = held
            yield Arm(f"{element.name}'s own ohms", inside, element.nodes[0], ohms,
                      Key(What.AMPS, element.name))

    def _transistors(self) -> Iterator[Transistor]:
        for part in self.stage.parts:
            device = part.device
            if isinstance(device, Bipolar):
                state = transistor_state(self.stage, part, self.solved)
                region = state.region if state else Region.ACTIVE
                collector, base, emitter = (self.at(node) for node in part.nodes)
                sign = 1.0 if device.polarity is Polarity.NPN else -1.0
                yield Transistor(part.ref, sign, base, collector, emitter, device.vbe,
                                 device.gain.middle, region)

    def _channels(self) -> Iterator[Junctionless]:
        for part in self.stage.parts:
            device = part.device
            if isinstance(device, Fet):
                state = transistor_state(self.stage, part, self.solved)
                region = state.region if state else Region.ACTIVE
                drain, gate, source = (self.at(node) for node in part.nodes)
                sign = 1.0 if device.channel is Channel.N else -1.0
                yield Junctionless(part.ref, sign, gate, drain, source, device.idss.middle,
                                   device.pinch_off.middle, region)

    def _falls(self) -> Iterator[Fall]:
        for part in self.stage.parts:
            device = part.device
            if not isinstance(device, Diode | Zener):
                continue
            anode, cathode = part.nodes
            across = self.solved[anode] - self.solved[cathode]
            high, low = self.at(anode), self.at(cathode)
            if high == low:
                continue
            if isinstance(device, Diode) and across > CONDUCTS * device.drop * device.junctions:
                yield Fall(part.ref, high, low, device.drop * device.junctions, False)
            elif isinstance(device, Zener) and across < -BROKEN_DOWN * device.volts:
                yield Fall(part.ref, low, high, device.volts, True)

    def _pins(self) -> Iterator[Taken]:
        boxes = {pin.name: pin for pin in self.stage.pins if pin.volts is None}
        for pin in boxes.values():
            yield Taken(self.at(pin.node), Key(What.TAKEN, pin.name), pin.amps)


def _arms(element: Element) -> Iterator[Arm]:
    key = Key(What.AMPS, element.name)
    if element.device in (Device.RESISTOR, Device.COIL, Device.WINDING):
        ohms = element.value("ohms")
        if ohms < OPEN and not element.name.endswith(".slope"):
            yield Arm(_words(element), element.nodes[0], element.nodes[1], ohms, key)
    elif element.device is Device.LAMP:
        hot = element.value("hot_ohms")
        yield Arm(f"{element.name} (hot)", element.nodes[0], element.nodes[1], hot, key)
    elif element.device is Device.POT:
        top, wiper, bottom = element.nodes
        total, turn = element.values
        for half, a, b, ohms in (
            ("upper", top, wiper, total * (1.0 - turn)),
            ("lower", wiper, bottom, total * turn),
        ):
            yield Arm(f"{element.name}'s {half} part", a, b, ohms,
                      Key(What.AMPS, f"{element.name}.{half}"))


def _words(element: Element) -> str:
    kind, _, node = element.name.partition(" ")
    return f"the load at {node}" if kind == "load" and node else element.name


def _tied(transistor: Transistor) -> Fall:
    ends = transistor.base, transistor.emitter
    high, low = ends if transistor.sign > 0 else ends[::-1]
    return Fall(transistor.ref, high, low, transistor.vbe, False)
