"""Volts that the wiring alone suggests, to order the nodes of a stage that is not solved.

Good for an order, never for a figure: transistors are taken as ideal (fixed base-emitter volts, no
base current), diodes as fixed drops, and whatever would conduct backwards is taken out again.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from biaspredict.model.devices import Bipolar, Channel, Fet, Polarity, Zener
from biaspredict.model.parts import CAPACITORS, POTS, Kind, Part
from biaspredict.model.stage import GROUND, Stage

USUAL_OHMS = 10e3  # where the sheet says nothing
JOINT_OHMS = 1.0  # below this a part counts as a joint, to keep the equations even
LOOSE = 1e-10  # siemens from each node to the middle of the rails
ROUNDS = 12
BACKWARDS = 1e-3  # milliamperes


@dataclass(frozen=True, slots=True)
class _Drop:
    """A fixed difference a - b of `volts`, the current running from `source` to `sink`."""

    ref: str
    a: str
    b: str
    volts: float
    source: str
    sink: str
    base: str = ""


BASE_SHARE = 0.01  # of the collector current


def guess(stage: Stage, known: Mapping[str, float] | None = None) -> dict[str, float]:
    """Volts of every node, those of `known` kept."""
    held = {GROUND: 0.0}
    held.update({rail.name: rail.volts for rail in stage.rails})
    held.update({p.node: p.volts for p in stage.pins if p.volts is not None})
    held.update(_rectified(stage))
    held.update({n: v for n, v in (known or {}).items() if math.isfinite(v)})
    nodes = list(dict.fromkeys((*held, *stage.nodes, *(n for p in stage.parts for n in p.nodes))))
    free = [node for node in nodes if node not in held]
    drops = [d for part in stage.parts if (d := _drop(part)) is not None]
    ways = [way for part in stage.parts for way in _ways(part)]
    ways += [
        (port.node, GROUND, max(port.ohms, JOINT_OHMS))
        for port in (*stage.inputs, *stage.outputs)
        if port.ohms is not None and not port.blocked
    ]
    for _ in range(ROUNDS):
        volts, amps = _solve(held, free, ways, drops)
        if not amps or min(amps) > -BACKWARDS:
            break
        worst = amps.index(min(amps))
        del drops[worst]
    low, high = min(held.values()), max(held.values())
    bounded = {n: v if n in held else min(max(v, low), high) for n, v in volts.items()}
    return _upright(stage, bounded, held)


def _rectified(stage: Stage) -> dict[str, float]:
    """Windings' ends, and the far sides of their rectifiers, at about the volts they swing to."""
    held: dict[str, float] = {}
    for winding in stage.parts:
        if winding.kind is not Kind.WINDING or not winding.volts:
            continue
        ends = [node for node in winding.nodes if node != GROUND]
        for part in stage.parts:
            if part.kind is not Kind.DIODE or not set(part.nodes) & set(ends):
                continue
            anode, cathode = part.nodes
            far, sign = (cathode, 1.0) if anode in ends else (anode, -1.0)
            if far == GROUND or far in ends:
                continue
            held.update(dict.fromkeys(ends, sign * 0.7 * winding.volts))
            held[far] = sign * winding.volts
    return held


def _drop(part: Part) -> _Drop | None:
    device = part.device
    if part.kind is Kind.TRANSISTOR:
        collector, base, emitter = part.nodes
        germanium = isinstance(device, Bipolar) and device.material.value == "germanium"
        size = 0.2 if germanium else 0.65
        if isinstance(device, Bipolar) and device.polarity is Polarity.PNP:
            return _Drop(part.ref, base, emitter, -size, emitter, collector, base)
        return _Drop(part.ref, base, emitter, size, collector, emitter, base)
    if part.kind is Kind.FET:
        drain, gate, source = part.nodes
        pinch = device.pinch_off.middle if isinstance(device, Fet) else 2.0
        if isinstance(device, Fet) and device.channel is Channel.P:
            return _Drop(part.ref, gate, source, pinch / 2, source, drain)
        return _Drop(part.ref, gate, source, -pinch / 2, drain, source)
    if part.kind is Kind.DIODE:
        anode, cathode = part.nodes
        return _Drop(part.ref, anode, cathode, 0.6, anode, cathode)
    if part.kind is Kind.ZENER:
        anode, cathode = part.nodes
        volts = device.volts if isinstance(device, Zener) else 6.0
        return _Drop(part.ref, cathode, anode, volts, cathode, anode)
    return None


def _ways(part: Part) -> list[tuple[str, str, float]]:
    if part.kind in CAPACITORS or part.kind in (Kind.TRANSISTOR, Kind.FET, Kind.DIODE, Kind.ZENER):
        return []
    if part.kind is Kind.SWITCH and not part.closed:
        return []
    if part.kind in POTS:
        total = part.now or USUAL_OHMS
        turn = 0.5 if part.turn is None else part.turn
        top, wiper, bottom = part.nodes
        return [
            (top, wiper, max(total * (1 - turn), JOINT_OHMS)),
            (wiper, bottom, max(total * turn, JOINT_OHMS)),
        ]
    if part.kind in (Kind.COIL, Kind.WINDING, Kind.FUSE, Kind.SWITCH, Kind.CONTACT):
        ohms = part.ohms or JOINT_OHMS
    else:
        ohms = USUAL_OHMS if part.now is None else part.now
    return [(part.nodes[0], part.nodes[1], max(ohms, JOINT_OHMS))]


def _solve(
    held: Mapping[str, float],
    free: list[str],
    ways: list[tuple[str, str, float]],
    drops: list[_Drop],
) -> tuple[dict[str, float], list[float]]:
    """Least squares, so that a half-written stage has an answer too."""
    import numpy as np

    place = {node: k for k, node in enumerate(free)}
    n, m = len(free), len(drops)
    rows = np.zeros((n + m, n + m))
    right = np.zeros(n + m)
    middle = (min(held.values()) + max(held.values())) / 2
    for k in range(n):
        rows[k, k] += LOOSE
        right[k] += LOOSE * middle
    for a, b, ohms in ways:
        for here, there in ((a, b), (b, a)):
            if here in place and a != b:
                row = place[here]
                rows[row, row] += 1 / ohms
                if there in place:
                    rows[row, place[there]] -= 1 / ohms
                else:
                    right[row] += held[there] / ohms
    for k, drop in enumerate(drops):
        # Currents are counted in milliamperes, which keeps the columns of one size.
        if drop.source in place:
            rows[place[drop.source], n + k] += 1e-3
        if drop.sink in place:
            rows[place[drop.sink], n + k] -= 1e-3
        if drop.base in place:
            inward = 1.0 if drop.sink == drop.b else -1.0
            rows[place[drop.base], n + k] += inward * BASE_SHARE * 1e-3
        for node, sign in ((drop.a, 1.0), (drop.b, -1.0)):
            if node in place:
                rows[n + k, place[node]] += sign * 1e-3
            else:
                right[n + k] -= sign * held[node] * 1e-3
        right[n + k] += drop.volts * 1e-3
    found = np.linalg.lstsq(rows, right, rcond=1e-13)[0] if n + m else np.zeros(0)
    volts = {**held, **{node: float(found[k]) for node, k in place.items()}}
    return volts, [float(found[n + k]) for k in range(m)]


def _upright(stage: Stage, volts: dict[str, float], held: Mapping[str, float]) -> dict[str, float]:
    """Free collectors moved past their base, as in a stage that amplifies."""
    for part in stage.parts:
        if part.kind not in (Kind.TRANSISTOR, Kind.FET):
            continue
        device = part.device
        down = isinstance(device, Bipolar) and device.polarity is Polarity.PNP
        down = down or (isinstance(device, Fet) and device.channel is Channel.P)
        top, side, bottom = part.nodes
        if top in held or top in (side, bottom):
            continue
        sign = -1.0 if down else 1.0
        past = max(sign * volts[side], sign * volts[bottom]) + 0.5
        if sign * volts[top] < past:
            volts[top] = sign * past
    return volts
