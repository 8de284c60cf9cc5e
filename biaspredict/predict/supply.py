"""A supply with its rectifiers and reservoirs: DC, ripple, currents, switch-on, by ngspice.

The stage is run over time until it repeats itself (`steady`). The winding is its open-circuit
volts behind its resistance; the mains is stiff and a pure sine, the iron never saturates.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np

from biaspredict.engine.moving import winding_amps
from biaspredict.engine.solver import Floats
from biaspredict.graph.capacitors import Role, capacitor_role
from biaspredict.graph.supply import Mains, Scheme
from biaspredict.model.circuit import SOUND, Circuit, Load, Variation
from biaspredict.model.parts import Kind
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.at_rest import LINE, AtRest, at_rest, drawn, line, ripple
from biaspredict.predict.steady import RUN, STEPS, OverTime, Steady, settle
from biaspredict.quantities import Unit, value_text

MORE = 0.10  # of its current, drawn besides to find the resistance of a fed node
UP = 0.95  # of its final volts, from which a node is called up
LONGEST = 4.0  # seconds after switch-on that are run
MOST_NODES = 8
JOINTS = frozenset({Kind.FUSE, Kind.SWITCH, Kind.CONTACT})
ROUGHLY = 50  # steps of a period where only means are looked at
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
class Supply(AtRest):
    """The answer for one stage, all parts sound."""

    sources: tuple[Source, ...]
    lines: tuple[Line, ...]
    switch_on: SwitchOn


def supply(stage: Stage, engine: OverTime) -> Supply:
    """Run a supply. Raises InputError where the stage has none, Unsolved, EngineMissing."""
    rest = at_rest(stage, engine)
    side, sound = rest.side, rest.steady
    low, high = (
        settle(rest.circuit, side, rest.hertz, engine, line(side, factor), sound)
        for factor in (1.0 - LINE, 1.0 + LINE)
    )
    watched = watched_nodes(stage, side)
    lines = tuple(
        Line(node, sound.means[node], low.means[node], high.means[node], *ripple(sound, node))
        for node in watched
    )
    return Supply(
        **{known.name: getattr(rest, known.name) for known in fields(rest)},
        sources=sources(rest.circuit, side, rest.hertz, engine, sound),
        lines=lines,
        switch_on=_switch_on(rest.circuit, side, engine, sound, watched),
    )


def watched_nodes(stage: Stage, side: Mains) -> tuple[str, ...]:
    """Fed nodes, outputs, and what decoupling electrolytics hold, in that order."""
    found = [feed.node for feed in side.feeds if feed.rectifiers]
    found += [port.node for port in stage.outputs]
    for part in stage.parts:
        if part.kind is Kind.ELECTROLYTIC and capacitor_role(stage, part) is Role.DECOUPLING:
            found += part.nodes
    kept: list[str] = []
    for node in dict.fromkeys(found):
        joined = any(
            part.kind in JOINTS
            and part.closed
            and node in part.nodes
            and not set(kept).isdisjoint(part.nodes)
            for part in stage.parts
        )
        if node not in side.swinging and node != GROUND and not joined:
            kept.append(node)
    return tuple(kept[:MOST_NODES])


def sources(
    circuit: Circuit, side: Mains, hertz: float, engine: OverTime, sound: Steady
) -> tuple[Source, ...]:
    """Each fed node as a rail, from a second run that draws a little more."""
    amps = drawn(circuit, side, sound, engine)
    return tuple(
        Source(
            feed.node,
            feed.scheme,
            feed.rectifiers,
            sound.means[feed.node],
            amps[feed.node],
            sound.means[feed.node] + ohms * amps[feed.node],
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
        seconds, volts = engine.transient(circuit, SOUND, length, period / ROUGHLY, charges={})
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
