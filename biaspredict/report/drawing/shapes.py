"""How much room each symbol needs. The art itself is in symbols.py."""

from __future__ import annotations

from biaspredict.model.devices import Bipolar, Channel, Fet, Polarity
from biaspredict.model.parts import CAPACITORS, POTS, Kind, Part

REACH = {
    Kind.RESISTOR: 0.62,
    Kind.THERMISTOR: 0.62,
    Kind.POT: 0.62,
    Kind.TRIMMER: 0.62,
    Kind.CAPACITOR: 0.34,
    Kind.ELECTROLYTIC: 0.34,
    Kind.COIL: 0.66,
    Kind.WINDING: 0.66,
    Kind.DIODE: 0.42,
    Kind.ZENER: 0.42,
    Kind.TRANSISTOR: 0.66,
    Kind.FET: 0.66,
    Kind.LAMP: 0.50,
    Kind.FUSE: 0.52,
    Kind.SWITCH: 0.52,
    Kind.CONTACT: 0.42,
}
"""From the middle of a part to the end of its lead, along the part."""

SIDE = 0.86
"""From the middle line of a transistor or pot to the end of its base, gate or wiper lead."""


def half_width(kind: Kind) -> float:
    """Half the size of the body across the part."""
    if kind in CAPACITORS:
        return 0.40
    if kind in (Kind.TRANSISTOR, Kind.FET):
        return 0.50
    if kind in POTS or kind is Kind.THERMISTOR:
        return 0.30
    if kind in (Kind.LAMP, Kind.ZENER):
        return 0.36
    return 0.24


def shape(part: Part) -> str:
    """The name of a part's symbol."""
    device = part.device
    if isinstance(device, Bipolar):
        return str(device.polarity.value)
    if isinstance(device, Fet):
        return str(device.channel.value)
    if part.kind is Kind.TRANSISTOR:
        return Polarity.NPN.value
    if part.kind is Kind.FET:
        return Channel.N.value
    if part.kind is Kind.SWITCH and part.closed:
        return "switch closed"
    return str(part.kind.value)


_SHAPES = {
    **{kind.value: kind for kind in Kind},
    **{polarity.value: Kind.TRANSISTOR for polarity in Polarity},
    **{channel.value: Kind.FET for channel in Channel},
    "switch closed": Kind.SWITCH,
}


def reach_of(shape: str) -> float:
    """REACH of a symbol by its name."""
    return REACH[_SHAPES[shape]]


def width_of(shape: str) -> float:
    """half_width of a symbol by its name."""
    return half_width(_SHAPES[shape])
