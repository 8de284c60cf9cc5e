"""Currents through rectifiers, windings and capacitors, and what each capacitor stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.engine.values import device_at
from biaspredict.graph.supply import Mains
from biaspredict.model.circuit import FIELDS, Circuit, Device, Element
from biaspredict.model.devices import thermal_volts
from biaspredict.model.parts import CAPACITORS, Part
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.steady import Steady

LEAST_OHMS = 0.1  # below, a resistance drops too little for its current to be told from its volts


@dataclass(frozen=True, slots=True)
class Rectifier:
    """peak, mean: amps forward; reverse: most volts that it blocks."""

    ref: str
    peak: float
    mean: float
    reverse: float


@dataclass(frozen=True, slots=True)
class Winding:
    """rms, peak: amps; fuse: reference of a fuse in its lead, or empty."""

    ref: str
    rms: float
    peak: float
    fuse: str = ""


@dataclass(frozen=True, slots=True)
class Stored:
    """What a capacitor stands, volts from its first terminal (plus) to the second.

    mean, lowest, highest: in use, ripple included. unloaded: highest with the line 10 % up and
    nothing drawing current; None where not looked at. ripple: volts peak to peak; amps: rms.
    """

    ref: str
    mean: float
    lowest: float
    highest: float
    unloaded: float | None
    ripple: float
    amps: float


def windings(stage: Stage, side: Mains, steady: Steady) -> tuple[Winding, ...]:
    """Currents of every winding of the mains side."""
    found = []
    for ref in side.windings:
        amps = steady.winding(ref)
        peak = float(np.abs(amps).max())
        found.append(Winding(ref, steady.rms(amps), peak, _fuse(stage, stage.part(ref))))
    return tuple(found)


def _fuse(stage: Stage, winding: Part) -> str:
    """A fuse at a lead of the winding where nothing else stands."""
    for node in winding.nodes:
        if node == GROUND:
            continue
        others = [part for part, _ in stage.at(node) if part is not winding]
        if len(others) == 1 and others[0].amps is not None:
            return others[0].ref
    return ""


def rectifiers(side: Mains, steady: Steady) -> tuple[Rectifier, ...]:
    """Currents of every rectifier between the mains side and what it feeds.

    What the windings push into a swinging node leaves it through the rectifiers there, outwards
    through those with their anode at it and inwards through those with their cathode.
    """
    circuit = steady.circuit
    amps: dict[str, Floats] = {
        ref: np.zeros_like(steady.seconds)
        for ref in side.rectifiers
        if _outward(circuit, side, ref)
    }
    for nodes in _joined(circuit, side):
        pushed = _pushed(circuit, steady, nodes)
        for lead, sign in ((0, 1.0), (1, -1.0)):
            some = [circuit.element(r) for r in amps if circuit.element(r).nodes[lead] in nodes]
            if not some:
                continue
            weights = np.array([_law(e, steady) for e in some])
            total = weights.sum(axis=0)
            share = np.divide(weights, total, out=np.zeros_like(weights), where=total > 0.0)
            flow = np.maximum(sign * pushed, 0.0)
            for element, part in zip(some, share, strict=True):
                amps[element.name] = flow * part
    found = []
    for ref, flow in amps.items():
        anode, cathode = circuit.element(ref).nodes
        reverse = float((-steady.across(anode, cathode)).max())
        found.append(Rectifier(ref, float(flow.max()), steady.mean(flow), max(reverse, 0.0)))
    return tuple(found)


def _outward(circuit: Circuit, side: Mains, ref: str) -> bool:
    swings = [node in side.swinging for node in circuit.element(ref).nodes]
    return swings.count(True) == 1


def _joined(circuit: Circuit, side: Mains) -> list[set[str]]:
    """Swinging nodes in sets that fuses and contacts make one."""
    sets = [{node} for node in circuit.nodes if node in side.swinging]
    for e in circuit.elements:
        if e.device is not Device.RESISTOR or e.value("ohms") >= LEAST_OHMS:
            continue
        met = [s for s in sets if not s.isdisjoint(e.nodes)]
        if len(met) == 2:
            sets.remove(met[1])
            met[0].update(met[1])
    return sets


def _pushed(circuit: Circuit, steady: Steady, nodes: set[str]) -> Floats:
    """(T,) amps that windings, resistors and capacitors push into a set of nodes."""
    total = np.zeros_like(steady.seconds)
    for e in circuit.elements:
        inside = [node in nodes for node in e.nodes]
        if inside.count(True) != 1 or len(e.nodes) != 2:
            continue
        sign = 1.0 if inside[0] else -1.0  # of what leaves terminal 1
        if e.device is Device.WINDING:
            total += sign * steady.winding(e.name)
        elif e.device in (Device.RESISTOR, Device.COIL):
            total -= sign * steady.across(*e.nodes) / max(e.value("ohms"), LEAST_OHMS)
        elif e.device is Device.CAPACITOR:
            total -= sign * charging(e, steady)
    return total


def charging(element: Element, steady: Steady) -> Floats:
    """(T,) amps into terminal 1 of a capacitor: C dv/dt, each over the step that ends there."""
    volts = steady.across(*element.nodes)
    slopes = np.diff(volts) / np.diff(steady.seconds)
    return np.asarray(element.value("farads") * np.append(slopes[0], slopes))


def _law(element: Element, steady: Steady) -> Floats:
    """(T,) forward amps of a diode by its law, used for shares alone."""
    values = device_at(element, element.values, steady.circuit.celsius)
    field = dict(zip(FIELDS[Device.JUNCTION], values, strict=True))
    slope = field["ideality"] * thermal_volts(steady.circuit.celsius)
    across = steady.across(*element.nodes)
    forward = field["saturation"] * np.expm1(np.clip(across / slope, -1.0, 200.0))
    return np.asarray(np.maximum(forward, 0.0))


def stored(stage: Stage, steady: Steady, unloaded: Steady | None) -> tuple[Stored, ...]:
    """What every capacitor of the stage stands."""
    found = []
    for part in stage.parts:
        if part.kind not in CAPACITORS:
            continue
        volts = steady.across(*part.nodes)
        most = None
        if unloaded is not None:
            more = unloaded.across(*part.nodes)
            most = float(more[np.abs(more).argmax()])
        element = steady.circuit.element(part.ref)
        amps = charging(element, steady)
        found.append(
            Stored(
                part.ref,
                steady.mean(volts),
                float(volts.min()),
                float(volts.max()),
                most,
                float(np.ptp(volts)),
                steady.rms(amps),
            )
        )
    return tuple(found)
