"""Currents and junction volts from the readings alone, before any model is trusted."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from biaspredict.model.devices import Bipolar, Material, Polarity
from biaspredict.model.parts import Kind, Part
from biaspredict.model.readings import Quantity, Reading, Readings
from biaspredict.model.stage import GROUND, Stage
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
    """Amps that flow into a node by its resistors and out of no known part.

    through: what else stands at the node and must carry the difference.
    """

    node: str
    amps: float
    sigma: float
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
        tuple(_balances(stage, read, currents)),
        tuple(_clashes(readings)),
    )


_Read = dict[str, tuple[float, float]]


def _node_volts(readings: Readings) -> _Read:
    """Node -> (volts, sigma); repeated readings of one node are averaged by their accuracy."""
    sums: dict[str, tuple[float, float]] = {GROUND: (0.0, math.inf)}
    for reading in readings.entries:
        if reading.quantity is not Quantity.VOLTS or reading.minus is not None:
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


def _balances(stage: Stage, read: _Read, currents: Sequence[Current]) -> Sequence[Balance]:
    """Nodes whose resistors all have known currents, and whose sum is not carried by a rail."""
    known = {c.part: c for c in currents}
    rails = {rail.name for rail in stage.rails}
    ports = {port.node for port in (*stage.inputs, *stage.outputs) if not port.blocked}
    found = []
    for node in read:
        if node == GROUND or node in rails or node in ports:
            continue
        meeting = stage.at(node)
        resistors = [p for p, _ in meeting if p.kind is Kind.RESISTOR]
        if not resistors or any(p.ref not in known for p in resistors):
            continue
        if any(p.kind not in (Kind.RESISTOR, Kind.CAPACITOR, Kind.ELECTROLYTIC, Kind.TRANSISTOR)
               for p, _ in meeting):
            continue
        amps = sum(_into(p, node, known[p.ref].amps) for p in resistors)
        sigma = math.sqrt(sum(known[p.ref].sigma ** 2 for p in resistors))
        if sigma > 0 and abs(amps) > UNEVEN * sigma:
            through = tuple(
                f"{p.ref}.{t}" if p.kind is Kind.TRANSISTOR else p.ref
                for p, t in meeting if p.kind is not Kind.RESISTOR
            )
            found.append(Balance(node, amps, sigma, through))
    return found


def _into(part: Part, node: str, amps: float) -> float:
    if part.nodes[0] == part.nodes[1]:
        return 0.0
    return amps if part.nodes[1] == node else -amps


def _clashes(readings: Readings) -> Sequence[Clash]:
    by_node: dict[str, list[Reading]] = {}
    for reading in readings.entries:
        if reading.quantity is Quantity.VOLTS and reading.minus is None:
            by_node.setdefault(reading.node, []).append(reading)
    found = []
    for node, entries in by_node.items():
        first = entries[0]
        for second in entries[1:]:
            apart = abs(first.value - second.value)
            error = math.hypot(
                reading_sigma(first, meter_of(first, readings.meter)),
                reading_sigma(second, meter_of(second, readings.meter)),
            )
            if apart > 4.0 * error:
                found.append(Clash(node, first, second))
    return found
