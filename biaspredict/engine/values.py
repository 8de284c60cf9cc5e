"""From a circuit, a variation and a draw to the concrete values of every element.

Both engines take their numbers from the laws written here; this module works on one variation
at a time.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from biaspredict.model.circuit import (
    CLOSED,
    FIELDS,
    OPEN,
    TERMINALS,
    Axis,
    Circuit,
    Device,
    Element,
    Load,
    Variation,
    lifted,
)
from biaspredict.model.devices import KELVIN, REFERENCE_CELSIUS, thermal_volts
from biaspredict.model.stage import GROUND

MARGIN = 1.0  # volts a node may stand beyond the rails before a solve is not believed
# Where nothing but GMIN holds an end of a zener, GMIN across its breakdown branch, which a source
# biases by about its volts, works against three more: both junctions' leak, the shunt to ground.
IDLE_ZENER = 0.25
ZENER_SATURATION = 1e-15  # amps of the diode that stands for the breakdown of a junction
GATE_SATURATION = 1e-14  # amps, gate junctions of every JFET


def held(ohms: float) -> float:
    """A resistance no engine divides by zero with: between a sound joint and no connection."""
    return min(max(float(ohms), CLOSED), OPEN)


def applied(
    circuit: Circuit,
    variation: Variation,
    axes: Sequence[Axis] = (),
    amounts: Sequence[float] = (),
) -> Circuit:
    """The circuit with every value settled: settings, then scales, then the axes.

    Moves, lifts and loads are left to `rewired`. `amounts`: one number for each axis.
    A value beyond floating point becomes infinite; see `sensible`.
    """
    # Plain floats: numpy's own would reach ngspice as `np.float64(1.0)`.
    changes = {name: float(value) for name, value in variation.settings}
    for name, factor in variation.scales:
        changes[name] = _before(circuit, changes, name) * float(factor)
    for axis, amount in zip(axes, amounts, strict=True):
        for name in axis.parameters:
            value = _before(circuit, changes, name)
            changes[name] = value + float(amount) if axis.additive else value * _exp(amount)
    for axis, amount in zip(axes, amounts, strict=True):
        for name, per in axis.also:
            changes[name] = _before(circuit, changes, name) + per * float(amount)
    if not changes:
        return circuit
    celsius = changes.pop("temperature", circuit.celsius)
    fresh: dict[str, list[float]] = {}
    for name, value in changes.items():
        owner, _, what = name.rpartition(".")
        element = circuit.element(owner)
        values = fresh.setdefault(owner, list(element.values))
        values[FIELDS[element.device].index(what)] = value
    elements = tuple(
        replace(e, values=tuple(fresh[e.name])) if e.name in fresh else e for e in circuit.elements
    )
    return Circuit(circuit.nodes, elements, celsius)


def _before(circuit: Circuit, changes: Mapping[str, float], name: str) -> float:
    found = changes.get(name)
    return circuit.value(name) if found is None else found


def _exp(x: float) -> float:
    try:
        return math.exp(x)
    except OverflowError:
        return math.inf


def leads(variation: Variation) -> dict[str, float]:
    """Ohms in each lifted lead; two joints in one lead add up."""
    total: dict[str, float] = {}
    for lead, ohms in variation.lifts:
        total[lead] = total.get(lead, 0.0) + ohms
    return total


def moved(circuit: Circuit, moves: Sequence[tuple[str, str]]) -> Circuit:
    """The circuit with each named lead taken to another node; the last move of a lead counts."""
    goes: dict[str, dict[str, str]] = {}
    for lead, node in moves:
        name, _, terminal = lead.rpartition(".")
        circuit.element(name)
        goes.setdefault(name, {})[terminal] = node
    if not goes:
        return circuit
    return Circuit(
        circuit.nodes,
        tuple(_moved(e, goes[e.name]) if e.name in goes else e for e in circuit.elements),
        circuit.celsius,
    )


def _moved(element: Element, goes: Mapping[str, str]) -> Element:
    terminals = TERMINALS[element.device]
    legs = list(element.nodes)
    for terminal, node in goes.items():
        legs[terminals.index(terminal)] = node
    return replace(element, nodes=tuple(legs))


def rewired(circuit: Circuit, variation: Variation) -> Circuit:
    """The circuit with the variation's moves, then its lifts (a moved lead may stand lifted)."""
    return lifted(moved(circuit, variation.moves), tuple(leads(variation).items()))


def device_at(element: Element, values: Sequence[float], celsius: float) -> tuple[float, ...]:
    """The element's `values`, given at 25 C, at `celsius`.

    With T0 = 25 C in kelvin and Vt = kT/q:
    saturation(T) = saturation * exp((T/T0 - 1) * gap / (ideality * Vt)), ideality 1 in a
    transistor; gain(T) = gain * (T/T0)**1.5, reverse gain likewise; icbo(T) = icbo * 2**((t-25)/9).
    Source: the temperature model of the Gummel-Poon transistor (XTI 0, XTB 1.5 and EG the
    effective gap); germanium leakage doubles in 8 to 10 C (common practice, no source).
    """
    if celsius == REFERENCE_CELSIUS or element.device not in (Device.BIPOLAR, Device.JUNCTION):
        return tuple(values)
    field = dict(zip(FIELDS[element.device], values, strict=True))
    ratio = (celsius + KELVIN) / (REFERENCE_CELSIUS + KELVIN)
    slope = field.get("ideality", 1.0) * thermal_volts(celsius)
    field["saturation"] *= _exp((ratio - 1.0) * field["gap"] / slope)
    if element.device is Device.BIPOLAR:
        field["gain"] *= ratio**1.5
        field["reverse_gain"] *= ratio**1.5
        field["icbo"] *= _exp((celsius - REFERENCE_CELSIUS) / 9.0 * math.log(2.0))
    return tuple(field.values())


def breakdown_volts(zener_volts: float, zener_amps: float) -> float:
    """Volts of the source in series with the breakdown diode of a junction.

    Chosen so that the junction passes `zener_amps` at `zener_volts` (25 C) in reverse.
    """
    reference = thermal_volts(REFERENCE_CELSIUS)
    return zener_volts - reference * math.log(zener_amps / ZENER_SATURATION + 1.0)


def sensible(circuit: Circuit, variation: Variation, checked: Circuit | None = None) -> bool:
    """Whether every value means something; an engine is never fed anything else.

    Only an Early voltage and a breakdown voltage may be infinite (none). Elements that are the
    very ones of `checked` are taken as found good before.
    """
    if not (math.isfinite(circuit.celsius) and circuit.celsius > -KELVIN):
        return False
    if not all(0.0 <= ohms < math.inf for _, ohms in variation.lifts):
        return False
    for load in variation.loads:
        if not (0.0 <= load.ohms < math.inf and math.isfinite(load.volts)):
            return False
    if checked is None:
        return all(_sensible(e) for e in circuit.elements)
    pairs = zip(circuit.elements, checked.elements, strict=True)
    return all(e is known or _sensible(e) for e, known in pairs)


_ENDLESS = {Device.BIPOLAR: "early", Device.JUNCTION: "zener_volts"}
_SIGNED = {
    Device.SOURCE: ("volts",),
    Device.CURRENT: ("amps",),
    Device.BIPOLAR: ("polarity",),
    Device.JFET: ("polarity",),
}
_ABOVE_ZERO = {
    Device.BIPOLAR: ("saturation", "gain", "reverse_gain", "early"),
    Device.JUNCTION: ("saturation", "ideality"),
    Device.JFET: ("pinch_off",),
    Device.LAMP: ("hot_ohms", "volts"),
}


def _sensible(element: Element) -> bool:
    device = element.device
    for name, value in zip(FIELDS[device], element.values, strict=True):
        if value == math.inf and name == _ENDLESS.get(device):
            continue
        if not math.isfinite(value) or (value < 0.0 and name not in _SIGNED.get(device, ())):
            return False
        if value == 0.0 and name in _ABOVE_ZERO.get(device, ()):
            return False
    return True


def limits(circuit: Circuit, loads: Sequence[Load]) -> tuple[float, float]:
    """The volts between which every node of a DC solution must lie, margin included.

    A load to ground is a rail like any other; one between two nodes widens both ends, and so
    does a zener by IDLE_ZENER of its volts.
    """
    low, high, more = 0.0, 0.0, MARGIN
    for element in circuit.elements:
        if element.device is Device.SOURCE:
            low, high = min(low, element.values[0]), max(high, element.values[0])
        elif element.device is Device.JUNCTION and math.isfinite(element.value("zener_volts")):
            more += IDLE_ZENER * element.value("zener_volts")
    for load in loads:
        if GROUND in (load.a, load.b):
            volts = load.volts if load.b == GROUND else -load.volts
            low, high = min(low, volts), max(high, volts)
        else:
            more += abs(load.volts)
    return low - more, high + more
