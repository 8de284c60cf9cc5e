"""Operating points on a loaded deck: what differs from what is loaded is altered, nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from biaspredict.engine.deck import Handles, deck, handles, load_handles, shape
from biaspredict.engine.simulator import Simulator
from biaspredict.engine.values import leads, limits, rewired
from biaspredict.model.circuit import Circuit, Device, Element, Variation


@dataclass(frozen=True, slots=True)
class Case:
    """One row to solve: `concrete` is `circuit` with the row's values, `variation` the rest.

    near: volts to begin at; such a row has a deck of its own.
    """

    row: int
    variation: Variation
    concrete: Circuit
    circuit: Circuit
    near: tuple[float, ...] = ()

    def structure(self) -> tuple[object, ...]:
        """What of the case is written into a deck; cases of equal structure share one."""
        pairs = zip(self.concrete.elements, self.circuit.elements, strict=True)
        shapes = tuple((k, shape(e)) for k, (e, base) in enumerate(pairs) if e is not base)
        variation = self.variation
        return (
            variation.moves,
            tuple(leads(variation)),
            tuple((load.a, load.b) for load in variation.loads),
            tuple((k, s) for k, s in shapes if s and s != shape(self.circuit.elements[k])),
            self.near,
        )


def by_structure(cases: Iterable[Case]) -> Iterator[tuple[Case, tuple[object, ...]]]:
    """The cases, those of one structure together."""
    groups: dict[tuple[object, ...], list[Case]] = {}
    for case in cases:
        groups.setdefault(case.structure(), []).append(case)
    for structure, group in groups.items():
        for case in group:
            yield case, structure


@dataclass(slots=True)
class _Loaded:
    """What the simulator holds.

    elements: the circuit's as last set, then the joints of lifted leads; numbers: the handles
    that carry them; nodes: ngspice's names of the circuit's nodes; behind: of the node behind
    each lifted lead.
    """

    circuit: Circuit
    structure: tuple[object, ...]
    elements: list[Element]
    celsius: float
    numbers: list[Handles]
    nodes: list[bytes]
    behind: dict[str, bytes]
    loads: Handles


def point(simulator: Simulator, case: Case, structure: tuple[object, ...]) -> list[float] | None:
    """Volts of every node, then behind each lift, in order; None unless verifiably solved."""
    loaded = simulator.loaded
    if (
        not isinstance(loaded, _Loaded)
        or loaded.structure != structure
        or (loaded.circuit is not case.circuit and loaded.circuit != case.circuit)
    ):
        loaded = _load(simulator, case, structure)
    _settle(simulator, loaded, case)
    if not simulator.run("op"):
        # Once more on a fresh deck: whoever else uses ngspice may have loaded a circuit.
        loaded = _load(simulator, case, structure)
        if not simulator.run("op"):
            return None
    volts = [simulator.value(name) for name in loaded.nodes]
    volts += [simulator.value(loaded.behind[lead]) for lead, _ in case.variation.lifts]
    low, high = limits(case.concrete, case.variation.loads)
    # A comparison with NaN fails, as it should.
    return volts if all(low <= v <= high for v in volts) else None


def _load(simulator: Simulator, case: Case, structure: tuple[object, ...]) -> _Loaded:
    circuit, variation = case.concrete, case.variation
    wired = rewired(circuit, variation)
    text = deck(wired, variation.loads, near=case.near)
    simulator.load(text)
    numbers = [handles(k, e, circuit.celsius) for k, e in enumerate(wired.elements)]
    nodes = [text.names[node].encode("ascii") for node in wired.nodes]
    n = len(circuit.nodes)
    behind = dict(zip(leads(variation), nodes[n:], strict=True))
    loads: Handles = {}
    for k, load in enumerate(variation.loads):
        loads |= load_handles(k, load)
    loaded = _Loaded(
        case.circuit,
        structure,
        list(wired.elements),
        wired.celsius,
        numbers,
        nodes[:n],
        behind,
        loads,
    )
    simulator.loaded = loaded
    return loaded


def _settle(simulator: Simulator, loaded: _Loaded, case: Case) -> None:
    """Set whatever of the case differs from what is loaded."""
    changes: Handles = {}
    celsius = case.concrete.celsius
    warmed = celsius != loaded.celsius
    if warmed:
        changes["option temp"] = changes["option tnom"] = celsius
    elements = [*case.concrete.elements, *_joints(case.variation)]
    for k, element in enumerate(elements):
        if warmed or element is not loaded.elements[k]:
            numbers = handles(k, element, celsius)
            before = loaded.numbers[k]
            changes.update((name, x) for name, x in numbers.items() if before[name] != x)
            loaded.elements[k], loaded.numbers[k] = element, numbers
    loads: Handles = {}
    for k, load in enumerate(case.variation.loads):
        loads.update(load_handles(k, load))
    changes.update((name, x) for name, x in loads.items() if loaded.loads.get(name) != x)
    loaded.celsius, loaded.loads = celsius, loads
    simulator.loaded = None  # an interruption halfway leaves nobody knows what
    simulator.set(changes)
    simulator.loaded = loaded


def _joints(variation: Variation) -> list[Element]:
    """The resistors that `rewired` puts behind the circuit's elements, but for their nodes."""
    return [Element(lead, Device.RESISTOR, (), (ohms,)) for lead, ohms in leads(variation).items()]
