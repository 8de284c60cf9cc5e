"""Circuits written by hand for the engines, in the trade's terms."""

from __future__ import annotations

import math

from biaspredict.model.circuit import OPEN, Circuit, Device, Element

# kT/q at 25 C from the CODATA 2018 constants.
VT25 = 1.380649e-23 * 298.15 / 1.602176634e-19


def circuit(*elements: Element, celsius: float = 25.0) -> Circuit:
    """Nodes in the order in which the elements name them."""
    named = dict.fromkeys(node for e in elements for node in e.nodes if node != "ground")
    return Circuit(tuple(named), elements, celsius)


def resistor(name: str, a: str, b: str, ohms: float) -> Element:
    return Element(name, Device.RESISTOR, (a, b), (ohms,))


def capacitor(name: str, plus: str, minus: str, farads: float, series: float = 0.0) -> Element:
    return Element(name, Device.CAPACITOR, (plus, minus), (farads, OPEN, series))


def source(name: str, volts: float, ohms: float = 1e-3, node: str = "") -> Element:
    return Element(name, Device.SOURCE, (node or name,), (volts, ohms))


def current(name: str, a: str, b: str, amps: float) -> Element:
    return Element(name, Device.CURRENT, (a, b), (amps,))


def saturation(amps: float, volts: float) -> float:
    return amps / math.expm1(volts / VT25)


def silicon(
    name: str, c: str, b: str, e: str, *, pnp: bool = False, gain: float = 150.0
) -> Element:
    """0.65 V at 1 mA, ICBO 10 nA, Early voltage 80 V."""
    law = (-1.0 if pnp else 1.0, saturation(1e-3, 0.65), gain, 4.0, 80.0, 1e-8, 1.20)
    return Element(name, Device.BIPOLAR, (c, b, e), (*law, OPEN, OPEN, OPEN))


def germanium(name: str, c: str, b: str, e: str, *, icbo: float = 5e-6) -> Element:
    """A PNP of gain 60: 0.18 V at 1 mA, Early voltage 40 V."""
    law = (-1.0, saturation(1e-3, 0.18), 60.0, 8.0, 40.0, icbo, 0.74)
    return Element(name, Device.BIPOLAR, (c, b, e), (*law, OPEN, OPEN, OPEN))


def junction(
    name: str, anode: str, cathode: str, *, count: int = 1, zener: float = math.inf
) -> Element:
    """`count` silicon junctions in one body, 0.62 V each at 1 mA; breakdown stated at 5 mA."""
    law = (saturation(1e-3, 0.62), float(count), 1.20 * count, zener, 5e-3)
    return Element(name, Device.JUNCTION, (anode, cathode), (*law, OPEN))


def fet(name: str, d: str, g: str, s: str, *, p: bool = False, slope: float = 0.0) -> Element:
    """IDSS 5 mA, pinch-off 2 V."""
    law = (-1.0 if p else 1.0, 5e-3, 2.0, slope)
    return Element(name, Device.JFET, (d, g, s), (*law, OPEN, OPEN, OPEN))


def divider_stage(celsius: float = 25.0) -> Circuit:
    """One NPN, divider bias, emitter bypassed, fed through coupling capacitors."""
    return circuit(
        source("B+", 22.0, 470.0),
        resistor("R1", "B+", "base", 100e3),
        resistor("R2", "base", "ground", 22e3),
        resistor("R3", "B+", "collector", 6.8e3),
        resistor("R4", "emitter", "ground", 1.5e3),
        capacitor("C1", "in", "base", 5e-6),
        capacitor("C2", "emitter", "ground", 50e-6),
        source("input in", 0.0, 600.0, "in"),
        silicon("Q1", "collector", "base", "emitter"),
        celsius=celsius,
    )


def pair(celsius: float = 25.0) -> Circuit:
    """Two NPN in a DC feedback loop: the second emitter biases the first base."""
    return circuit(
        source("B+", 24.0, 100.0),
        resistor("R1", "B+", "c1", 100e3),
        resistor("R2", "e1", "ground", 1e3),
        resistor("R3", "B+", "c2", 4.7e3),
        resistor("R4", "e2", "ground", 1e3),
        resistor("R5", "e2", "b1", 220e3),
        silicon("Q1", "c1", "b1", "e1", gain=250.0),
        silicon("Q2", "c2", "c1", "e2", gain=120.0),
        celsius=celsius,
    )


def follower_of_pnp() -> Circuit:
    """PNP voltage stage below a positive rail, and the NPN follower behind it."""
    return circuit(
        source("B+", 30.0),
        resistor("R1", "B+", "b1", 12e3),
        resistor("R2", "b1", "ground", 82e3),
        resistor("R3", "B+", "e1", 2.7e3),
        resistor("R4", "c1", "ground", 12e3),
        silicon("Q1", "c1", "b1", "e1", pnp=True, gain=90.0),
        silicon("Q2", "B+", "c1", "out"),
        resistor("R5", "out", "ground", 3.3e3),
    )


def diodes() -> Circuit:
    """A zener held from a rail, two junctions in one body, and one the wrong way round."""
    return circuit(
        source("B+", 18.0, 10.0),
        source("B-", -6.0, 10.0),
        resistor("R1", "B+", "z", 1.2e3),
        junction("D1", "ground", "z", zener=9.1),
        resistor("R2", "z", "bias", 3.9e3),
        junction("D2", "bias", "low", count=2),
        resistor("R3", "low", "B-", 2.2e3),
        junction("D3", "B-", "z"),
    )


def fets() -> Circuit:
    """An N-channel stage with self-bias, a P-channel one, and an N-channel in its ohmic part."""
    return circuit(
        source("B+", 20.0),
        source("B-", -20.0),
        resistor("R1", "B+", "d1", 3.3e3),
        resistor("R2", "s1", "ground", 680.0),
        resistor("R3", "g1", "ground", 1e6),
        fet("Q1", "d1", "g1", "s1", slope=0.01),
        resistor("R4", "B-", "d2", 2.2e3),
        resistor("R5", "s2", "ground", 470.0),
        fet("Q2", "d2", "ground", "s2", p=True),
        resistor("R6", "B+", "d3", 47e3),
        fet("Q3", "d3", "ground", "ground"),
    )


def germanium_stage(celsius: float = 45.0) -> Circuit:
    """A warm germanium PNP below a negative rail: its leakage moves the bias."""
    return circuit(
        source("B-", -12.0, 47.0),
        resistor("R1", "B-", "base", 47e3),
        resistor("R2", "base", "ground", 10e3),
        resistor("R3", "B-", "collector", 3.3e3),
        resistor("R4", "emitter", "ground", 1e3),
        germanium("Q1", "collector", "base", "emitter"),
        celsius=celsius,
    )


def power_germanium(celsius: float = 25.0) -> Circuit:
    """ICBO of 0.3 mA, as an old power type has it, driven from a high resistance.

    The collector keeps volts away from the base: below 0.5 V ngspice's tail of the leakage
    diode (a cubic, never flat) and the textbook's exponential differ by 0.1 % of ICBO.
    """
    return circuit(
        source("B-", -14.0),
        resistor("R1", "B-", "collector", 100.0),
        resistor("R2", "base", "ground", 820.0),
        resistor("R3", "B-", "base", 15e3),
        resistor("R4", "emitter", "ground", 15.0),
        germanium("Q1", "collector", "base", "emitter", icbo=3e-4),
        celsius=celsius,
    )


def split_amplifier() -> Circuit:
    """Eight transistors between split rails: pair, driver, spreader, quasi-complementary output."""
    return circuit(
        source("B+", 35.0, 0.5),
        source("B-", -35.0, 0.5),
        silicon("Q1", "first", "in", "tail", pnp=True),
        silicon("Q2", "B-", "back", "tail", pnp=True),
        resistor("R1", "tail", "quiet", 22e3),
        resistor("R2", "quiet", "B+", 4.7e3),
        capacitor("C1", "quiet", "ground", 100e-6),
        resistor("R3", "in", "ground", 33e3),
        resistor("R4", "back", "out", 33e3),
        resistor("R5", "back", "foot", 680.0),
        capacitor("C2", "foot", "ground", 100e-6),
        resistor("R6", "first", "B-", 680.0),
        silicon("Q3", "low", "first", "e3", gain=100.0),
        resistor("R7", "e3", "B-", 47.0),
        silicon("Q4", "high", "spread", "low"),
        resistor("R8", "high", "spread", 2.2e3),
        resistor("R9", "spread", "low", 820.0),
        resistor("R10", "high", "boot", 3.3e3),
        resistor("R11", "boot", "B+", 3.3e3),
        capacitor("C3", "boot", "out", 100e-6),
        silicon("Q5", "B+", "high", "e5"),
        resistor("R12", "e5", "out", 220.0),
        silicon("Q7", "B+", "e5", "e7", gain=60.0),
        resistor("R13", "e7", "out", 0.33),
        silicon("Q6", "c6", "low", "e6", pnp=True),
        resistor("R14", "e6", "out", 220.0),
        resistor("R15", "c6", "B-", 220.0),
        silicon("Q8", "e8", "c6", "B-", gain=60.0),
        resistor("R16", "out", "e8", 0.33),
        resistor("R17", "out", "ground", 8.0),
        junction("D1", "out", "B+"),
        junction("D2", "B-", "out"),
    )
