"""Currents and junction volts from the readings alone, before any model is trusted."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from biaspredict.model.devices import Bipolar, Material, Polarity
from biaspredict.model.parts import CAPACITORS, Kind, Part
from biaspredict.model.readings import Quantity, Reading, Readings
from biaspredict.model.stage import GROUND, Meter, Stage
from biaspredict.predict.meters import meter_of, reading_sigma

UNEVEN = 2.0  # standard deviations of a node's current sum that are worth a line
VBE = {Material.SILICON: (0.50, 0.80), Material.GERMANIUM: (0.05, 0.40)}


@dataclass(frozen=True, slots=True)
class Current:
    """Amps through a resistor between two read points, from its first to its second node."""

    part: str
    amps: float
    sigma: float
    volts: float


@dataclass(frozen=True, slots=True)
class Junction:
    """Base to emitter volts, positive when conducting; usual: within what such a type shows."""

    part: str
    volts: float
    low: float
    high: float

    @property
    def usual(self) -> bool:
        return self.low <= self.volts <= self.high


@dataclass(frozen=True, slots=True)
class Balance:
    """Amps that flow into a node by its resistors beyond what its transistor can take.

    Negative: out of it. needed: least and most that the transistor's leg should take from
    the node (0, 0 where there is no transistor), by its other current and its gain.
    through: what else stands at the node and must carry the difference.
    """

    node: str
    amps: float
    sigma: float
    needed: tuple[float, float]
    leg: str
    through: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Clash:
    """Two readings of one node that differ by more than the meters allow: a joint between."""

    node: str
    first: Reading
    second: Reading


@dataclass(frozen=True, slots=True)
class Ledger:
    """What the readings say by Ohm's law and Kirchhoff's current law alone."""

    currents: tuple[Current, ...]
    junctions: tuple[Junction, ...]
    balances: tuple[Balance, ...]
    clashes: tuple[Clash, ...]


def ledger(stage: Stage, readings: Readings) -> Ledger:
    """Work out every current, V_BE and node balance that the volts readings determine."""
    read = _node_volts(readings)
    currents = tuple(_currents(stage, read))
    return Ledger(
        currents,
        tuple(_junctions(stage, read)),
        tuple(_balances(stage, read, currents, _drawn(readings))),
        tuple(_clashes(readings)),
    )


_Read = dict[str, tuple[float, float]]


def _node_volts(readings: Readings) -> _Read:
    """Node -> (volts, sigma). Repeated readings of one node are averaged by their accuracy; a
    node whose readings differ by more than that is left out."""
    clashing = {clash.node for clash in _clashes(readings)}
    sums: dict[str, tuple[float, float]] = {GROUND: (0.0, math.inf)}
    for reading in readings.as_found:
        if reading.quantity is not Quantity.VOLTS or reading.minus is not None:
            continue
        if reading.node in clashing:
            continue
        sigma = reading_sigma(reading, meter_of(reading, readings.meter))
        total, weight = sums.get(reading.node, (0.0, 0.0))
        part = 1.0 / max(sigma, 1e-6) ** 2
        sums[reading.node] = (total + reading.value * part, weight + part)
    return {
        node: (0.0, 0.0) if math.isinf(weight) else (total / weight, weight**-0.5)
        for node, (total, weight) in sums.items()
    }


def _currents(stage: Stage, read: _Read) -> Sequence[Current]:
    found = []
    for part in stage.parts:
        if part.kind is not Kind.RESISTOR or not part.now:
            continue
        a, b = part.nodes
        if a not in read or b not in read:
            continue
        volts = read[a][0] - read[b][0]
        amps = volts / part.now
        tolerance = stage.tolerance(part)
        share = (tolerance.minus + tolerance.plus) / 2 / math.sqrt(3)
        if part.measured is not None:
            share = 0.01
        sigma = math.hypot(amps * share, math.hypot(read[a][1], read[b][1]) / part.now)
        found.append(Current(part.ref, amps, sigma, volts))
    return found


def _junctions(stage: Stage, read: _Read) -> Sequence[Junction]:
    found = []
    for part in stage.parts:
        if not isinstance(part.device, Bipolar):
            continue
        base, emitter = part.node("base"), part.node("emitter")
        if base in read and emitter in read and base != emitter:
            sign = 1.0 if part.device.polarity is Polarity.NPN else -1.0
            low, high = VBE[part.device.material]
            volts = sign * (read[base][0] - read[emitter][0])
            found.append(Junction(part.ref, volts, low, high))
    return found


def _drawn(readings: Readings) -> Mapping[str, float]:
    """Amps that the meter takes out of each node while it is read."""
    found: dict[str, float] = {}
    for reading in readings.as_found:
        if reading.quantity is Quantity.VOLTS and reading.minus is None:
            meter = meter_of(reading, readings.meter)
            ohms = meter.input_ohms(reading.value, reading.range_volts)
            found[reading.node] = reading.value / ohms
    return found


def _balances(
    stage: Stage, read: _Read, currents: Sequence[Current], drawn: Mapping[str, float]
) -> Sequence[Balance]:
    """Nodes whose resistor currents are all known and do not add up."""
    known = {c.part: c for c in currents}
    sums = {node: _resistor_sum(stage, node, known) for node in read if _free(stage, node)}
    found = []
    for node, total in sums.items():
        if total is None:
            continue
        legs = [(p, t) for p, t in stage.at(node) if p.kind is Kind.TRANSISTOR]
        if len(legs) > 1:
            continue
        needed, leg = (0.0, 0.0), ""
        if legs:
            takes = _takes(*legs[0], sums)
            if takes is None:
                continue
            needed, leg = takes, f"{legs[0][0].ref}.{legs[0][1]}"
        amps, sigma = total
        left = amps - drawn.get(node, 0.0)
        beyond = max(needed[0] - left, left - needed[1], 0.0)
        if sigma > 0 and beyond > UNEVEN * sigma:
            through = tuple(p.ref for p, _ in stage.at(node) if p.kind in CAPACITORS)
            found.append(Balance(node, amps, sigma, needed, leg, through))
    return found


def _free(stage: Stage, node: str) -> bool:
    """Nothing but resistors, capacitors and transistors meets there."""
    ports = {port.node for port in (*stage.inputs, *stage.outputs) if not port.blocked}
    if node == GROUND or node in ports or any(rail.name == node for rail in stage.rails):
        return False
    plain = (Kind.RESISTOR, Kind.TRANSISTOR, *CAPACITORS)
    meeting = [part for part, _ in stage.at(node)]
    return any(p.kind is Kind.RESISTOR for p in meeting) and all(p.kind in plain for p in meeting)


def _resistor_sum(
    stage: Stage, node: str, known: Mapping[str, Current]
) -> tuple[float, float] | None:
    """(amps into the node by its resistors, sigma), None where one of them is not known."""
    amps, variance = 0.0, 0.0
    for part, _ in stage.at(node):
        if part.kind is Kind.RESISTOR:
            if part.ref not in known:
                return None
            amps += _into(part, node, known[part.ref].amps)
            variance += known[part.ref].sigma ** 2
    return amps, math.sqrt(variance)


def _takes(
    part: Part, leg: str, sums: Mapping[str, tuple[float, float] | None]
) -> tuple[float, float] | None:
    """Least and most amps that a leg takes from its node, by another leg's known current."""
    device = part.device
    if not isinstance(device, Bipolar):
        return None
    sign = 1.0 if device.polarity is Polarity.NPN else -1.0
    other = sums.get(part.node("collector" if leg == "emitter" else "emitter"))
    if other is None:
        return None
    amps, sigma = abs(other[0]), 2.0 * other[1]
    least, most = max(amps - sigma, 0.0), amps + sigma
    if leg == "base":
        low, high = least / (device.gain.high + 1.0) - 2 * device.icbo, most / device.gain.low
    elif leg == "collector":
        low, high = least * device.gain.low / (device.gain.low + 1.0), most
    else:
        low, high = least, most * (1.0 + 1.0 / device.gain.low)
        sign = -sign
    return (sign * low, sign * high) if sign > 0 else (sign * high, sign * low)


def _into(part: Part, node: str, amps: float) -> float:
    if part.nodes[0] == part.nodes[1]:
        return 0.0
    return amps if part.nodes[1] == node else -amps


def _clashes(readings: Readings) -> Sequence[Clash]:
    by_node: dict[str, list[Reading]] = {}
    for reading in readings.as_found:
        if reading.quantity is Quantity.VOLTS and reading.minus is None:
            by_node.setdefault(reading.node, []).append(reading)
    found = []
    for node, entries in by_node.items():
        first = entries[0]
        found += [
            Clash(node, first, second)
            for second in entries[1:] if conflict(first, second, readings.meter)
        ]
    return found


def conflict(first: Reading, second: Reading, meter: Meter) -> bool:
    """Two readings of one place that differ by more than their meters allow."""
    error = math.hypot(
        reading_sigma(first, meter_of(first, meter)),
        reading_sigma(second, meter_of(second, meter)),
    )
    return abs(first.value - second.value) > 4.0 * error
