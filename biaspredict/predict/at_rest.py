"""A supply at rest with all parts sound: currents, and what its capacitors stand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from biaspredict.engine.flatten import flatten
from biaspredict.errors import TO_PROOF, InputError, Unsolved
from biaspredict.graph.supply import Mains, mains
from biaspredict.model.circuit import OPEN, SOUND, Circuit, Device, Variation
from biaspredict.model.parts import Kind
from biaspredict.model.stage import Stage
from biaspredict.predict.rectifying import (
    Rectifier,
    Stored,
    Winding,
    rectifiers,
    stored,
    windings,
)
from biaspredict.predict.steady import (
    OverTime,
    Steady,
    amps_delivered,
    behind,
    mains_hertz,
    settle,
)

LINE = 0.10  # by which the mains may be off (common practice, no source)
QUIET = 1e-5  # of the largest volts about; less ripple is the arithmetic of the run


@dataclass(frozen=True)
class AtRest:
    """amps: mean current that each fed node gives, negative from a negative rail."""

    stage: Stage
    side: Mains
    hertz: float
    circuit: Circuit
    steady: Steady
    amps: Mapping[str, float]
    rectifiers: tuple[Rectifier, ...]
    windings: tuple[Winding, ...]
    capacitors: tuple[Stored, ...]


def at_rest(stage: Stage, engine: OverTime) -> AtRest:
    """Run a supply. Raises InputError where the stage has none, Unsolved, EngineMissing."""
    side = must_be_fed(stage)
    hertz = mains_hertz(stage, side)
    circuit = flatten(stage)
    steady = settle(circuit, side, hertz, engine)
    unloaded = settle(circuit, side, hertz, engine, _unloaded(circuit, side), steady)
    return AtRest(
        stage,
        side,
        hertz,
        circuit,
        steady,
        drawn(circuit, side, steady, engine),
        rectifiers(side, steady),
        windings(stage, side, steady),
        stored(stage, steady, unloaded),
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


def drawn(circuit: Circuit, side: Mains, steady: Steady, engine: OverTime) -> dict[str, float]:
    """Mean amps that each fed node gives to the stage behind. Raises Unsolved."""
    fed = {feed.node: steady.means[feed.node] for feed in side.feeds}
    amps = amps_delivered(behind(circuit, side), fed, SOUND, engine)
    if amps is None:
        raise Unsolved(
            "the stage behind the rectifiers has no operating point that could be verified",
            remedy=TO_PROOF,
        )
    return amps


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
