"""A supply with its rectifiers and reservoirs: DC, ripple, currents, switch-on, by ngspice.

The stage is run over time until it repeats itself (`steady`). The winding is its open-circuit
volts behind its resistance; the mains is stiff and a pure sine, the iron never saturates.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from biaspredict.engine.flatten import flatten
from biaspredict.engine.moving import winding_amps
from biaspredict.engine.solver import Floats
from biaspredict.errors import InputError, Unsolved
from biaspredict.graph.capacitors import Role, capacitor_role
from biaspredict.graph.supply import Mains, Scheme, mains
from biaspredict.model.circuit import OPEN, SOUND, Circuit, Device, Load, Variation
from biaspredict.model.parts import Kind
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.rectifying import (
    Rectifier,
    Stored,
    Winding,
    rectifiers,
    stored,
    windings,
)
from biaspredict.predict.steady import (
    RUN,
    STEPS,
    OverTime,
    Steady,
    amps_delivered,
    behind,
    mains_hertz,
    settle,
)
from biaspredict.quantities import Unit, value_text

LINE = 0.10  # by which the mains may be off (common practice, no source)
MORE = 0.10  # of its current, drawn besides to find the resistance of a fed node
UP = 0.95  # of its final volts, from which a node is called up
LONGEST = 4.0  # seconds after switch-on that are run
QUIET = 1e-5  # of the largest volts about; less ripple is the arithmetic of the run
MOST_NODES = 8
LEAST = 0.01  # volts of the least rail that can be written


@dataclass(frozen=True, slots=True)
class Line:
    """One node: mean volts, the same with the line 10 % low and high, and its ripple.

    ripple: volts peak to peak; rms: of the ripple alone; hertz: of its strongest part, None
    where there is none to speak of.
    """

    node: str
    volts: float
    low: float
    high: float
    ripple: float
    rms: float
    hertz: float | None


@dataclass(frozen=True, slots=True)
class Source:
    """What feeds the stage behind at a fed node, as a rail: `open_volts` behind `ohms`.

    amps: mean current drawn there, negative from a negative rail. The line through the working
    point, not the volts with nothing connected.
    """

    node: str
    scheme: Scheme
    rectifiers: tuple[str, ...]
    volts: float
    amps: float
    open_volts: float
    ohms: float


@dataclass(frozen=True, slots=True)
class SwitchOn:
    """amps: largest through a winding when everything is discharged and the mains at its crest.

    seconds: until every node of the table is within 5 %; None: longer than was run.
    """

    amps: float
    winding: str
    seconds: float | None


@dataclass(frozen=True)
class Supply:
    """The answer for one stage, all parts sound."""

    stage: Stage
    side: Mains
    hertz: float
    sources: tuple[Source, ...]
    lines: tuple[Line, ...]
    rectifiers: tuple[Rectifier, ...]
    windings: tuple[Winding, ...]
    capacitors: tuple[Stored, ...]
    switch_on: SwitchOn
    steady: Steady


def supply(stage: Stage, engine: OverTime) -> Supply:
    """Run a supply. Raises InputError where the stage has none, Unsolved, EngineMissing."""
    side = must_be_fed(stage)
    hertz = mains_hertz(stage, side)
    circuit = flatten(stage)
    sound = settle(circuit, side, hertz, engine)
    low, high, unloaded = (
        settle(circuit, side, hertz, engine, variation, sound)
        for variation in (line(side, 1.0 - LINE), line(side, 1.0 + LINE), _unloaded(circuit, side))
    )
    watched = watched_nodes(stage, side)
    lines = tuple(
        Line(node, sound.means[node], low.means[node], high.means[node], *ripple(sound, node))
        for node in watched
    )
    return Supply(
        stage,
        side,
        hertz,
        sources(circuit, side, hertz, engine, sound),
        lines,
        rectifiers(side, sound),
        windings(stage, side, sound),
        stored(stage, sound, unloaded),
        _switch_on(circuit, side, engine, sound, watched),
        sound,
    )


def must_be_fed(stage: Stage) -> Mains:
    """The mains side of a stage. Raises InputError where it has none."""
    side = mains(stage)
    if side is not None:
        return side
    if any(part.kind is Kind.WINDING and part.volts for part in stage.parts):
        raise InputError(
            "no rectifier leads from a winding to a node that is not a rail already",
            remedy="Draw the rectifiers, as in `ground -- T1 -- A -- D1> rectifier -- RAW`, and "
            "leave out the `rail` line of the node that they feed.",
        )
    raise InputError(
        "this stage has no transformer winding, so there is no supply to run",
        remedy="Write the winding by its open-circuit volts, as in "
        "`T1 winding 18 V 50 Hz 3 ohms`, and the rectifiers behind it.",
    )


def line(side: Mains, factor: float) -> Variation:
    """The mains higher or lower by a factor."""
    return Variation(scales=tuple((f"{ref}.rms", factor) for ref in side.windings))


def _unloaded(circuit: Circuit, side: Mains) -> Variation:
    """The line high and nothing drawing current outside the stage."""
    loads = [e.name for e in circuit.elements if e.name.startswith("load ")]
    pins = [e.name for e in circuit.elements if e.device is Device.CURRENT]
    settings = [(f"{name}.ohms", OPEN) for name in loads] + [(f"{name}.amps", 0.0) for name in pins]
    return line(side, 1.0 + LINE).plus(Variation(settings=tuple(settings)))


def ripple(steady: Steady, node: str) -> tuple[float, float, float | None]:
    """Peak to peak, rms, and the hertz of the strongest part of a node's ripple."""
    volts = steady.at(node)
    size = float(np.ptp(volts))
    hertz = steady.ripple_hertz(volts)
    # Below the mains there is no ripple, only what is left of the way to rest.
    if size < QUIET * float(np.abs(steady.volts).max()) or hertz < steady.hertz:
        return size, steady.ripple_rms(volts), None
    return size, steady.ripple_rms(volts), hertz


def watched_nodes(stage: Stage, side: Mains) -> tuple[str, ...]:
    """Fed nodes, outputs, and what decoupling electrolytics hold, in that order."""
    found = [feed.node for feed in side.feeds if feed.rectifiers]
    found += [port.node for port in stage.outputs]
    for part in stage.parts:
        if part.kind is Kind.ELECTROLYTIC and capacitor_role(stage, part) is Role.DECOUPLING:
            found += part.nodes
    kept = [n for n in dict.fromkeys(found) if n not in side.swinging and n != GROUND]
    return tuple(kept[:MOST_NODES])


def sources(
    circuit: Circuit, side: Mains, hertz: float, engine: OverTime, sound: Steady
) -> tuple[Source, ...]:
    """Each fed node as a rail, from a second run that draws a little more."""
    rest = behind(circuit, side)
    fed = {feed.node: sound.means[feed.node] for feed in side.feeds}
    amps = amps_delivered(rest, fed, SOUND, engine)
    if amps is None:
        raise Unsolved(
            "the stage behind the rectifiers has no operating point that could be verified",
            remedy="Run `biaspredict proof` on it: a missed joint or a slipped decimal is likely.",
        )
    return tuple(
        Source(
            feed.node,
            feed.scheme,
            feed.rectifiers,
            fed[feed.node],
            amps[feed.node],
            fed[feed.node] + ohms * amps[feed.node],
            ohms,
        )
        for feed in side.feeds
        for ohms in [_ohms(circuit, side, hertz, engine, sound, feed.node, amps[feed.node])]
    )


def _ohms(
    circuit: Circuit,
    side: Mains,
    hertz: float,
    engine: OverTime,
    sound: Steady,
    node: str,
    amps: float,
) -> float:
    volts = sound.means[node]
    resistance = max(circuit.element(ref).value("ohms") for ref in side.windings)
    least = 1e-3 * abs(volts) / resistance  # where nothing is drawn yet
    size = abs(volts) / max(MORE * abs(amps), least, 1e-9)
    more = Variation(loads=(Load(node, GROUND, size),))
    loaded = settle(circuit, side, hertz, engine, more, sound).means[node]
    drawn = loaded / size
    return max((volts - loaded) / drawn, 0.0) if drawn else 0.0


def _switch_on(
    circuit: Circuit, side: Mains, engine: OverTime, sound: Steady, watched: tuple[str, ...]
) -> SwitchOn:
    """Everything discharged. With empty capacitors the crest of the mains is the worst moment:
    the current is never larger than crest volts less drops over the winding's ohms."""
    period = 1.0 / sound.hertz
    most, which = 0.0, side.windings[0]
    for degrees in (90.0, 270.0):
        seconds, volts = engine.transient(
            circuit, SOUND, RUN * period, period / STEPS, charges={}, degrees=degrees
        )
        for ref in side.windings:
            amps = float(np.abs(winding_amps(circuit, ref, seconds, volts, degrees)).max())
            if amps > most:
                most, which = amps, ref
    return SwitchOn(most, which, _seconds_up(circuit, engine, sound, watched))


def _seconds_up(
    circuit: Circuit, engine: OverTime, sound: Steady, watched: tuple[str, ...]
) -> float | None:
    """Seconds until the mean over a period of every watched node stays within 5 %."""
    period = 1.0 / sound.hertz
    columns = [circuit.nodes.index(node) for node in watched]
    final = np.array([sound.means[node] for node in watched])
    length = 4.0 * RUN * period
    while length <= LONGEST:
        seconds, volts = engine.transient(circuit, SOUND, length, period / STEPS, charges={})
        late = _first_late(seconds, volts[:, columns], final, period)
        if late is not None:
            return late
        length *= 4.0
    return None


def _first_late(seconds: Floats, volts: Floats, final: Floats, period: float) -> float | None:
    """The end of the first period from which on means (volts (T, k)) stay near `final` (k,)."""
    ends = np.arange(1, int(seconds[-1] / period) + 1) * period
    far = np.ones(len(ends), dtype=bool)
    areas = [np.concatenate([[0.0], np.cumsum(_areas(seconds, v))]) for v in volts.T]
    for k, end in enumerate(ends):
        means = [
            (np.interp(end, seconds, area) - np.interp(end - period, seconds, area)) / period
            for area in areas
        ]
        far[k] = bool((np.abs(np.array(means) - final) > (1.0 - UP) * np.abs(final) + 1e-3).any())
    if far[-1]:
        return None
    last = np.flatnonzero(far)
    return float(ends[last[-1] + 1]) if last.size else float(ends[0])


def _areas(seconds: Floats, values: Floats) -> Floats:
    return np.asarray(np.diff(seconds) * (values[1:] + values[:-1]) / 2.0)


def rail_lines(found: Supply) -> Iterator[str]:
    """The fed nodes as `rail` lines for the stage file of whatever stands behind."""
    for source in found.sources:
        if source.rectifiers and abs(source.open_volts) > LEAST:
            volts, ohms = (float(f"{x:.3g}") for x in (source.open_volts, source.ohms))
            behind = f" via {value_text(ohms, Unit.OHM)}" if ohms else ""
            yield f"rail {source.node} {value_text(volts, Unit.VOLT)}{behind}"
