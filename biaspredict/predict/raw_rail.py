"""A stage whose rectified windings have become rails, so that it can be predicted at DC.

What swings with the mains is taken out; each node that it feeds becomes a rail: the line through
the working point that the run over time has found, so many volts behind so many ohms.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from biaspredict.engine.flatten import flatten
from biaspredict.errors import InputError
from biaspredict.graph.supply import Mains, mains
from biaspredict.model.circuit import SOUND
from biaspredict.model.readings import Readings
from biaspredict.model.stage import GROUND, Chart, Rail, Stage
from biaspredict.predict.steady import OverTime, Steady, mains_hertz, settle
from biaspredict.predict.supply import Source, sources

APART = 0.02  # of its volts, by which ripple may bend what a node reads before it is said
LEAST = 0.05  # volts below which nobody minds


@dataclass(frozen=True, slots=True)
class Fed:
    """stage: as it can be solved at DC. sources: what its windings have become; empty where it
    has none. gone: nodes, and parts, that swing with the mains. bent: (node, mean volts over
    time, volts at DC) where ripple makes these differ.
    """

    stage: Stage
    sources: tuple[Source, ...] = ()
    swinging: frozenset[str] = frozenset()
    parts: frozenset[str] = frozenset()
    bent: tuple[tuple[str, float, float], ...] = ()


def on_rails(stage: Stage, engine: OverTime) -> Fed:
    """The stage with rails in place of its windings, or as it is where no winding feeds it.

    Raises Unsolved, EngineMissing, and InputError where a fed node has no name for a rail.
    """
    side = mains(stage)
    if side is None:
        return Fed(stage)
    for feed in side.feeds:
        if "." in feed.node:
            at = stage.part(feed.rectifiers[0]).origin if feed.rectifiers else None
            raise InputError(
                f"the node that the rectifiers feed, {feed.node}, has no name of its own",
                remedy="Give it one in the path, as in `D1> rectifier -- RAW`; the rail that "
                "stands for the supply is called by it.",
                place=at,
            )
    circuit = flatten(stage)
    hertz = mains_hertz(stage, side)
    steady = settle(circuit, side, hertz, engine)
    found = sources(circuit, side, hertz, engine, steady)
    railed = _railed(stage, side, found)
    bent = tuple(_bent(railed, steady, engine))
    return Fed(railed, found, side.swinging, side.parts, bent)


def _railed(stage: Stage, side: Mains, found: tuple[Source, ...]) -> Stage:
    gone = side.swinging
    rails = tuple(Rail(s.node, s.open_volts, ohms=s.ohms) for s in found)
    return replace(
        stage,
        parts=tuple(part for part in stage.parts if part.ref not in side.parts),
        rails=stage.rails + rails,
        nodes=tuple(node for node in stage.nodes if node not in gone),
        names={name: node for name, node in stage.names.items() if node not in gone},
        pins=tuple(pin for pin in stage.pins if pin.node not in gone),
        inputs=tuple(port for port in stage.inputs if port.node not in gone),
        outputs=tuple(port for port in stage.outputs if port.node not in gone),
        points=tuple(point for point in stage.points if point[1] not in gone),
        charts=tuple(_chart(chart, gone) for chart in stage.charts),
    )


def _chart(chart: Chart, gone: frozenset[str]) -> Chart:
    """The chart without what it says of nodes that swing."""
    kept = tuple(e for e in chart.entries if e.node not in gone and e.minus not in gone)
    return replace(chart, entries=kept)


def _bent(railed: Stage, steady: Steady, engine: OverTime) -> Iterator[tuple[str, float, float]]:
    circuit = flatten(railed)
    solved = engine.solve(circuit, [SOUND])
    if not solved.solved[0]:
        return
    for node, volts in zip(circuit.nodes, map(float, solved.volts[0]), strict=False):
        mean = steady.means.get(node)
        if node == GROUND or mean is None or node not in railed.nodes:
            continue
        if abs(volts - mean) > max(APART * abs(mean), LEAST):
            yield node, mean, volts


def must_be_direct(fed: Fed, readings: Readings) -> None:
    """Raises InputError for a reading at a node that swings with the mains."""
    for reading in readings.entries:
        if reading.node in fed.swinging or reading.minus in fed.swinging:
            raise InputError(
                f"{reading.name} swings with the mains, so a DC reading there tells nothing",
                remedy="Take that line out. Which readings a failed rectifier leaves behind it, "
                "`biaspredict supply` shows.",
                place=reading.origin,
            )
