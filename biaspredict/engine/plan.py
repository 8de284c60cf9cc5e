"""A circuit as numbered rows: where each value, each leg and each branch stands.

Node 0 is ground, nodes 1 to n those of the circuit in order, n + 1 onwards the spare nodes
behind lifted leads. Legs are the terminals of all elements in order.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import FIELDS, TERMINALS, Axis, Circuit, Device, Variation
from biaspredict.model.stage import GROUND

Ints = NDArray[np.int64]
TEMPERATURE = 0  # row of the junctions' temperature
KEPT = 8  # spreads of one plan

# Which fields are ohms between which terminals; -1 is ground.
_BRANCHES: dict[Device, tuple[tuple[str, int, int], ...]] = {
    Device.RESISTOR: (("ohms", 0, 1),),
    Device.CAPACITOR: (("leak", 0, 1),),
    Device.COIL: (("ohms", 0, 1),),
    Device.WINDING: (("ohms", 0, 1),),
    Device.SOURCE: (("ohms", 0, -1),),
    Device.JUNCTION: (("leak", 0, 1),),
    Device.BIPOLAR: (("cb_leak", 0, 1), ("be_leak", 1, 2), ("ce_leak", 0, 2)),
    Device.JFET: (("gs_leak", 1, 2), ("gd_leak", 1, 0), ("ds_leak", 0, 2)),
}
_SIGNED = {
    Device.SOURCE: {"volts"},
    Device.CURRENT: {"amps"},
    Device.BIPOLAR: {"polarity"},
    Device.JFET: {"polarity"},
}
# Fields that direct current knows nothing of.
_UNSEEN = {"farads", "series", "henries", "rms", "hertz"}
_ENDLESS = {Device.BIPOLAR: {"early"}, Device.JUNCTION: {"zener_volts"}}
_ABOVE_ZERO = {
    Device.BIPOLAR: {"saturation", "gain", "reverse_gain", "early"},
    Device.JUNCTION: {"saturation", "ideality", "zener_amps"},
    Device.JFET: {"pinch_off"},
    Device.LAMP: {"hot_ohms", "volts"},
}


@dataclass(frozen=True, slots=True)
class Placed:
    """All elements of one device: first value row and first leg of each, (D,)."""

    rows: Ints
    legs: Ints


class Push(NamedTuple):
    """An axis moves a value: by its logarithm or, additive, by itself, so much per amount."""

    axis: int
    additive: bool
    per: float = 1.0


@dataclass(frozen=True, slots=True)
class Spread:
    """What axes (P,) do to values. pushes: value row -> every axis that moves it. also: value
    rows, and shares (rows, P) of what is added to each per amount. moves: (value rows, axis
    columns, additive), axes in order, as many at once as touch different rows."""

    pushes: Mapping[int, Sequence[Push]]
    also: Ints
    shares: Floats
    moves: Sequence[tuple[Ints, Ints, bool]]


class Plan:
    """The numbering of one circuit; built once and kept as long as the circuit."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self._spreads: dict[tuple[Axis, ...], Spread] = {}
        self.node = {GROUND: 0} | {name: i for i, name in enumerate(circuit.nodes, 1)}
        self.row = {"temperature": TEMPERATURE}
        self.leg: dict[str, int] = {}
        values = [circuit.celsius]
        legs: list[int] = []
        placed: dict[Device, list[tuple[int, int]]] = {device: [] for device in Device}
        branches: list[tuple[int, int, int]] = []
        signed, endless, above = [TEMPERATURE], list[int](), list[int]()
        unseen: list[int] = []
        for element in circuit.elements:
            device, first, leg = element.device, len(values), len(legs)
            placed[device].append((first, leg))
            for i, name in enumerate(FIELDS[device]):
                self.row[f"{element.name}.{name}"] = first + i
                if name in _UNSEEN:
                    unseen.append(first + i)
                if name in _SIGNED.get(device, ()):
                    signed.append(first + i)
                if name in _ENDLESS.get(device, ()):
                    endless.append(first + i)
                if name in _ABOVE_ZERO.get(device, ()):
                    above.append(first + i)
            for i, name in enumerate(TERMINALS[device]):
                self.leg[f"{element.name}.{name}"] = leg + i
            for name, a, b in _BRANCHES.get(device, ()):
                branches.append(
                    (first + FIELDS[device].index(name), leg + a, leg + b if b >= 0 else -1)
                )
            values.extend(element.values)
            legs.extend(self.node[name] for name in element.nodes)
        self.nominal: Floats = np.array(values, dtype=float)
        self.legs: Ints = np.array([*legs, 0], dtype=np.int64)  # the last stands on ground
        ground_leg = len(legs)
        self.placed = {
            device: Placed(*_columns(where, 2)) for device, where in placed.items() if where
        }
        self.branch_row, self.branch_from, to = _columns(branches, 3)
        self.branch_to = np.where(to < 0, ground_leg, to)
        self.ground_leg = ground_leg
        self.signed, self.endless, self.above_zero = signed, endless, above
        self.unseen = frozenset(unseen)
        # Nodes that an element couples; ground counts as coupled with every node.
        self.pairs = frozenset(
            (self.node[a], self.node[b]) for e in circuit.elements for a in e.nodes for b in e.nodes
        )

    @property
    def size(self) -> int:
        """Nodes of the circuit without ground."""
        return len(self.circuit.nodes)

    def foreign(self, variation: Variation) -> set[tuple[int, int]]:
        """Pairs of nodes that the variation couples and the circuit's own elements do not.

        Spare nodes are left out: a form has them coupled with any.
        """
        if not (variation.loads or variation.moves):
            return set()
        node = self.node
        # A lifted lead, which is no node of the circuit, counts as ground here.
        met = {(node.get(load.a, 0), node.get(load.b, 0)) for load in variation.loads}
        goes = dict(variation.moves)
        for name in {lead.rpartition(".")[0] for lead in goes}:
            element = self.circuit.element(name)
            legs = [
                node[goes.get(f"{name}.{terminal}", at)]
                for terminal, at in zip(TERMINALS[element.device], element.nodes, strict=True)
            ]
            met.update((a, b) for a in legs for b in legs)
        return {(a, b) for a, b in met if a and b} - self.pairs

    def spread(self, axes: Sequence[Axis]) -> Spread:
        """What the axes do to the values; kept for those asked for last. Raises KeyError for a
        parameter that the circuit does not have."""
        key = tuple(axes)
        known = self._spreads.get(key)
        if known is None:
            known = Spread(self._pushes(key), *self._also(key), self._moves(key))
            while len(self._spreads) >= KEPT:
                self._spreads.pop(next(iter(self._spreads)))
            self._spreads[key] = known
        return known

    def _pushes(self, axes: Sequence[Axis]) -> dict[int, list[Push]]:
        found: dict[int, list[Push]] = {}
        for p, axis in enumerate(axes):
            for name in axis.parameters:
                found.setdefault(self.row[name], []).append(Push(p, axis.additive))
            for name, per in axis.also:
                found.setdefault(self.row[name], []).append(Push(p, True, per))
        return found

    def _also(self, axes: Sequence[Axis]) -> tuple[Ints, Floats]:
        rows = sorted({self.row[name] for axis in axes for name, _ in axis.also})
        shares = np.zeros((len(rows), len(axes)))
        for p, axis in enumerate(axes):
            for name, per in axis.also:
                shares[rows.index(self.row[name]), p] += per
        return np.array(rows, dtype=np.int64), shares

    def _moves(self, axes: Sequence[Axis]) -> list[tuple[Ints, Ints, bool]]:
        found: list[tuple[list[int], list[int], bool]] = []
        seen: set[int] = set()
        for column, axis in enumerate(axes):
            for name in axis.parameters:
                row = self.row[name]
                if not found or found[-1][2] != axis.additive or row in seen:
                    found.append(([], [], axis.additive))
                    seen = set()
                seen.add(row)
                found[-1][0].append(row)
                found[-1][1].append(column)
        return [(np.array(rows), np.array(columns), more) for rows, columns, more in found]


@lru_cache(maxsize=8)
def plan_of(circuit: Circuit) -> Plan:
    """The plan of a circuit; those used last are kept."""
    return Plan(circuit)


def _columns(rows: Sequence[tuple[int, ...]], width: int) -> list[Ints]:
    table = np.array(rows, dtype=np.int64).reshape(-1, width)
    return [table[:, i].copy() for i in range(width)]


@dataclass(slots=True)
class Lot:
    """B variations of one plan as arrays.

    values: (rows, B). legs: (L, B), or (L, 1) where no lead is moved or lifted; usual: (L,)
    where they are else; touched: the legs that are moved or lifted. lift_ohms, lift_node:
    (S, B), the resistance of each joint (inf: none) and the node it comes from. load_*: (K, B),
    ohms inf where there is none.
    """

    values: Floats
    legs: Ints
    usual: Ints
    touched: frozenset[int]
    lift_ohms: Floats
    lift_node: Ints
    load_from: Ints
    load_to: Ints
    load_ohms: Floats
    load_volts: Floats

    @property
    def many(self) -> int:
        return int(self.values.shape[1])

    @property
    def spares(self) -> int:
        return int(self.lift_ohms.shape[0])

    def part(self, keep: Ints) -> Lot:
        """The kept variations as a lot of their own."""
        return Lot(
            self.values.take(keep, axis=1),
            self.legs if self.legs.shape[1] == 1 else self.legs.take(keep, axis=1),
            self.usual,
            self.touched,
            self.lift_ohms.take(keep, axis=1),
            self.lift_node.take(keep, axis=1),
            self.load_from.take(keep, axis=1),
            self.load_to.take(keep, axis=1),
            self.load_ohms.take(keep, axis=1),
            self.load_volts.take(keep, axis=1),
        )


def lot(
    plan: Plan,
    variations: Sequence[Variation],
    axes: Sequence[Axis] = (),
    amounts: Floats | None = None,
    spares: int | None = None,
) -> Lot:
    """The variations as arrays: settings, scales, then axes; moves, then lifts.

    `spares`: spare nodes to provide, at least the most lifts of one variation. Raises KeyError
    for a parameter, lead or node that the circuit does not have.
    """
    many = len(variations)
    values = np.repeat(plan.nominal[:, None], many, axis=1)
    sets: list[tuple[int, int, float]] = []
    scales: list[tuple[int, int, float]] = []
    wired: list[int] = []
    lifts = loads = 0
    row = plan.row
    for b, variation in enumerate(variations):
        for name, value in variation.settings:
            sets.append((row[name], b, value))
        for name, factor in variation.scales:
            scales.append((row[name], b, factor))
        if variation.lifts or variation.moves or variation.loads:
            wired.append(b)
            lifts = max(lifts, len(variation.lifts))
            loads = max(loads, len(variation.loads))
    if sets:
        rows, columns, numbers = zip(*sets, strict=True)
        values[list(rows), list(columns)] = numbers
    with np.errstate(over="ignore", invalid="ignore"):
        if scales:
            rows, columns, numbers = zip(*scales, strict=True)
            np.multiply.at(values, (list(rows), list(columns)), numbers)
        if amounts is not None:
            moves = np.asarray(amounts, dtype=float).T
            spread = plan.spread(axes)
            for rows_in, columns_in, additive in spread.moves:
                if additive:
                    values[rows_in] += moves[columns_in]
                else:
                    values[rows_in] *= np.exp(moves[columns_in])
            values[spread.also] += spread.shares @ moves
    spare = max(lifts, spares or 0)
    made = Lot(
        values,
        plan.legs[:, None],
        plan.legs,
        frozenset(),
        np.full((spare, many), np.inf),
        np.zeros((spare, many), dtype=np.int64),
        np.zeros((loads, many), dtype=np.int64),
        np.zeros((loads, many), dtype=np.int64),
        np.full((loads, many), np.inf),
        np.zeros((loads, many)),
    )
    _wire(plan, made, [(b, variations[b]) for b in wired])
    return made


def _wire(plan: Plan, made: Lot, wired: Sequence[tuple[int, Variation]]) -> None:
    """Moves, lifts and loads of the variations that have any."""
    touched: set[int] = set()
    if any(v.moves or v.lifts for _, v in wired):
        made.legs = np.repeat(made.legs, made.many, axis=1)
    for b, variation in wired:
        for lead, node in variation.moves:
            leg = plan.leg[lead]
            made.legs[leg, b] = plan.node[node]
            touched.add(leg)
        spare: dict[str, int] = {}
        for k, (lead, ohms) in enumerate(variation.lifts):
            leg = plan.leg[lead]
            made.lift_ohms[k, b] = ohms
            made.lift_node[k, b] = made.legs[leg, b]
            made.legs[leg, b] = spare[f"{lead} (lead)"] = plan.size + 1 + k
            touched.add(leg)
        for k, load in enumerate(variation.loads):
            for name, where in ((load.a, made.load_from), (load.b, made.load_to)):
                where[k, b] = spare[name] if name in spare else plan.node[name]
            made.load_ohms[k, b] = load.ohms
            made.load_volts[k, b] = load.volts
    made.touched = frozenset(touched)


def sensible(plan: Plan, made: Lot) -> NDArray[np.bool_]:
    """(B,) whether every value means something; the others are never solved.

    Only an Early and a breakdown voltage may be infinite (none).
    """
    checked = made.values.copy()
    checked[plan.endless] = np.where(np.isposinf(checked[plan.endless]), 1.0, checked[plan.endless])
    good = np.isfinite(checked)
    checked[plan.signed] = 1.0
    good &= checked >= 0.0
    good[plan.above_zero] &= checked[plan.above_zero] > 0.0
    good[TEMPERATURE] &= made.values[TEMPERATURE] > -273.15
    good = np.concatenate(
        (good, made.lift_ohms >= 0.0, made.load_ohms >= 0.0, np.isfinite(made.load_volts))
    )
    return np.asarray(good.all(axis=0), dtype=bool)
