"""One specimen of a stage: what each part really is, and its deck for ngspice."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from biaspredict.model.devices import Channel, Fet
from biaspredict.model.parts import TERMINALS, Kind, Part
from biaspredict.model.stage import GROUND, Pin, Stage

from . import devices

WIRE = 1e-3  # ohms of a sound joint, closed contact or stiff source
NOTHING = 1e12  # ohms beyond which a branch is left out


@dataclass(frozen=True, slots=True)
class Body:
    """What the specimen carries in a part's place; nodes may differ after a wrong fitting."""

    part: Part
    nodes: tuple[str, ...]
    values: Mapping[str, float]

    def but(self, **changes: float) -> Body:
        return replace(self, values={**self.values, **changes})


@dataclass(frozen=True, slots=True)
class Branch:
    """A resistance, or (emf) a voltage towards `a` behind a resistance, between two nodes."""

    a: str
    b: str
    ohms: float
    emf: float = 0.0


@dataclass(frozen=True, slots=True)
class Specimen:
    """ambient: degrees inside the case. rails: open-circuit volts and ohms of each.

    lifts: ohms in series with a lead "R1.2". joints: those of them that lie outside the part,
        where a probe can land on either side. extras: branches the sheet does not show.
    heats: degrees of each junction part above ambient, from its own dissipation.
    """

    stage: Stage
    ambient: float
    bodies: Mapping[str, Body]
    rails: Mapping[str, tuple[float, float]]
    lifts: Mapping[str, float] = field(default_factory=dict)
    extras: tuple[Branch, ...] = ()
    sources: tuple[Branch, ...] = ()
    heats: Mapping[str, float] = field(default_factory=dict)
    joints: frozenset[str] = frozenset()

    def but(self, ref: str, **changes: float) -> Specimen:
        return self.with_body(ref, self.bodies[ref].but(**changes))

    def with_body(self, ref: str, body: Body) -> Specimen:
        return replace(self, bodies={**self.bodies, ref: body})

    def lifted(self, lead: str, ohms: float) -> Specimen:
        return replace(self, lifts={**self.lifts, lead: ohms})

    def jointed(self, lead: str, ohms: float) -> Specimen:
        return replace(self.lifted(lead, ohms), joints=self.joints | {lead})

    def bridged(self, a: str, b: str, ohms: float) -> Specimen:
        return replace(self, extras=(*self.extras, Branch(a, b, ohms)))

    def fed_by_rails(self, pin: Pin) -> bool:
        """Whether the rails are of the sign that makes a box's current flow."""
        return {volts > 0 for volts, _ in self.rails.values()} == {pin.amps > 0}

    def celsius(self, ref: str) -> float:
        own = self.bodies[ref].values.get("own_heat", 0.0)
        return self.ambient + own + self.heats.get(ref, 0.0)


KNEE = 1.0  # V: below it a box takes less and less; from memory


@dataclass(frozen=True, slots=True)
class Flow:
    """A current the check of the node sums needs: out of node a, into node b.

    Either through `ohms` (after `emf`), or read from ngspice as `vector`, or a lamp's law, or what
    a box takes: `amps`, where `knee` is finite only while there are volts to take it by.
    """

    a: str
    b: str
    ohms: float = math.nan
    emf: float = 0.0
    vector: str = ""
    amps: float = math.nan
    knee: float = math.nan
    lamp: tuple[float, float, float, float] | None = None


@dataclass
class Deck:
    """Lines for ngspice, with the number of each node and the flows of the node sums."""

    numbers: dict[str, str] = field(default_factory=lambda: {GROUND: "0"})
    lines: list[str] = field(default_factory=list)
    flows: list[Flow] = field(default_factory=list)
    heaters: list[str] = field(default_factory=list)
    count: int = 0

    def n(self, node: str) -> str:
        return self.numbers.setdefault(node, f"n{len(self.numbers)}")

    def resistor(self, a: str, b: str, ohms: float, emf: float = 0.0) -> None:
        if a == b or ohms >= NOTHING:
            return
        self.count += 1
        name, far = f"z{self.count}", self.n(b)
        if emf:
            far = f"e{self.count}"
            self.lines.append(f"v{name} {far} {self.n(b)} {emf!r}")
        self.lines.append(f"r{name} {self.n(a)} {far} {ohms!r}")
        self.flows.append(Flow(a, b, ohms, emf))

    def lamp(self, a: str, b: str, law: tuple[float, float, float, float]) -> None:
        """Filament: ohms = hot (cold + (1 - cold) (|v| / volts)^power)."""
        hot, volts, cold, power = law
        self.count += 1
        v = f"v({self.n(a)},{self.n(b)})"
        if "0" in (self.n(a), self.n(b)):
            v = f"v({self.n(a)})" if self.n(b) == "0" else f"(-v({self.n(b)}))"
        size = f"(sqrt({v}*{v}+1e-8)/{volts!r})"
        self.lines.append(
            f"bz{self.count} {self.n(a)} {self.n(b)} "
            f"i={v}/({hot!r}*({cold!r}+{1 - cold!r}*{size}^{power!r}))"
        )
        self.flows.append(Flow(a, b, lamp=law))

    def box(self, node: str, amps: float, passive: bool) -> None:
        """A box that takes `amps`; a passive one less and less below `KNEE`, and none at 0 V."""
        self.count += 1
        if not passive:
            self.lines.append(f"iz{self.count} {self.n(node)} 0 {amps!r}")
            self.flows.append(Flow(node, GROUND, amps=amps))
            return
        at, size = self.n(node), abs(amps)
        self.lines.append(f"bz{self.count} {at} 0 i={size!r}*tanh(v({at})/{KNEE!r})")
        self.flows.append(Flow(node, GROUND, amps=size, knee=KNEE))

    def read(self, a: str, b: str, vector: str) -> None:
        self.flows.append(Flow(a, b, vector=vector))


_RESISTIVE = frozenset(
    {Kind.RESISTOR, Kind.COIL, Kind.WINDING, Kind.FUSE, Kind.SWITCH, Kind.CONTACT}
    | {Kind.THERMISTOR, Kind.CAPACITOR, Kind.ELECTROLYTIC}
)


def write(specimen: Specimen, meter: Branch | None = None) -> Deck:
    """The specimen's deck, with a meter across two nodes if one is given."""
    deck = Deck()
    for node in specimen.stage.nodes:
        deck.n(node)
    for name, (volts, ohms) in specimen.rails.items():
        deck.resistor(name, GROUND, max(ohms, WIRE), volts)
    for branch in (*specimen.sources, *specimen.extras, *((meter,) if meter else ())):
        deck.resistor(branch.a, branch.b, branch.ohms, branch.emf)
    for pin in specimen.stage.pins:
        if pin.volts is None and pin.amps:
            deck.box(pin.node, pin.amps, specimen.fed_by_rails(pin))
    for place, (ref, body) in enumerate(specimen.bodies.items()):
        legs = []
        for terminal, node in zip(TERMINALS[body.part.kind], body.nodes, strict=True):
            joint = specimen.lifts.get(f"{ref}.{terminal}")
            if joint is None:
                legs.append(node)
            else:
                lead = f"{ref}.{terminal} lead"
                deck.resistor(lead, node, min(joint, 1e11))
                legs.append(lead)
        _write_body(deck, f"p{place}", ref, body, tuple(legs), specimen.celsius(ref))
    return deck


def _write_body(
    deck: Deck, name: str, ref: str, body: Body, legs: tuple[str, ...], celsius: float
) -> None:
    kind, values = body.part.kind, body.values
    if kind in _RESISTIVE:
        deck.resistor(legs[0], legs[1], values["ohms"])
    elif kind in (Kind.POT, Kind.TRIMMER):
        inner = f"{ref} slider"
        deck.resistor(legs[0], inner, max(values["upper"], WIRE))
        deck.resistor(inner, legs[2], max(values["lower"], WIRE))
        deck.resistor(inner, legs[1], values["wiper"])
    elif kind is Kind.LAMP:
        law = (values["hot"], values["volts"], values["cold"], values["power"])
        if values["hot"] < 1e9:
            deck.lamp(legs[0], legs[1], law)
    else:
        numbered = tuple(deck.n(leg) for leg in legs)
        if kind is Kind.TRANSISTOR:
            lines = devices.bipolar_lines(name, numbered, values, celsius)  # type: ignore[arg-type]
            for leg, vector in zip(legs, ("ic", "ib", "ie"), strict=True):
                deck.read(leg, "", f"@q{name}[{vector}]")
            deck.heaters.append(f"{ref} @q{name}[p]")
        elif kind is Kind.FET:
            assert isinstance(body.part.device, Fet)
            channel = "njf" if body.part.device.channel is Channel.N else "pjf"
            lines = devices.fet_lines(name, numbered, values, celsius, channel)  # type: ignore[arg-type]
            for leg, vector in zip(legs, ("id", "ig", "is"), strict=True):
                deck.read(leg, "", f"@j{name}[{vector}]")
        else:
            lines = devices.diode_lines(name, numbered, values, celsius)  # type: ignore[arg-type]
            deck.read(legs[0], legs[1], f"@d{name}_0[id]")
        deck.lines += lines
        _read_companions(deck, lines)


def _read_companions(deck: Deck, lines: list[str]) -> None:
    """Leaks and leakage junctions written by the device modules also carry current."""
    back = {number: node for node, number in deck.numbers.items()}
    for line in lines:
        words = line.split()
        if words[0].startswith("rl"):
            deck.flows.append(Flow(back[words[1]], back[words[2]], float(words[3])))
        elif words[0].startswith("dk"):
            deck.read(back[words[1]], back[words[2]], f"@{words[0]}[id]")
