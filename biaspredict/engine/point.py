"""Operating points on a loaded deck: what differs from what is loaded is altered, nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from biaspredict.engine.deck import (
    JOINTED,
    Handles,
    deck,
    handles,
    joint,
    load_handles,
    shape,
    terminal_node,
)
from biaspredict.engine.simulator import Simulator
from biaspredict.engine.values import held, leads, limits, moved
from biaspredict.model.circuit import (
    TERMINALS,
    Circuit,
    Element,
    Variation,
    lifted,
)


@dataclass(frozen=True, slots=True)
class Case:
    """One row to solve: `concrete` is `circuit` with the row's values, `variation` the rest."""

    row: int
    variation: Variation
    concrete: Circuit
    circuit: Circuit

    def structure(self) -> tuple[object, ...]:
        """What of the case is written into a deck; cases of equal structure share one."""
        pairs = zip(self.concrete.elements, self.circuit.elements, strict=True)
        shapes = tuple((k, shape(e)) for k, (e, base) in enumerate(pairs) if e is not base)
        variation = self.variation
        return (
            variation.moves,
            tuple(lead for lead in leads(variation) if not _jointed(self.circuit, lead)),
            tuple((load.a, load.b) for load in variation.loads),
            tuple((k, s) for k, s in shapes if s and s != shape(self.circuit.elements[k])),
        )


def _jointed(circuit: Circuit, lead: str) -> bool:
    return circuit.element(lead.rpartition(".")[0]).device in JOINTED


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

    elements, celsius, numbers: as last set, and the handles that carry them.
    joints: each lead that can be lifted, as element and terminal number or as the handle of a
    resistor; behind: ngspice's name of the node behind it; lifted: ohms of each lead last set.
    """

    circuit: Circuit
    structure: tuple[object, ...]
    elements: list[Element]
    celsius: float
    numbers: list[Handles]
    nodes: list[bytes]
    joints: dict[str, tuple[int, int] | str] = field(default_factory=dict)
    behind: dict[str, bytes] = field(default_factory=dict)
    lifted: dict[str, float] = field(default_factory=dict)
    loads: Handles = field(default_factory=dict)


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
        _settle(simulator, loaded, case)
        if not simulator.run("op"):
            return None
    volts = [simulator.value(name) for name in loaded.nodes]
    volts += [simulator.value(loaded.behind[lead]) for lead, _ in case.variation.lifts]
    low, high = limits(case.concrete, case.variation.loads)
    # A comparison with NaN fails, as it should.
    return volts if all(low <= v <= high for v in volts) else None


def _load(simulator: Simulator, case: Case, structure: tuple[object, ...]) -> _Loaded:
    """Load the case's deck, joints of transistors and diodes sound."""
    circuit, lifts = case.concrete, leads(case.variation)
    structural = tuple((x, o) for x, o in lifts.items() if not _jointed(circuit, x))
    wired = lifted(moved(circuit, case.variation.moves), structural)
    text = deck(wired, case.variation.loads)
    simulator.load(text)
    loaded = _Loaded(
        case.circuit,
        structure,
        list(circuit.elements),
        circuit.celsius,
        [handles(k, e, circuit.celsius) for k, e in enumerate(circuit.elements)],
        [text.names[node].encode("ascii") for node in circuit.nodes],
    )
    for k, element in enumerate(circuit.elements):
        if element.device in JOINTED:
            for which, terminal in enumerate(TERMINALS[element.device]):
                lead = f"{element.name}.{terminal}"
                loaded.joints[lead] = (k, which)
                loaded.behind[lead] = terminal_node(k, which).encode("ascii")
    for k, (lead, _) in enumerate(structural, len(circuit.elements)):
        (loaded.joints[lead],) = handles(k, wired.elements[k], circuit.celsius)
        loaded.behind[lead] = text.names[f"{lead} (lead)"].encode("ascii")
    simulator.loaded = loaded
    return loaded


def _settle(simulator: Simulator, loaded: _Loaded, case: Case) -> None:
    """Set whatever of the case differs from what is loaded."""
    changes: Handles = {}
    celsius = case.concrete.celsius
    warmed = celsius != loaded.celsius
    if warmed:
        changes["option temp"] = changes["option tnom"] = celsius
    for k, element in enumerate(case.concrete.elements):
        if warmed or element is not loaded.elements[k]:
            numbers = handles(k, element, celsius)
            before = loaded.numbers[k]
            changes.update((name, x) for name, x in numbers.items() if before[name] != x)
            loaded.elements[k], loaded.numbers[k] = element, numbers
    lifts = leads(case.variation)
    for lead in loaded.lifted.keys() - lifts.keys():
        changes |= _joint(loaded.joints[lead], None)
    for lead, ohms in lifts.items():
        if loaded.lifted.get(lead) != ohms:
            changes |= _joint(loaded.joints[lead], ohms)
    loads: Handles = {}
    for k, load in enumerate(case.variation.loads):
        loads.update(load_handles(k, load))
    changes.update((name, x) for name, x in loads.items() if loaded.loads.get(name) != x)
    loaded.celsius, loaded.lifted, loaded.loads = celsius, lifts, loads
    simulator.loaded = None  # an interruption halfway leaves nobody knows what
    simulator.set(changes)
    simulator.loaded = loaded


def _joint(place: tuple[int, int] | str, ohms: float | None) -> Handles:
    if isinstance(place, tuple):
        return joint(*place, ohms)
    return {place: held(ohms or 0.0)}
