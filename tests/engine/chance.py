"""Circuits and faults drawn by chance, for checks that must hold whatever the circuit."""

from __future__ import annotations

import random

from biaspredict.model.circuit import (
    OPEN,
    TERMINALS,
    Circuit,
    Device,
    Element,
    Load,
    Variation,
)
from tests.engine import hand


def circuit(rng: random.Random) -> Circuit:
    """Two rails, a tree of resistors that reaches every node, and devices anywhere."""
    nodes = [f"n{i}" for i in range(rng.randint(3, 9))]
    reached = ["ground", "B+", "B-"]
    elements = [
        hand.source("B+", rng.choice((9.0, 22.0, 45.0)), 10.0 ** rng.uniform(-3.0, 3.0)),
        hand.source("B-", rng.choice((0.0, -9.0, -35.0)), 10.0 ** rng.uniform(-3.0, 2.0)),
    ]
    for node in nodes:
        for _ in range(rng.choice((1, 1, 2))):
            ohms = 10.0 ** rng.uniform(1.0, 6.0)
            elements.append(hand.resistor(f"R{len(elements)}", node, rng.choice(reached), ohms))
        reached.append(node)
    for number in range(rng.randint(1, 6)):
        legs = rng.sample(reached, 3)
        elements.append(device(rng, f"X{number}", legs))
    return hand.circuit(*elements, celsius=rng.choice((25.0, 25.0, 10.0, 60.0)))


def device(rng: random.Random, name: str, legs: list[str]) -> Element:
    kind = rng.choice(("npn", "pnp", "npn", "pnp", "germanium", "diode", "zener", "fet", "lamp",
                       "pot", "capacitor"))  # fmt: skip
    a, b, c = legs
    if kind in ("npn", "pnp"):
        return hand.silicon(name, a, b, c, pnp=kind == "pnp", gain=10.0 ** rng.uniform(1.0, 2.7))
    if kind == "germanium":
        return hand.germanium(name, a, b, c)
    if kind == "diode":
        return hand.junction(name, a, b, count=rng.randint(1, 3))
    if kind == "zener":
        return hand.junction(name, a, b, zener=rng.choice((3.3, 6.2, 12.0)))
    if kind == "fet":
        return hand.fet(name, a, b, c, p=rng.random() < 0.5, slope=0.01)
    if kind == "lamp":
        return Element(name, Device.LAMP, (a, b), (rng.choice((100.0, 470.0)), 6.3))
    if kind == "pot":
        return Element(name, Device.POT, (a, b, c), (10.0 ** rng.uniform(2.0, 6.0), rng.random()))
    return Element(name, Device.CAPACITOR, (a, b), (1e-6, OPEN, 0.0))


_FIELDS = {
    Device.RESISTOR: ("ohms", -4.0, 6.0),
    Device.LAMP: ("hot_ohms", -2.0, 4.0),
    Device.POT: ("ohms", -3.0, 4.0),
    Device.SOURCE: ("ohms", 0.0, 5.0),
    Device.BIPOLAR: ("gain", -2.0, 0.5),
    Device.JUNCTION: ("saturation", -3.0, 3.0),
    Device.JFET: ("idss", -2.0, 0.5),
    Device.CAPACITOR: ("leak", -9.0, 0.0),
    Device.COIL: ("ohms", -3.0, 6.0),
    Device.WINDING: ("ohms", -3.0, 6.0),
    Device.CURRENT: ("amps", -2.0, 1.0),
}
_LEAKS = {
    Device.BIPOLAR: ("cb_leak", "be_leak", "ce_leak"),
    Device.JFET: ("gs_leak", "gd_leak", "ds_leak"),
    Device.JUNCTION: ("leak",),
}


def fault(circuit: Circuit, rng: random.Random) -> Variation:
    """A value off, a leak, a joint, a lead on the wrong node, or a bridge."""
    element = rng.choice(circuit.elements)
    name, device = element.name, element.device
    lead = f"{name}.{rng.choice(TERMINALS[device])}"
    kind = rng.choice(("value", "leak", "joint", "joint", "move", "bridge", "meter"))
    if kind == "leak" and device in _LEAKS:
        ohms = 10.0 ** rng.uniform(-1.0, 7.0)
        return Variation(settings=((f"{name}.{rng.choice(_LEAKS[device])}", ohms),))
    if kind == "joint":
        return Variation(lifts=((lead, 10.0 ** rng.uniform(0.0, 12.0)),))
    if kind == "move":
        return Variation(moves=((lead, rng.choice(circuit.nodes)),))
    if kind == "bridge":
        a, b = rng.sample(("ground", *circuit.nodes), 2)
        return Variation(loads=(Load(a, b, 10.0 ** rng.uniform(-2.0, 6.0)),))
    if kind == "meter":
        return Variation(loads=(Load(rng.choice(circuit.nodes), "ground", 20e3, 1.5),))
    field, low, high = _FIELDS[device]
    return Variation(scales=((f"{name}.{field}", 10.0 ** rng.uniform(low, high)),))


def faults(circuit: Circuit, rng: random.Random, count: int) -> list[Variation]:
    """Singles and pairs."""
    drawn = []
    for _ in range(count):
        some = fault(circuit, rng)
        drawn.append(some.plus(fault(circuit, rng)) if rng.random() < 0.4 else some)
    return drawn
