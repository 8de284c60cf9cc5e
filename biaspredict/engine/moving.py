"""Runs over frequency and over time."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.deck import Deck, Swing, deck
from biaspredict.engine.simulator import Simulator
from biaspredict.engine.solver import Floats
from biaspredict.engine.values import applied, held, limits, rewired, sensible
from biaspredict.errors import InputError, Unsolved
from biaspredict.model.circuit import Circuit, Device, Variation

Start = Literal["off", "operating"]
RISE = 1e-3  # of a step, in which the sources come up at switch-on
AT_MOST = 2_000_000  # points of a run over time; beyond, memory goes before the answer comes

_REMEDY = "Check the stage with the DC prediction first, then with fewer capacitors or coils."


def swept(
    simulator: Simulator,
    circuit: Circuit,
    variation: Variation,
    source: str,
    hertz: Sequence[float],
) -> NDArray[np.complex128]:
    """See `Ngspice.sweep`."""
    _source(circuit, source)
    if not all(0.0 < f < math.inf for f in hertz):
        raise InputError("Frequencies must be above zero.")
    wired, text = _deck(circuit, variation, sounding=source)
    simulator.load(text)
    if not simulator.run("op"):
        raise Unsolved("The stage has no operating point to swing about.", remedy=_REMEDY)
    low, high = limits(wired, variation.loads)
    names = [text.names[node] for node in circuit.nodes]
    still = _read(simulator, names, 1)
    if still is None or not ((low <= still) & (still <= high)).all():
        raise Unsolved("The stage has no operating point to swing about.", remedy=_REMEDY)
    phasors = np.empty((len(hertz), len(names)), dtype=np.complex128)
    for row, f in enumerate(hertz):
        # One point at a time: ngspice's own sweeps only come in its own spacings.
        at = repr(float(f))
        found = _read(simulator, names, 1) if simulator.run(f"ac lin 1 {at} {at}") else None
        if found is None:
            raise Unsolved(f"The stage could not be solved at {f:.3g} Hz.", remedy=_REMEDY)
        phasors[row] = found[0]
    return phasors


def traced(
    simulator: Simulator,
    circuit: Circuit,
    variation: Variation,
    stop: float,
    step: float,
    start: Start,
    drives: Mapping[str, tuple[float, float]],
    charges: Mapping[str, float] | None = None,
    degrees: float = 0.0,
) -> tuple[Floats, Floats]:
    """See `Ngspice.transient`."""
    if not (0.0 < step <= stop < math.inf) or stop / step > AT_MOST:
        raise InputError("The time to run must be longer than the step, and not a million times.")
    for name in drives:
        _source(circuit, name)
    rise = step * RISE if start == "off" and charges is None else None
    swing = Swing(rise, drives, charges, degrees)
    _, text = _deck(circuit, variation, swing=swing)
    simulator.load(text)
    span, at_most = repr(float(stop)), repr(float(step))
    analysis = f"tran {at_most} {span} 0.0 {at_most}" + (" uic" if charges is not None else "")
    times = simulator.vector("time") if simulator.run(analysis) else None
    if times is None or times[-1] < stop * (1.0 - 1e-9):
        reached = 0.0 if times is None else float(times[-1])
        raise Unsolved(f"The run over time stopped at {reached:.3g} s.", remedy=_REMEDY)
    volts = _read(simulator, [text.names[node] for node in circuit.nodes], len(times))
    if volts is None:
        raise Unsolved("The run over time left no volts.", remedy=_REMEDY)
    return times, volts


def winding_amps(
    circuit: Circuit, name: str, times: Floats, volts: Floats, degrees: float = 0.0
) -> Floats:
    """Amps (T,) out of the first terminal of the WINDING `name` during a run over time.

    `times`, `volts`: what `Ngspice.transient` returned for `circuit`, run with `degrees`. A
    rectifier's peak current is its largest value. Source: Ohm's law across the winding's own
    resistance.
    """
    winding = circuit.element(name)
    if winding.device is not Device.WINDING:
        raise InputError(f"{name} is not a winding.", remedy="Name a winding of the transformer.")
    ohms, rms, hertz = winding.values
    column = {node: volts[:, k] for k, node in enumerate(circuit.nodes)}
    first, second = (column.get(node, np.zeros_like(times)) for node in winding.nodes)
    turned = 2.0 * math.pi * hertz * times + math.radians(degrees)
    driven: Floats = rms * math.sqrt(2.0) * np.sin(turned)
    return (driven - (first - second)) / held(ohms)


def _source(circuit: Circuit, name: str) -> None:
    for element in circuit.elements:
        if element.name == name and element.device is Device.SOURCE:
            return
    raise InputError(
        f"There is no source called {name!r} in the stage.",
        remedy="Name a rail, a pin that holds volts, or an input that is not blocked.",
    )


def _deck(
    circuit: Circuit,
    variation: Variation,
    *,
    swing: Swing | None = None,
    sounding: str | None = None,
) -> tuple[Circuit, Deck]:
    concrete = applied(circuit, variation)
    if not sensible(concrete, variation):
        raise Unsolved("A value of the stage is zero, negative or beyond all bounds.")
    wired = rewired(concrete, variation)
    return wired, deck(wired, variation.loads, swing=swing, sounding=sounding)


def _read(simulator: Simulator, names: Sequence[str], length: int) -> NDArray[np.float64] | None:
    """The vectors side by side, (length, names); None unless each is there, whole and finite."""
    columns = []
    for name in names:
        column = simulator.vector(name)
        if column is None or len(column) != length or not np.isfinite(column).all():
            return None
        columns.append(column)
    return np.stack(columns, axis=1)
