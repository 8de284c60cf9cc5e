"""The circuit an engine solves: elements with numbered fields, and variations of it.

A stage is flattened to this once; every fault, tolerance draw, joint, meter load and slip of
the pen is a `Variation` of it, so that an engine keeps one circuit loaded.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import Enum

OPEN = 1e12  # ohms that stand for no connection
CLOSED = 1e-3  # ohms that stand for a sound joint
GMIN = 1e-12  # siemens across every junction


class Device(Enum):
    RESISTOR = "resistor"
    CAPACITOR = "capacitor"
    COIL = "coil"
    POT = "pot"
    JUNCTION = "junction"
    BIPOLAR = "bipolar"
    JFET = "jfet"
    LAMP = "lamp"
    SOURCE = "source"
    CURRENT = "current"
    WINDING = "winding"


FIELDS: dict[Device, tuple[str, ...]] = {
    Device.RESISTOR: ("ohms",),
    Device.CAPACITOR: ("farads", "leak", "series"),
    Device.COIL: ("ohms", "henries"),
    Device.POT: ("ohms", "turn"),
    Device.JUNCTION: ("saturation", "ideality", "gap", "zener_volts", "zener_amps", "leak"),
    Device.BIPOLAR: (
        "polarity",
        "saturation",
        "gain",
        "reverse_gain",
        "early",
        "icbo",
        "gap",
        "cb_leak",
        "be_leak",
        "ce_leak",
    ),
    Device.JFET: ("polarity", "idss", "pinch_off", "lambda", "gs_leak", "gd_leak", "ds_leak"),
    Device.LAMP: ("hot_ohms", "volts"),
    Device.SOURCE: ("volts", "ohms"),
    Device.CURRENT: ("amps",),
    Device.WINDING: ("ohms", "rms", "hertz"),
}

TERMINALS: dict[Device, tuple[str, ...]] = {
    Device.RESISTOR: ("1", "2"),
    Device.CAPACITOR: ("plus", "minus"),
    Device.COIL: ("1", "2"),
    Device.POT: ("top", "wiper", "bottom"),
    Device.JUNCTION: ("anode", "cathode"),
    Device.BIPOLAR: ("collector", "base", "emitter"),
    Device.JFET: ("drain", "gate", "source"),
    Device.LAMP: ("1", "2"),
    Device.SOURCE: ("1",),
    Device.CURRENT: ("1", "2"),
    Device.WINDING: ("1", "2"),
}


@dataclass(frozen=True, slots=True)
class Element:
    """One element: name, device, node of each terminal, value of each field."""

    name: str
    device: Device
    nodes: tuple[str, ...]
    values: tuple[float, ...]

    def value(self, name: str) -> float:
        return self.values[FIELDS[self.device].index(name)]


@dataclass(frozen=True, slots=True)
class Circuit:
    """nodes: every node but ground, in a fixed order; celsius: temperature of all junctions."""

    nodes: tuple[str, ...]
    elements: tuple[Element, ...]
    celsius: float = 25.0
    _index: Mapping[str, int] = field(default_factory=dict, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_index", {e.name: i for i, e in enumerate(self.elements)})

    def element(self, name: str) -> Element:
        return self.elements[self._index[name]]

    def value(self, parameter: str) -> float:
        """Value of "element.field", or of "temperature" (celsius)."""
        if parameter == "temperature":
            return self.celsius
        name, _, what = parameter.rpartition(".")
        return self.element(name).value(what)


@dataclass(frozen=True, slots=True)
class Load:
    """A branch added between two nodes: `volts` (plus towards a) behind `ohms`.

    A meter, a bridging residue, an ohmmeter's lead, a resistor put across by hand.
    """

    a: str
    b: str
    ohms: float
    volts: float = 0.0


@dataclass(frozen=True, slots=True)
class Variation:
    """What differs from the circuit as flattened.

    settings: (parameter, new value); scales: (parameter, factor).
    lifts: ("element.terminal", ohms): that lead stands behind `ohms`, a joint.
    moves: ("element.terminal", node): that lead goes to another node.
    loads: branches added.
    """

    settings: tuple[tuple[str, float], ...] = ()
    scales: tuple[tuple[str, float], ...] = ()
    lifts: tuple[tuple[str, float], ...] = ()
    moves: tuple[tuple[str, str], ...] = ()
    loads: tuple[Load, ...] = ()

    def plus(self, other: Variation) -> Variation:
        """Both at once; settings of `other` win over those of self."""
        return Variation(
            self.settings + other.settings,
            self.scales + other.scales,
            self.lifts + other.lifts,
            self.moves + other.moves,
            self.loads + other.loads,
        )


SOUND = Variation()


@dataclass(frozen=True, slots=True)
class Axis:
    """A direction in which a sound specimen differs from the nominal one.

    An amount x multiplies the parameter by exp(x), or (additive) is added to it.
    sigma: standard deviation of x over sound specimens.
    parameters: one latent quantity may move several parameters (one batch, one rail).
    limits: where specimens lie evenly between two limits, the least and most factor (or
        addition); None: they are spread normally.
    also: (parameter, so much is added to it per unit of the amount): what was set otherwise
        because this specimen differs.
    """

    parameters: tuple[str, ...]
    sigma: float
    additive: bool = False
    name: str = ""
    limits: tuple[float, float] | None = None
    also: tuple[tuple[str, float], ...] = ()


def lifted(circuit: Circuit, lifts: tuple[tuple[str, float], ...]) -> Circuit:
    """The circuit with each named lead behind a resistor and a node of its own.

    The new node is called "element.terminal (lead)", the resistor "element.terminal".
    """
    elements = list(circuit.elements)
    nodes = list(circuit.nodes)
    for lead, ohms in lifts:
        name, _, terminal = lead.rpartition(".")
        place = circuit._index[name]
        element = elements[place]
        which = TERMINALS[element.device].index(terminal)
        spare = f"{lead} (lead)"
        nodes.append(spare)
        elements.append(Element(lead, Device.RESISTOR, (spare, element.nodes[which]), (ohms,)))
        legs = (*element.nodes[:which], spare, *element.nodes[which + 1 :])
        elements[place] = replace(element, nodes=legs)
    return Circuit(tuple(nodes), tuple(elements), circuit.celsius)
