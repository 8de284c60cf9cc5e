"""The stage as a signal crosses it: from one input to one output, at its operating point."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.flatten import carries_current, flatten
from biaspredict.engine.signals import conductance, determinant_sign, transfer
from biaspredict.engine.solver import Floats, Solver
from biaspredict.engine.stores import Motion, Store, stores
from biaspredict.errors import TO_PROOF, InputError, Unsolved
from biaspredict.graph.signal import BACKWARD_STEP, signal_path
from biaspredict.model.circuit import CLOSED, OPEN, SOUND, Circuit, Device, Element, Load, Variation
from biaspredict.model.devices import Bipolar, Fet
from biaspredict.model.stage import GROUND, Port, Stage
from biaspredict.predict.currents import Flows
from biaspredict.predict.states import Region, transistor_state
from biaspredict.predict.steady import OverTime
from biaspredict.quantities import Unit, engineering

OUTSIDE = 1.0  # farads behind a blocked port; taken as wire wherever a signal is computed
FAINT = 1e-6  # of the source, below which no signal is said to arrive

Complexes = NDArray[np.complex128]


class Referee(OverTime, Protocol):
    """What is asked of ngspice here; see `engine.ngspice.Ngspice`."""

    def sweep(
        self, circuit: Circuit, variation: Variation, source: str, hertz: Sequence[float]
    ) -> Complexes: ...


@dataclass(frozen=True)
class SignalPath:
    """A solved stage with its source and load connected.

    circuit: the stage, and behind each blocked port the source or load with a capacitor.
    volts: (n,) in the order of its nodes. start, end: the input and the output. source: the
    SOURCE that drives.
    """

    stage: Stage
    circuit: Circuit
    volts: Floats
    start: Port
    end: Port
    source: str

    @cached_property
    def column(self) -> Mapping[str, int]:
        return {node: i for i, node in enumerate(self.circuit.nodes)}

    @cached_property
    def stores(self) -> tuple[Store, ...]:
        """Capacitors of the stage itself."""
        own = {part.ref for part in self.stage.parts}
        return tuple(store for store in stores(self.circuit) if store.name in own)

    @cached_property
    def outside(self) -> tuple[Store, ...]:
        """Capacitors behind blocked ports."""
        return tuple(s for s in stores(self.circuit) if s not in self.stores)

    @cached_property
    def matrix(self) -> Floats:
        """(n, n) conductances at the operating point, capacitors outside the stage as wire."""
        return conductance(self.circuit, self._across(self.outside), self.volts)

    @cached_property
    def drive(self) -> Floats:
        """(n,) amperes that a volt of the source feeds in."""
        fed = np.zeros(len(self.circuit.nodes))
        element = self.circuit.element(self.source)
        fed[self.column[element.nodes[0]]] = 1.0 / max(element.value("ohms"), CLOSED)
        return fed

    @property
    def out(self) -> int:
        """Column of the output."""
        return self.column[self.end.node]

    def _across(self, some: Sequence[Store]) -> Variation:
        """A wire across each of these capacitors."""
        pairs = (self.circuit.element(store.name).nodes for store in some)
        return Variation(loads=tuple(Load(a, b, CLOSED) for a, b in pairs))

    def gain(
        self,
        hertz: Floats | Sequence[float],
        variation: Variation = SOUND,
        wire: Sequence[Store] = (),
    ) -> Complexes:
        """(F,) volts at the output for a volt of the source, by the linear stage.

        variation: settings and scales of capacitors, which leave the operating point alone.
        wire: capacitors taken as wire.
        """
        return self.gain_from(self.source, hertz, variation, wire)

    def gain_from(
        self,
        source: str,
        hertz: Floats | Sequence[float],
        variation: Variation = SOUND,
        wire: Sequence[Store] = (),
    ) -> Complexes:
        """(F,) the same for a volt of another source, such as a rail that carries ripple."""
        speeds = np.asarray(hertz, dtype=float)
        joined = variation.plus(self._across((*wire, *self.outside)))
        found = transfer(self.circuit, joined, self.volts, source, speeds)
        return np.asarray(found[:, self.out])

    def swept(
        self, referee: Referee, hertz: Sequence[float], wire: Sequence[Store] = ()
    ) -> tuple[Complexes, Complexes]:
        """(F,) by ngspice: output for a volt of the source, and for a volt at the input node."""
        joined = (*wire, *self.outside)
        # A capacitor cannot be wire at DC, so it is made as large as the frequency asks.
        groups = [[f] for f in hertz] if joined else [list(hertz)]
        rows = []
        for group in groups:
            farads = 1.0 / (2.0 * math.pi * group[0] * CLOSED)
            large = Variation(settings=tuple((f"{s.name}.farads", farads) for s in joined))
            rows.append(referee.sweep(self.circuit, large, self.source, group))
        found = np.concatenate(rows)
        whole = found[:, self.out]
        return whole, whole / found[:, self.column[self.start.node]]


def signal_circuit(stage: Stage) -> Circuit:
    """The stage's circuit with the sources and loads of blocked ports connected too."""
    circuit = flatten(stage)
    nodes, elements = list(circuit.nodes), list(circuit.elements)
    there = {element.name for element in elements}
    for what, ports in (("input", stage.inputs), ("load", stage.outputs)):
        for port in ports:
            name = f"{what} {port.node}"
            unloaded = what == "load" and port.ohms is None
            if carries_current(port) or unloaded or name in there:
                continue
            there.add(name)
            node = f"{port.node} (outside)"
            nodes.append(node)
            ohms = CLOSED if port.ohms is None else max(port.ohms, CLOSED)
            blocking = (OUTSIDE, OPEN, 0.0)
            elements.append(
                Element(f"outside {name}", Device.CAPACITOR, (port.node, node), blocking)
            )
            if what == "input":
                elements.append(Element(name, Device.SOURCE, (node,), (0.0, ohms)))
            else:
                elements.append(Element(name, Device.RESISTOR, (node, GROUND), (ohms,)))
    return Circuit(tuple(nodes), tuple(elements), circuit.celsius)


def signal_path_of(
    stage: Stage, referee: Solver, start: str | None = None, end: str | None = None
) -> SignalPath:
    """The way from an input to an output; of several the one that leads furthest.

    Raises InputError without an input or an output, or where none is called `start` or `end`;
    Unsolved where the operating point is not verified, is unstable, or leaves a transistor on
    the way unable to amplify, or where nothing arrives.
    """
    first, last = ports_of(stage, start, end)
    circuit = signal_circuit(stage)
    found = referee.solve(circuit, [SOUND])
    if not found.solved[0]:
        raise Unsolved(
            "this stage has no operating point that could be verified",
            remedy=TO_PROOF,
        )
    volts = found.volts[0][: len(circuit.nodes)]
    path = SignalPath(stage, circuit, volts, first, last, f"input {first.node}")
    _must_amplify(path)
    _must_rest(path)
    if float(np.abs(path.gain([20.0, 1e3, 20e3])).max()) < FAINT:
        raise Unsolved(
            f"no signal gets from {first.node} to {last.node}",
            remedy="A joint or a coupling capacitor was left out, or the wrong output is meant: "
            "run `biaspredict proof`.",
        )
    return path


def ports_of(stage: Stage, start: str | None, end: str | None) -> tuple[Port, Port]:
    """The input and the output of those names, or the pair with the longest way between them.

    Raises InputError where the stage has none, or none of that name.
    """
    for what, ports, sample in (
        ("input", stage.inputs, "input IN from 600"),
        ("output", stage.outputs, "output OUT into 47K"),
    ):
        if not ports:
            raise InputError(
                f"the stage has no {what}, so there is no gain and no bass to speak of",
                remedy=f"Say where the signal {'enters' if what == 'input' else 'leaves'}, with "
                f"what stands outside: `{sample}`.",
            )
    places = signal_path(stage)
    first = _called(stage, stage.inputs, start, "input") if start else None
    last = _called(stage, stage.outputs, end, "output") if end else None
    if first is None:
        entry = places.spine[0] if places.spine else None
        first = next((p for p in stage.inputs if p.node == entry), stage.inputs[0])
    if last is None:
        last = max(stage.outputs, key=lambda port: places.nodes.get(port.node, -1.0))
    return first, last


def _called(stage: Stage, ports: Sequence[Port], name: str, what: str) -> Port:
    node = name if name in stage.nodes else stage.names.get(name)
    for port in ports:
        if node is not None and port.node == node:
            return port
    known = ", ".join(port.node for port in ports)
    raise InputError(f"no {what} is called {name}", remedy=f"There is: {known}.")


def _must_amplify(path: SignalPath) -> None:
    """Raises Unsolved where a transistor that the signal has to cross does not amplify."""
    volts = dict(zip(path.circuit.nodes, path.volts.tolist(), strict=True)) | {GROUND: 0.0}
    flows = Flows({}, {}, {})  # regions are told from the volts alone
    states = {
        part.ref: state
        for part in path.stage.parts
        if isinstance(part.device, Bipolar | Fet)
        and (state := transistor_state(path.stage, part, volts, flows)) is not None
        and state.region is not Region.ACTIVE
    }
    stuck = [ref for ref in _spine(path, path.stage) if ref in states]
    # A limiter or the resting half of a push-pull stage is cut off, and the signal goes past it.
    awake = tuple(part for part in path.stage.parts if part.ref not in states)
    if not stuck or any(
        isinstance(path.stage.part(ref).device, Bipolar | Fet)
        for ref in _spine(path, replace(path.stage, parts=awake))
    ):
        return
    part, state = path.stage.part(stuck[0]), states[stuck[0]]
    legs = ("V_BE", "V_CE") if isinstance(part.device, Bipolar) else ("V_GS", "V_DS")
    meter = ", ".join(
        f"{leg} {engineering(v, Unit.VOLT)}"
        for leg, v in zip(legs, (state.vbe, state.vce), strict=True)
    )
    raise Unsolved(
        f"{part.ref}, which the signal must cross, is {_WORDS[state.region]} ({meter}): it does "
        "not amplify, and no gain or corner is given",
        remedy="Mend the DC first: `biaspredict proof` says what is amiss.",
    )


def _spine(path: SignalPath, stage: Stage) -> tuple[str, ...]:
    """References on the way from the input to the output, none where it leads backwards."""
    alone = replace(stage, inputs=(path.start,), outputs=(path.end,))
    found = signal_path(alone)
    forward = found.nodes.get(path.end.node, math.inf) < BACKWARD_STEP
    return found.spine[1::2] if forward else ()


_WORDS = {
    Region.SATURATED: "saturated",
    Region.CUT_OFF: "cut off",
    Region.REVERSED: "the wrong way round",
    Region.GATE_OPEN: "driven into gate current",
}


def _must_rest(path: SignalPath) -> None:
    """Raises Unsolved where the stage cannot stay at its operating point."""
    steady = determinant_sign(path.circuit, SOUND, path.volts) > 0.0
    if steady and not Motion(path.matrix, path.stores).grows:
        return
    raise Unsolved(
        "the stage cannot rest at its operating point: it latches or oscillates, and no gain or "
        "corner is given",
        remedy="Look for a transistor drawn upside down, or feedback taken to the wrong side.",
    )
