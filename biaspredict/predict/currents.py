"""Currents and dissipation of every part, from the node volts.

A resistor tells its current by Ohm's law. What is left is settled by the balance of currents at
every node and through every part, wherever that has one answer; it needs no model of any
transistor. Only then the laws of the devices are asked.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.flatten import flatten
from biaspredict.engine.junctions import channel, exponential, filament
from biaspredict.engine.values import GATE_SATURATION, device_at
from biaspredict.model.circuit import FIELDS, Circuit, Device, Element
from biaspredict.model.devices import thermal_volts
from biaspredict.model.parts import Kind
from biaspredict.model.stage import GROUND, Stage

# Below this a resistance drops too little for its current to be told from its volts.
LEAST_OHMS = 0.1
MOST_VOLTS = 1e6  # no reading and no solution; taken as not known
_SAME = 1e-7  # share of a free current in an answer below which the answer is the only one


class Told(Enum):
    """How a current was found."""

    OHM = "Ohm's law"
    BALANCE = "the currents around it"
    MODEL = "the model of the part"
    BLOCKED = "a capacitor passes no DC"


@dataclass(frozen=True, slots=True)
class Flow:
    """Currents of one part.

    amps: into the part at each of its terminals, in the order of `Part.terminals`.
    watts: turned into heat; None where the volts at a terminal are not known.
    """

    ref: str
    amps: tuple[float, ...]
    watts: float | None
    told: Told


@dataclass(frozen=True, slots=True)
class Flows:
    """parts: reference -> Flow; a part whose current nothing tells is left out.

    rails: rail name -> amps that the stage draws from it (negative: gives back).
    leads: lead name ("R1.1", "Q1.collector") -> amps into the part there.
    """

    parts: Mapping[str, Flow]
    rails: Mapping[str, float]
    leads: Mapping[str, float]


def currents(stage: Stage, volts: Mapping[str, float]) -> Flows:
    """Every current that the node volts tell, in amperes, with the stage's present values.

    volts: node -> volts to ground; ground may be left out, and so may any node that is not
    known. Inner nodes of parts are used where given. Raises InputError for a part without a
    value, as `flatten` does.
    """
    circuit = flatten(stage)
    known = usable(volts)
    found = _by_ohm(circuit, known)
    told = {
        e.name: Told.BLOCKED if e.device is Device.CAPACITOR else Told.OHM
        for e in circuit.elements
        if e.name in found
    }
    for settle, how in (
        (_by_balance, Told.BALANCE),
        (_by_model, Told.MODEL),
        (_by_balance, Told.BALANCE),
    ):
        more = settle(circuit, known, found)
        found.update(more)
        told.update(dict.fromkeys(more, how))
    return _gathered(stage, known, found, told)


def usable(volts: Mapping[str, float]) -> dict[str, float]:
    """The volts that are numbers of a possible size, with ground."""
    return {node: v for node, v in volts.items() if abs(v) < MOST_VOLTS} | {GROUND: 0.0}


Amps = tuple[float, ...]


def _by_ohm(circuit: Circuit, volts: Mapping[str, float]) -> dict[str, Amps]:
    found: dict[str, Amps] = {}
    for element in circuit.elements:
        if element.device is Device.CAPACITOR:
            found[element.name] = (0.0, 0.0)
        elif element.device is Device.CURRENT:
            found[element.name] = (element.value("amps"), -element.value("amps"))
        elif all(node in volts for node in element.nodes):
            amps = _ohm(element, [volts[node] for node in element.nodes])
            if amps is not None:
                found[element.name] = amps
    return found


def _ohm(element: Element, volts: list[float]) -> Amps | None:
    if element.device is Device.POT:
        total, turn = element.values
        upper, lower = total * (1.0 - turn), total * turn
        if min(upper, lower) < LEAST_OHMS:
            return None
        top, bottom = (volts[0] - volts[1]) / upper, (volts[2] - volts[1]) / lower
        return top, -top - bottom, bottom
    if element.device is Device.SOURCE:
        ohms = element.value("ohms")
        return ((volts[0] - element.value("volts")) / ohms,) if ohms >= LEAST_OHMS else None
    if element.device in (Device.RESISTOR, Device.COIL, Device.WINDING):
        ohms = element.value("ohms")
        amps = (volts[0] - volts[1]) / ohms
        return (amps, -amps) if ohms >= LEAST_OHMS else None
    return None


def _by_balance(
    circuit: Circuit, _volts: Mapping[str, float], found: Mapping[str, Amps]
) -> dict[str, Amps]:
    """Currents for which the balances of nodes and parts have one answer."""
    unknown = [element for element in circuit.elements if element.name not in found]
    place = {
        (element.name, lead): column
        for column, (element, lead) in enumerate(
            (element, lead) for element in unknown for lead in range(len(element.nodes))
        )
    }
    if not place:
        return {}
    node_row = {node: row for row, node in enumerate(circuit.nodes)}
    rows = len(node_row) + len(unknown)
    matrix, right = np.zeros((rows, len(place))), np.zeros(rows)
    for element in circuit.elements:
        for lead, node in enumerate(element.nodes):
            if node == GROUND:
                continue
            if element.name in found:
                right[node_row[node]] -= found[element.name][lead]
            else:
                matrix[node_row[node], place[element.name, lead]] += 1.0
    for row, element in enumerate(unknown, len(node_row)):
        if element.device is not Device.SOURCE:  # its other end is ground
            for lead in range(len(element.nodes)):
                matrix[row, place[element.name, lead]] = 1.0
    answer, free = _solve(matrix, right)
    settled = {}
    for element in unknown:
        columns = [place[element.name, lead] for lead in range(len(element.nodes))]
        if not any(free[column] for column in columns):
            settled[element.name] = tuple(float(answer[column]) for column in columns)
    return settled


def _solve(
    matrix: NDArray[np.float64], right: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """An answer (n,), and which of its numbers the equations leave free (n,)."""
    left, sizes, rows = np.linalg.svd(matrix)
    rank = int((sizes > 1e-9 * max(float(sizes.max(initial=0.0)), 1.0)).sum())
    answer = rows[:rank].T @ ((left.T @ right)[:rank] / sizes[:rank])
    free = np.abs(rows[rank:]).max(axis=0, initial=0.0) > _SAME
    return answer, free


def _by_model(
    circuit: Circuit, volts: Mapping[str, float], found: Mapping[str, Amps]
) -> dict[str, Amps]:
    """Currents by the laws of the devices, the same as the engines solve."""
    settled: dict[str, Amps] = {}
    for element in circuit.elements:
        if element.name in found or not all(node in volts for node in element.nodes):
            continue
        law = _LAWS.get(element.device)
        if law is not None:
            values = device_at(element, element.values, circuit.celsius)
            field = dict(zip(FIELDS[element.device], values, strict=True))
            amps = law(field, [volts[node] for node in element.nodes], circuit.celsius)
            if all(math.isfinite(a) for a in amps):
                settled[element.name] = amps
    return settled


Field = Mapping[str, float]


def _rise(volts: float, thermal: float) -> float:
    return float(exponential(np.array([volts / thermal]))[0][0])


def _bipolar(field: Field, volts: list[float], celsius: float) -> Amps:
    """Gummel-Poon with an Early voltage and a leak of the collector junction."""
    sign, thermal = field["polarity"], thermal_volts(celsius)
    to_emitter, to_collector = sign * (volts[1] - volts[2]), sign * (volts[1] - volts[0])
    forward = field["saturation"] * _rise(to_emitter, thermal)
    back = field["saturation"] * _rise(to_collector, thermal)
    leak = field["icbo"] * _rise(to_collector, 2.0 * thermal)
    bent = 1.0 - to_collector / field["early"]
    collector = (forward - back) * bent - back / field["reverse_gain"] - leak
    base = forward / field["gain"] + back / field["reverse_gain"] + leak
    return sign * collector, sign * base, -sign * (collector + base)


def _junction(field: Field, volts: list[float], celsius: float) -> Amps:
    """A diode below breakdown; a zener's current is told by its slope."""
    across = volts[0] - volts[1]
    if across < -field["zener_volts"] / 2:
        return math.nan, math.nan
    amps = field["saturation"] * _rise(across, field["ideality"] * thermal_volts(celsius))
    return amps, -amps


def _fet(field: Field, volts: list[float], celsius: float) -> Amps:
    sign, thermal = field["polarity"], thermal_volts(celsius)
    gate, across = sign * (volts[1] - volts[2]), sign * (volts[0] - volts[2])
    beta = field["idss"] / field["pinch_off"] ** 2
    numbers = (np.array(x) for x in (gate, across, beta, field["pinch_off"], field["lambda"]))
    drain = float(channel(*numbers)[0])
    into_source = GATE_SATURATION * _rise(gate, thermal)
    into_drain = GATE_SATURATION * _rise(gate - across, thermal)
    return (
        sign * (drain - into_drain),
        sign * (into_source + into_drain),
        sign * (-drain - into_source),
    )


def _lamp(field: Field, volts: list[float], _celsius: float) -> Amps:
    across, hot, rated = (np.array(x) for x in (volts[0] - volts[1], *field.values()))
    amps = float(filament(across, hot, rated)[0])
    return amps, -amps


_LAWS = {
    Device.BIPOLAR: _bipolar,
    Device.JUNCTION: _junction,
    Device.JFET: _fet,
    Device.LAMP: _lamp,
}


def _gathered(
    stage: Stage,
    volts: Mapping[str, float],
    found: Mapping[str, Amps],
    told: Mapping[str, Told],
) -> Flows:
    parts: dict[str, Flow] = {}
    leads: dict[str, float] = {}
    for part in stage.parts:
        name = part.ref
        if part.kind is Kind.ZENER and f"{name}.slope" in found:
            name = f"{name}.slope"  # in series with the junction, and told more simply
        amps = found.get(name)
        if amps is None:
            continue
        watts = None
        if all(node in volts for node in part.nodes):
            watts = sum(a * volts[node] for a, node in zip(amps, part.nodes, strict=True))
        parts[part.ref] = Flow(part.ref, amps, watts, told[name])
        leads.update(
            (f"{part.ref}.{terminal}", a) for terminal, a in zip(part.terminals, amps, strict=True)
        )
    rails = {rail.name: -found[rail.name][0] for rail in stage.rails if rail.name in found}
    return Flows(parts, rails, leads)
