"""Truth: sound specimens of a stage drawn, solved and verified."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from biaspredict.model.devices import Bipolar, Diode, Fet, Lamp, Thermistor, Zener
from biaspredict.model.parts import Kind, Part
from biaspredict.model.stage import GROUND, Stage

from . import devices
from .draws import Draws
from .specimen import WIRE, Body, Branch, Deck, Flow, Specimen, write
from .spice import Job, Row, Runner

COOL, WARM = 18.0, 32.0  # degrees inside the open case
OLD = 0.4  # share of sets whose composition resistors have all crept upwards
MELTS = 1.6, 2.1  # times its rating at which a fuse link melts (IEC 60127-2, from memory)
MELTED = 1e13  # ohms
HOTTEST = 70.0  # own heating beyond which a device is taken as run away


@dataclass(frozen=True, slots=True)
class Solved:
    """A specimen at rest. volts: every node of the stage, ground included."""

    specimen: Specimen
    volts: dict[str, float]


def draw_specimen(
    stage: Stage,
    rng: np.random.Generator | None,
    *,
    ambient: float | None = None,
    rails: dict[str, float] | None = None,
) -> Specimen:
    """A sound specimen; without a generator the one in the middle of every range.

    ambient: degrees inside the case where they are not to be drawn; rails: volts likewise.
    """
    draw = Draws(rng)
    here = draw.uniform(COOL, WARM) if ambient is None else ambient
    if rng is None and ambient is None:
        here = stage.assumptions.temperature
    old = draw.chance(OLD)
    bodies = {p.ref: Body(p, p.nodes, _values(stage, p, draw, old, here)) for p in stage.parts}
    drawn: dict[str, tuple[float, float]] = {}
    line = draw.normal(0.4)  # rails of one transformer move together
    for rail in stage.rails:
        spread = rail.tolerance or stage.assumptions.rails
        move = max(-1.0, min(1.0, 0.8 * line + draw.normal(0.3)))
        volts = rail.volts * (1 + move * (spread.plus if move > 0 else spread.minus))
        volts = (rails or {}).get(rail.name, volts)
        drawn[rail.name] = (volts, rail.ohms * (1 + draw.uniform(-0.1, 0.1)))
    sources = [
        Branch(port.node, GROUND, max(port.ohms, WIRE))
        for port in (*stage.inputs, *stage.outputs)
        if port.ohms is not None and not port.blocked
    ]
    sources += [
        Branch(pin.node, GROUND, max(pin.ohms, WIRE), pin.volts * (1 + draw.uniform(-0.02, 0.02)))
        for pin in stage.pins
        if pin.volts is not None
    ]
    return Specimen(stage, here, bodies, drawn, sources=tuple(sources))


def _values(stage: Stage, part: Part, draw: Draws, old: bool, ambient: float) -> dict[str, float]:
    device = part.device
    if isinstance(device, Bipolar):
        return devices.draw_bipolar(device, draw)
    if isinstance(device, Zener):
        return devices.draw_zener(device, draw)
    if isinstance(device, Diode):
        return devices.draw_diode(device, draw)
    if isinstance(device, Fet):
        return devices.draw_fet(device, draw)
    if isinstance(device, Lamp):
        hot = device.volts / device.amps * (1 + draw.uniform(-0.1, 0.1))
        cold, power = draw.uniform(0.08, 0.12), draw.uniform(0.45, 0.6)
        return {"hot": hot, "volts": device.volts, "cold": cold, "power": power}
    if part.kind in (Kind.CAPACITOR, Kind.ELECTROLYTIC):
        return {"ohms": _sound_leak(part, draw)}
    if part.kind in (Kind.FUSE, Kind.SWITCH, Kind.CONTACT):
        if not part.closed:
            return {"ohms": 1e13}
        ohms = part.now or draw.log(2e-3, 5e-2)
        return {"ohms": ohms, "melts": draw.uniform(*MELTS)}
    ohms = _inside(stage, part, draw, old)
    if isinstance(device, Thermistor):
        kelvin = ambient + 273.15 + draw.uniform(0.0, 4.0)
        ohms *= math.exp(device.beta * (1 / kelvin - 1 / 298.15))
    if part.kind in (Kind.POT, Kind.TRIMMER):
        by_eye = 0.5 + draw.uniform(-0.2, 0.2)
        if part.turn is not None:
            by_eye = part.turn + (draw.uniform(-0.03, 0.03) if 0 < part.turn < 1 else 0.0)
        turn = min(1.0, max(0.0, by_eye))
        upper, lower = ohms * (1 - turn), ohms * turn
        return {"upper": upper, "lower": lower, "wiper": draw.log(0.5, 20.0)}
    return {"ohms": ohms}


def _inside(stage: Stage, part: Part, draw: Draws, old: bool) -> float:
    """Ohms of a sound resistor, pot, coil or winding inside its tolerance."""
    if part.kind in (Kind.COIL, Kind.WINDING):
        return max(part.ohms or 0.0, WIRE) * (1 + draw.uniform(-0.1, 0.1))
    if part.now is None:
        raise ValueError(f"{part.ref} has no value")
    spread = stage.tolerance(part)
    low, high = -spread.minus, spread.plus
    if part.measured is not None:
        low, high = -0.01, 0.01
    elif old and part.kind is Kind.RESISTOR and part.material in ("", "carbon"):
        low = -0.3 * spread.minus
    return part.now * (1 + draw.uniform(low, high))


def _sound_leak(part: Part, draw: Draws) -> float:
    """A sound electrolytic leaks a nuisance that grows with its charge; others next to nothing."""
    if part.kind is Kind.CAPACITOR:
        return draw.log(3e9, 1e11)
    volts = part.volts or 16.0
    microfarads = (part.now or 10e-6) * 1e6
    return volts / max(2e-8, draw.log(1e-10, 1.5e-9) * microfarads * volts)


def reads(deck: Deck) -> tuple[str, ...]:
    """Vectors of every node, then of every flow that ngspice must tell, then of every heater."""
    nodes = [n for n in deck.numbers.values() if n != "0"]
    return (
        *nodes,
        *(f.vector for f in deck.flows if f.vector),
        *(h.split()[1] for h in deck.heaters),
    )


def _unpack(deck: Deck, row: Row) -> tuple[dict[str, float], dict[str, float], list[float]] | None:
    if row is None:
        return None
    names = [node for node, n in deck.numbers.items() if n != "0"]
    vectors = [f.vector for f in deck.flows if f.vector]
    volts = {GROUND: 0.0, **dict(zip(names, row, strict=False))}
    amps = dict(zip(vectors, row[len(names) :], strict=False))
    return volts, amps, list(row[len(names) + len(vectors) :])


def solve(
    runner: Runner, specimens: Sequence[Specimen], *, check: bool = False
) -> list[Solved | None]:
    """Each specimen at rest, its fuses melted where they do not bear the current; else as below."""
    now = list(specimens)
    for _ in range(max((len(_fuses(s)) for s in now), default=0)):
        found = at_rest(runner, now)
        hot = [_overloaded(one) if one is not None else None for one in found]
        if not any(hot):
            break
        now = [
            replace(s.but(ref, ohms=MELTED), heats={}) if ref else s
            for s, ref in zip(now, hot, strict=True)
        ]
    return at_rest(runner, now, check=check)


def _fuses(specimen: Specimen) -> list[str]:
    return [
        ref for ref, body in specimen.bodies.items()
        if body.part.kind is Kind.FUSE and body.part.amps is not None
    ]


def _overloaded(solved: Solved) -> str | None:
    """The fuse that melts first; None where all of them hold."""
    over = {}
    for ref in _fuses(solved.specimen):
        body = solved.specimen.bodies[ref]
        ohms = body.values["ohms"] + sum(
            solved.specimen.lifts.get(f"{ref}.{terminal}", 0.0) for terminal in ("1", "2")
        )
        amps = abs(solved.volts[body.nodes[0]] - solved.volts[body.nodes[1]]) / ohms
        over[ref] = amps / (body.part.amps or math.inf) / body.values["melts"]
    first = max(over, key=lambda ref: over[ref], default=None)
    return first if first is not None and over[first] > 1.0 else None


def at_rest(
    runner: Runner, specimens: Sequence[Specimen], *, check: bool = False
) -> list[Solved | None]:
    """Each specimen at its own self-heated temperatures; None where it does not verifiably solve.

    check: also demand that the currents at every node add up, and that a start from another
    point leads to the same volts.
    """
    now: list[Specimen | None] = list(specimens)
    results: list[Solved | None] = [None] * len(now)
    for turn in range(4):
        todo = [(k, s, write(s)) for k, s in enumerate(now) if s is not None]
        rows = runner.solve([Job(tuple(d.lines), reads(d)) for _, _, d in todo])
        for (k, specimen, deck), (row,) in zip(todo, rows, strict=True):
            found = _unpack(deck, row)
            if found is None or not _inside_rails(specimen, found[0]):
                now[k] = results[k] = None
                continue
            if check and turn == 3 and not _adds_up(deck, found[0], found[1]):
                results[k] = None
                continue
            results[k] = Solved(specimen, found[0])
            heats, moved = _heats(specimen, deck, found[2])
            if moved > 0.5 and turn < 3:
                now[k] = replace(specimen, heats=heats)
            elif not check:
                now[k] = None
    if check:
        results = [r and _same_from_elsewhere(runner, r) for r in results]
    return results


def _heats(specimen: Specimen, deck: Deck, watts: list[float]) -> tuple[dict[str, float], float]:
    heats, moved = dict(specimen.heats), 0.0
    for heater, power in zip(deck.heaters, watts, strict=True):
        ref = heater.split()[0]
        rise = specimen.bodies[ref].values["kelvin_per_watt"] * abs(power)
        rise = min(HOTTEST, rise)
        moved = max(moved, abs(rise - heats.get(ref, 0.0)))
        heats[ref] = rise
    return heats, moved


def _inside_rails(specimen: Specimen, volts: dict[str, float]) -> bool:
    known = [0.0, *(v for v, _ in specimen.rails.values()), *(b.emf for b in specimen.sources)]
    low, high = min(known) - 1.0, max(known) + 1.0
    if any(pin.volts is None and not specimen.fed_by_rails(pin) for pin in specimen.stage.pins):
        return all(math.isfinite(v) for v in volts.values())
    return all(low <= volts[n] <= high for n in specimen.stage.nodes)


def _amps(flow: Flow, volts: dict[str, float], amps: dict[str, float]) -> float:
    if flow.vector:
        return amps[flow.vector]
    across = volts[flow.a] - volts[flow.b]
    if math.isfinite(flow.knee):
        return flow.amps * math.tanh(across / flow.knee)
    if math.isfinite(flow.amps):
        return flow.amps
    if flow.lamp is not None:
        hot, rated, cold, power = flow.lamp
        size = math.sqrt(across**2 + 1e-8) / rated
        return float(across / (hot * (cold + (1 - cold) * size**power)))
    return (across - flow.emf) / flow.ohms


def _adds_up(deck: Deck, volts: dict[str, float], amps: dict[str, float]) -> bool:
    """Kirchhoff at every node, from the volts and the law of each part."""
    sums: dict[str, float] = dict.fromkeys(deck.numbers, 0.0)
    sizes = dict(sums)
    for flow in deck.flows:
        current = _amps(flow, volts, amps)
        for node, sign in ((flow.a, 1.0), (flow.b, -1.0)):
            if node:
                sums[node] += sign * current
                sizes[node] = max(sizes[node], abs(current))
    return all(
        abs(sums[node]) <= 5e-9 + 2e-3 * sizes[node] for node in deck.numbers if node != GROUND
    )


def _same_from_elsewhere(runner: Runner, solved: Solved) -> Solved | None:
    """The same point when ngspice starts lopsided: a balance that tips over is no resting point."""
    deck = write(solved.specimen)
    nodes = [n for n in solved.specimen.stage.nodes if n != GROUND]
    tilt = (0.2, 1.1, 0.6, 1.0, 0.4)  # of each node's volts in turn
    starts = [(deck.numbers[n], solved.volts[n] * tilt[k % 5]) for k, n in enumerate(nodes)]
    sets = " ".join(f"v({number})={volts!r}" for number, volts in starts)
    ((row,),) = runner.solve([Job((*deck.lines, f".nodeset {sets}"), reads(deck))])
    found = _unpack(deck, row)
    if found is None:
        return None
    off = max(abs(found[0][n] - solved.volts[n]) for n in solved.specimen.stage.nodes)
    return solved if off < 5e-3 else None
