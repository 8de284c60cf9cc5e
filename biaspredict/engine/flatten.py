"""A stage as the circuit an engine solves."""

from __future__ import annotations

import math
from collections.abc import Callable

from biaspredict.errors import InputError
from biaspredict.model.circuit import CLOSED, OPEN, Circuit, Device, Element
from biaspredict.model.devices import (
    KELVIN,
    REFERENCE_CELSIUS,
    Bipolar,
    Channel,
    Diode,
    Fet,
    Lamp,
    Material,
    Polarity,
    Size,
    Thermistor,
    Zener,
    generic_diode,
    thermal_volts,
)
from biaspredict.model.parts import Kind, Part
from biaspredict.model.stage import GROUND, Pin, Port, Stage

# Effective gap that carries the temperature law of the saturation current, in volts: with the
# band's 1.12 and 0.66 V alone a junction falls too slowly (common practice, no source).
GAPS = {Material.SILICON: 1.20, Material.GERMANIUM: 0.74}
BOX_VOLTS = 0.5  # below which a box's current falls off
NO_AMPS = 1e-12  # of a box that is switched off
MIDWAY = 0.5  # where a pot stands that nobody has looked at

Values = tuple[float, ...]


def flatten(stage: Stage, *, powered: bool = True) -> Circuit:
    """The circuit of a stage, junctions at the stage's temperature.

    Elements are named as their parts, rails and pins; a zener adds "Z1.slope" between the
    node "Z1 (slope)" and its cathode; ports add "input NODE" and "load NODE". With `powered`
    False rails carry 0 V behind what they measure to ground when off, and pins carry nothing.
    Raises InputError for a part without the value or the device it needs.
    """
    nodes = [node for node in stage.nodes if node != GROUND]
    elements: list[Element] = []
    for part in stage.parts:
        if part.kind is Kind.ZENER:
            nodes.append(f"{part.ref} (slope)")
            elements.extend(_zener(part))
        else:
            elements.append(_part(part, stage.assumptions.temperature))
    for rail in stage.rails:
        volts, ohms = (rail.volts, rail.ohms) if powered else (0.0, _given(rail.off_ohms, OPEN))
        elements.append(Element(rail.name, Device.SOURCE, (rail.name,), (volts, _joint(ohms))))
    for pin in stage.pins:
        if pin.volts is not None:
            held = (pin.volts, _joint(pin.ohms)) if powered else (0.0, OPEN)
            elements.append(Element(pin.name, Device.SOURCE, (pin.node,), held))
        else:
            elements.append(_box(stage, pin, powered))
    for port in stage.inputs:
        if carries_current(port):
            ohms = _joint(_given(port.ohms, OPEN))
            name = f"input {port.node}"
            elements.append(Element(name, Device.SOURCE, (port.node,), (0.0, ohms)))
    for port in stage.outputs:
        if carries_current(port):
            ohms = _joint(_given(port.ohms, OPEN))
            ends = (port.node, GROUND)
            elements.append(Element(f"load {port.node}", Device.RESISTOR, ends, (ohms,)))
    return Circuit(tuple(nodes), tuple(elements), stage.assumptions.temperature)


def carries_current(port: Port) -> bool:
    """Whether a port gives direct current a path to ground."""
    return port.ohms is not None and not port.blocked


def _given(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def _joint(ohms: float) -> float:
    """No path conducts better than a sound joint."""
    return max(ohms, CLOSED)


def pin_quantity(stage: Stage, pin: Pin) -> str:
    """The field of a pin's element that carries what the sheet says of it."""
    if pin.volts is not None:
        return "volts"
    return "idss" if _sinking(stage, pin) else "amps"


def _sinking(stage: Stage, pin: Pin) -> bool:
    """Whether a box draws its current out of a supply of the sign that makes it flow."""
    signs = {rail.volts > 0 for rail in stage.rails}
    return signs == {pin.amps > 0}


def _box(stage: Stage, pin: Pin, powered: bool) -> Element:
    """A box that draws a current draws it only while there are volts to draw it by.

    So it is a channel that saturates within half a volt; where the supply's sign does not
    tell which way the volts will stand, it is an ideal current.
    """
    if not _sinking(stage, pin):
        drawn = (pin.amps if powered else 0.0,)
        return Element(pin.name, Device.CURRENT, (pin.node, GROUND), drawn)
    sign = 1.0 if pin.amps > 0 else -1.0
    amps = abs(pin.amps) if powered else NO_AMPS
    values = (sign, amps, BOX_VOLTS, 0.0, OPEN, OPEN, OPEN)
    return Element(pin.name, Device.JFET, (pin.node, GROUND, GROUND), values)


def _part(part: Part, celsius: float) -> Element:
    device, values = _VALUES[part.kind](part, celsius)
    return Element(part.ref, device, part.nodes, values)


def _now(part: Part) -> float:
    value = part.now
    if value is None or not math.isfinite(value):
        raise InputError(
            f"{part.ref} has no value",
            remedy=f"write the value of {part.ref} behind its name",
            place=part.origin,
        )
    return value


def _lacks(part: Part, what: str) -> InputError:
    return InputError(
        f"{part.ref} is not described as a {what}",
        remedy=f"declare what {part.ref} is on a line of its own",
        place=part.origin,
    )


def _resistor(part: Part, celsius: float) -> tuple[Device, Values]:
    return Device.RESISTOR, (_joint(_now(part)),)


def _capacitor(part: Part, celsius: float) -> tuple[Device, Values]:
    return Device.CAPACITOR, (_now(part), OPEN, 0.0)


def _coil(part: Part, celsius: float) -> tuple[Device, Values]:
    return Device.COIL, (_joint(_given(part.ohms, 0.0)), _given(part.now, 0.0))


def _winding(part: Part, celsius: float) -> tuple[Device, Values]:
    rms, hertz = _given(part.volts, 0.0), _given(part.hertz, 0.0)
    return Device.WINDING, (_joint(_given(part.ohms, 0.0)), rms, hertz)


def _pot(part: Part, celsius: float) -> tuple[Device, Values]:
    return Device.POT, (_joint(_now(part)), _given(part.turn, MIDWAY))


def _joined(part: Part, celsius: float) -> tuple[Device, Values]:
    """Fuse, switch or contact; `closed` is False only for an open switch."""
    return Device.RESISTOR, (_joint(_given(part.now, CLOSED)) if part.closed else OPEN,)


def _thermistor(part: Part, celsius: float) -> tuple[Device, Values]:
    """R = R25 exp(beta (1/T - 1/T25)), the beta law (common practice, no source)."""
    if not isinstance(part.device, Thermistor):
        raise _lacks(part, "thermistor")
    inverse = 1.0 / (celsius + KELVIN) - 1.0 / (REFERENCE_CELSIUS + KELVIN)
    return Device.RESISTOR, (_joint(_now(part) * math.exp(part.device.beta * inverse)),)


def _lamp(part: Part, celsius: float) -> tuple[Device, Values]:
    if not isinstance(part.device, Lamp):
        raise _lacks(part, "lamp")
    return Device.LAMP, (part.device.volts / part.device.amps, part.device.volts)


def saturation(amps: float, drop: float) -> float:
    """Saturation current at 25 C of a junction that drops `drop` volts at `amps`."""
    return amps / math.expm1(drop / thermal_volts(REFERENCE_CELSIUS))


def _diode(part: Part, celsius: float) -> tuple[Device, Values]:
    """k junctions in one body share the current: k times the ideality, k times the gap."""
    if not isinstance(part.device, Diode):
        raise _lacks(part, "diode")
    diode, k = part.device, float(part.device.junctions)
    sat = saturation(diode.drop_amps, diode.drop)
    gap = k * GAPS[diode.material]
    return Device.JUNCTION, (sat, k, gap, math.inf, diode.drop_amps, OPEN)


def _zener(part: Part) -> tuple[Element, Element]:
    """The junction, and what its slope lacks to the stated ohms at the stated current."""
    if not isinstance(part.device, Zener):
        raise _lacks(part, "zener")
    zener, forward = part.device, generic_diode(Material.SILICON, Size.SMALL)
    # The breakdown branch is an exponential: it contributes Vt/I to the slope by itself.
    slope = _joint(zener.ohms - thermal_volts(REFERENCE_CELSIUS) / zener.amps)
    volts = zener.volts - slope * zener.amps
    anode, cathode = part.nodes
    inner = f"{part.ref} (slope)"
    sat = saturation(forward.drop_amps, forward.drop)
    values = (sat, 1.0, GAPS[Material.SILICON], volts, zener.amps, OPEN)
    return (
        Element(part.ref, Device.JUNCTION, (anode, inner), values),
        Element(f"{part.ref}.slope", Device.RESISTOR, (inner, cathode), (slope,)),
    )


def _transistor(part: Part, celsius: float) -> tuple[Device, Values]:
    if not isinstance(part.device, Bipolar):
        raise _lacks(part, "transistor")
    bipolar = part.device
    return Device.BIPOLAR, (
        1.0 if bipolar.polarity is Polarity.NPN else -1.0,
        saturation(bipolar.vbe_amps, bipolar.vbe),
        bipolar.gain.middle,
        bipolar.reverse_gain,
        math.inf if bipolar.early is None else bipolar.early,
        bipolar.icbo,
        GAPS[bipolar.material],
        OPEN,
        OPEN,
        OPEN,
    )


def _fet(part: Part, celsius: float) -> tuple[Device, Values]:
    """Flat drain curves: sheets of the time state no output conductance."""
    if not isinstance(part.device, Fet):
        raise _lacks(part, "FET")
    fet = part.device
    sign = 1.0 if fet.channel is Channel.N else -1.0
    return Device.JFET, (sign, fet.idss.middle, fet.pinch_off.middle, 0.0, OPEN, OPEN, OPEN)


_VALUES: dict[Kind, Callable[[Part, float], tuple[Device, Values]]] = {
    Kind.RESISTOR: _resistor,
    Kind.CAPACITOR: _capacitor,
    Kind.ELECTROLYTIC: _capacitor,
    Kind.COIL: _coil,
    Kind.WINDING: _winding,
    Kind.DIODE: _diode,
    Kind.TRANSISTOR: _transistor,
    Kind.FET: _fet,
    Kind.POT: _pot,
    Kind.TRIMMER: _pot,
    Kind.LAMP: _lamp,
    Kind.FUSE: _joined,
    Kind.SWITCH: _joined,
    Kind.CONTACT: _joined,
    Kind.THERMISTOR: _thermistor,
}
