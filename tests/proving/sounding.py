"""What a generator and an ohmmeter tell of a specimen: the truth's own AC and power-off decks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from biaspredict.engine.deck import KEY
from biaspredict.engine.deck import Deck as Text
from biaspredict.engine.ngspice import using
from biaspredict.model.parts import CAPACITORS, Kind, Part
from biaspredict.model.stage import GROUND, Rail, Stage

from .draws import Draws
from .specimen import Branch, Specimen, write
from .spice import OPTIONS, Job, Runner

AC_ERROR = 0.03  # of an AC range, even limits
OHMS_ERROR = 0.01  # of an ohms range, even limits
FLOOR = 30e-6  # volts of hum and hiss
METER = "meter 10 MEG test 0.5 V"  # the ohmmeter, whatever read the volts
OFF = (100.0, 50e3)  # ohms of what hangs on a rail, switched off, where the sheet does not say
SAID = 0.1  # to which what it says of them is right


@dataclass(frozen=True, slots=True)
class Store:
    """One capacitor as the specimen has it."""

    farads: float
    series: float = 0.0


def draw_stores(stage: Stage, draw: Draws) -> dict[str, Store]:
    """Sound capacitors inside the tolerances of the stage."""
    found = {}
    for part in stage.parts:
        if part.kind in CAPACITORS and part.now:
            limits = stage.tolerance(part)
            series = 0.5 * 10e-6 / part.now if part.kind is Kind.ELECTROLYTIC else 0.0
            found[part.ref] = Store(part.now * (1 + draw.uniform(-limits.minus, limits.plus)),
                                    min(series, 5.0))
    return found


def draw_silent(stage: Stage, draw: Draws) -> tuple[str, str, Store]:
    """One capacitor dried, resistive or open: (reference, mode, what is left of it)."""
    assert draw.rng is not None
    parts: Sequence[Part] = [p for p in stage.parts if p.kind is Kind.ELECTROLYTIC and p.now]
    part = parts[int(draw.rng.integers(len(parts)))]
    mode = str(draw.rng.choice(["dry", "dry", "dry", "resistive", "open"]))
    farads = part.now or 1e-6
    if mode == "dry":
        return part.ref, mode, Store(farads * draw.log(0.02, 0.3))
    if mode == "resistive":
        # bad from 10 times 2 ohm x 10 uF on (common practice, no source)
        return part.ref, mode, Store(farads, draw.log(30.0, 300.0))
    return part.ref, mode, Store(farads * 1e-4)


def phasors(
    specimen: Specimen, stores: Mapping[str, Store], hertz: float
) -> dict[str, float] | None:
    """Size of the signal at every node for one volt of the generator at the first input."""
    stage = specimen.stage
    port = stage.inputs[0]
    deck = write(specimen)
    lines = list(deck.lines)
    ohms = 600.0 if port.ohms is None else max(port.ohms, 1e-3)
    start = deck.n(port.node)
    if port.ohms is None or port.blocked:
        lines += ["vgen gen 0 dc 0.0 ac 1.0", f"rgen gen genc {ohms!r}", f"cgen genc {start} 1.0"]
    else:  # its resistance stands in the deck already
        lines.append(f"igen 0 {start} dc 0.0 ac {1.0 / ohms!r}")
    for k, out in enumerate(stage.outputs):
        if out.ohms is not None and out.blocked:
            lines += [f"cout{k} {deck.n(out.node)} out{k} 1.0", f"rout{k} out{k} 0 {out.ohms!r}"]
    for k, (ref, store) in enumerate(stores.items()):
        ends = [deck.n(node) for node in specimen.bodies[ref].nodes]
        lines.append(f"rst{k} {ends[0]} st{k} {max(store.series, 1e-3)!r}")
        lines.append(f"cst{k} st{k} {ends[1]} {store.farads!r}")
    text = Text(("* truth", f"vkey {KEY} 0 0.0", *lines, OPTIONS, ".end"), deck.numbers)
    with using() as simulator:
        simulator.load(text)
        at = repr(float(hertz))
        if not simulator.run("op") or not simulator.run(f"ac lin 1 {at} {at}"):
            return None
        found = {
            node: simulator.vector(number) for node, number in deck.numbers.items() if number != "0"
        }
    return {node: float(np.abs(v[0])) for node, v in found.items() if v is not None}


def signal_line(
    specimen: Specimen, stores: Mapping[str, Store], node: str, minus: str, hertz: float,
    volts: float, draw: Draws,
) -> str | None:
    """A gain as a person writes it down."""
    sizes = phasors(specimen, stores, hertz)
    if sizes is None:
        return None
    shown = []
    for point in (node, minus):
        level = math.hypot(sizes[point] * volts, FLOOR)
        shown.append(level * (1 + draw.uniform(-AC_ERROR, AC_ERROR)))
    ratio = shown[0] / shown[1]
    at = "1 kHz" if hertz >= 1e3 else f"{hertz:.0f} Hz"
    return f"gain at {at} {node} over {minus} {float(f'{ratio:.3g}'):.9f}"


def _hangs_on(rail: Rail, draw: Draws) -> float:
    if rail.off_ohms is None:
        return draw.log(*OFF)
    return rail.off_ohms * (1.0 + draw.uniform(-SAID, SAID))


def ohms_lines(runner: Runner, specimen: Specimen, draw: Draws) -> list[str] | None:
    """Ohms to ground of every node and rail, red lead there, by a digital meter."""
    stage = specimen.stage
    cold = replace(
        specimen,
        rails={rail.name: (0.0, _hangs_on(rail, draw)) for rail in stage.rails},
        sources=tuple(replace(source, emf=0.0) for source in specimen.sources),
        heats={},
        ambient=22.0,
    )
    lines = []
    for node in (n for n in stage.nodes if n != GROUND):
        near, shown = 1e4, math.nan
        for _ in range(4):
            full = next(f for f in (200.0, 2e3, 2e4, 2e5, 2e6, 2e7, 2e8) if f >= min(near, 2e8))
            inner = 1.5 * min(full, 2e7)
            deck = write(cold, Branch(node, GROUND, inner, 0.5))
            ((row,),) = runner.solve([Job(tuple(deck.lines), (deck.numbers[node],))])
            if row is None:
                return None
            across = min(max(row[0], 1e-9), 0.5 - 1e-9)
            shown = inner * across / (0.5 - across)
            if abs(math.log(max(shown, 1e-3) / near)) < 0.05:
                break
            near = max(shown, 1.0)
        if shown > 2e7:
            lines.append(f"ohms {node} over 20M {METER}")
            continue
        shown = shown * (1 + draw.uniform(-OHMS_ERROR, OHMS_ERROR)) + 0.2
        lines.append(f"ohms {node} {float(f'{shown:.3g}'):.10g} {METER}")
    return lines

