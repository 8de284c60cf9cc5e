"""Short words for building stages by hand, and a few sound ones."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from biaspredict.model.devices import (
    Channel,
    Polarity,
    generic_bipolar,
    generic_diode,
    generic_fet,
    generic_zener,
)
from biaspredict.model.parts import TERMINALS, Kind, Part
from biaspredict.model.stage import GROUND, Pin, Port, Rail, Stage
from biaspredict.span import Span

KINDS = {"R": Kind.RESISTOR, "C": Kind.CAPACITOR, "L": Kind.COIL, "S": Kind.SWITCH, "F": Kind.FUSE}


def two(ref: str, a: str, b: str, value: float | None = None, **more: object) -> Part:
    """A resistor, capacitor, coil, switch or fuse, as its letter says; `kind` says otherwise."""
    kind = more.pop("kind", KINDS.get(ref[0]))
    origin = Span("hand.stage", 1, 1, 3)
    return Part(ref, kind, (a, b), printed=value, origin=origin, **more)  # type: ignore[arg-type]


def plus(ref: str, a: str, b: str, value: float = 1e-5, **more: object) -> Part:
    """An electrolytic with its plus at `a`."""
    return two(ref, a, b, value, kind=Kind.ELECTROLYTIC, **more)


def npn(ref: str, c: str, b: str, e: str, polarity: Polarity = Polarity.NPN) -> Part:
    device = generic_bipolar(polarity)
    return Part(ref, Kind.TRANSISTOR, (c, b, e), device=device, origin=Span("hand.stage", 2, 1, 3))


def pnp(ref: str, c: str, b: str, e: str) -> Part:
    return npn(ref, c, b, e, Polarity.PNP)


def fet(ref: str, d: str, g: str, s: str) -> Part:
    device = generic_fet(Channel.N)
    return Part(ref, Kind.FET, (d, g, s), device=device, origin=Span("hand.stage", 3, 1, 3))


def diode(ref: str, anode: str, cathode: str) -> Part:
    return Part(ref, Kind.DIODE, (anode, cathode), device=generic_diode())


def zener(ref: str, anode: str, cathode: str, volts: float) -> Part:
    return Part(ref, Kind.ZENER, (anode, cathode), device=generic_zener(volts))


def pot(ref: str, top: str, wiper: str, bottom: str, ohms: float = 50e3, turn: float = 0.5) -> Part:
    return Part(ref, Kind.POT, (top, wiper, bottom), printed=ohms, turn=turn)


def stage(
    *parts: Part,
    rails: Iterable[Rail] = (Rail("B+", 22.0),),
    inputs: Iterable[Port | str] = (),
    outputs: Iterable[Port | str] = (),
    pins: Iterable[Pin] = (),
    names: dict[str, str] | None = None,
    points: tuple[tuple[str, str], ...] = (),
) -> Stage:
    """A stage of these parts; nodes in the order in which the parts name them."""
    rails, pins = tuple(rails), tuple(pins)
    ports = [
        tuple(Port(port) if isinstance(port, str) else port for port in side)
        for side in (inputs, outputs)
    ]
    named = dict(names or {})
    nodes = [GROUND, *(rail.name for rail in rails), *(n for part in parts for n in part.nodes)]
    nodes += [pin.node for pin in pins] + [port.node for side in ports for port in side]
    return Stage(
        "by hand",
        parts,
        rails,
        tuple(node for node in dict.fromkeys(nodes) if node not in named),
        named,
        pins,
        *ports,
        points=points,
    )


def part_of(kind: Kind, ref: str, nodes: tuple[str, ...]) -> Part:
    """Any kind of part with nothing said of it but its nodes."""
    return Part(ref, kind, nodes[: len(TERMINALS[kind])])


def without(whole: Stage, *refs: str) -> Stage:
    return replace(whole, parts=tuple(part for part in whole.parts if part.ref not in refs))


def altered(whole: Stage, ref: str, **changes: object) -> Stage:
    """The stage with one part changed."""
    return replace(
        whole,
        parts=tuple(
            replace(part, **changes) if part.ref == ref else part  # type: ignore[arg-type]
            for part in whole.parts
        ),
    )


def amplifier() -> Stage:
    """A sound divider-biased stage behind a decoupled supply."""
    return stage(
        two("R5", "B+", "VA", 2.2e3),
        plus("C4", "VA", GROUND, 100e-6, volts=25.0),
        two("R1", "VA", "b", 220e3),
        two("R2", "b", GROUND, 47e3),
        two("R3", "VA", "c", 4.7e3),
        two("R4", "e", GROUND, 1e3),
        npn("Q1", "c", "b", "e"),
        plus("C3", "e", GROUND, 50e-6, volts=6.0),
        plus("C1", "b", "IN", 5e-6, volts=15.0),
        plus("C2", "c", "OUT", 5e-6, volts=25.0),
        inputs=[Port("IN", 600.0)],
        outputs=[Port("OUT", 47e3)],
    )


def pair() -> Stage:
    """A sound direct-coupled pair: DC feedback to Q1.base, signal feedback to Q1.emitter."""
    return stage(
        plus("C1", "b1", "IN", 1e-6),
        npn("Q1", "c1", "b1", "e1"),
        two("R1", "B+", "c1", 100e3),
        two("R2", "e1", GROUND, 1e3),
        npn("Q2", "c2", "c1", "e2"),
        two("R3", "B+", "c2", 10e3),
        two("R4", "e2", GROUND, 1e3),
        plus("C2", "e2", GROUND, 50e-6),
        two("R5", "e2", "b1", 220e3),
        two("C3", "c1", "c2", 47e-12),
        two("R6", "c2", "x", 27e3),
        plus("C4", "x", "e1", 10e-6),
        plus("C5", "c2", "OUT", 5e-6),
        inputs=[Port("IN", 600.0)],
        outputs=[Port("OUT", 47e3)],
    )
