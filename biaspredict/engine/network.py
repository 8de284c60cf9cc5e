"""The equations of many variations at once: current balance of every node, and its slopes."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.laws import (
    Bipolars,
    Branches,
    Channels,
    Drains,
    Group,
    Junctions,
    Lamps,
)
from biaspredict.engine.plan import TEMPERATURE, Ints, Lot, Plan
from biaspredict.engine.solver import Floats
from biaspredict.engine.values import GATE_SATURATION, ZENER_SATURATION
from biaspredict.model.circuit import CLOSED, FIELDS, OPEN, TERMINALS, Device
from biaspredict.model.devices import (
    BOLTZMANN_OVER_CHARGE,
    KELVIN,
    REFERENCE_CELSIUS,
    thermal_volts,
)

# A group, and the field behind each quantity of its law.
Made = tuple[Group, dict[str, str]]

SHUNT = 1.0 / OPEN  # siemens from every node to ground: a floating node has a voltage too


def siemens(ohms: Floats) -> Floats:
    """Conductance, no better than a sound joint and no worse than an open one."""
    result: Floats = 1.0 / np.clip(ohms, CLOSED, OPEN)
    return result


class Network:
    """B variations: groups of elements, their legs, and what is constant of the slopes.

    Node 0 is ground. Element legs that no variation moves or lifts keep one number for all.
    """

    def __init__(self, plan: Plan, lot: Lot) -> None:
        self.nodes = plan.size + 1 + lot.spares
        self.many = lot.many
        self.groups: list[Group] = []
        self.branches: list[Branches] = []
        for group in _groups(plan, lot):
            if isinstance(group, Branches):
                self.branches.append(group)
            else:
                self.groups.append(group)
        self.curved = [group for group in self.groups if group.pairs]
        self.base = self._constant()
        self._incidence()

    def _constant(self) -> Floats:
        """(B, N, N): slopes of branches and shunts."""
        size = self.nodes
        base = np.zeros((self.many, size, size))
        for group in self.branches:
            places = _places(group, size) + np.arange(self.many) * size * size
            slopes = np.broadcast_to(group.slopes(), (4, group.count, self.many))
            base += _sums(places.ravel(), slopes.reshape(-1, self.many).ravel(), base.shape)
        base[:, range(size), range(size)] += SHUNT
        return base

    def _incidence(self) -> None:
        """Where flows and slopes go; to be called whenever variations leave."""
        every = [*self.groups, *self.branches]
        rows = sum(len(g.ends) * g.count for g in every if g.shared)
        self._shared = np.zeros((self.nodes, rows))
        column = 0
        own: list[Ints] = []
        steps = np.arange(self.many)
        for group in every:
            for a, b in group.ends:
                if group.shared:
                    span = np.arange(column, column + group.count)
                    np.add.at(self._shared, (group.legs[a, :, 0], span), 1.0)
                    np.add.at(self._shared, (group.legs[b, :, 0], span), -1.0)
                    column += group.count
                else:
                    own.append(group.legs[[a, b]] * self.many + steps)
        self._own = (
            np.concatenate([o.reshape(2, -1) for o in own], axis=1).ravel()
            if own
            else np.empty(0, dtype=np.int64)
        )
        square = self.nodes * self.nodes
        places = [
            np.broadcast_to(_places(g, self.nodes), (len(g.pairs) * g.count, self.many))
            for g in self.curved
        ]
        self._places = (
            (np.concatenate(places) + steps * square).ravel()
            if places
            else np.empty(0, dtype=np.int64)
        )

    def start(self, nodes: Floats) -> None:
        """Take node volts (N, B) as where every junction stood last."""
        for group in self.groups:
            group.start(nodes)

    def keep(self, kept: Ints) -> None:
        """Drop every variation but the kept ones."""
        self.many = len(kept)
        for group in (*self.groups, *self.branches):
            group.keep(kept)
        self.base = self.base[kept]
        self._incidence()

    def balance(
        self, nodes: Floats, limit: bool = False
    ) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """What leaves each node (N, B), its slopes (B, N, N), whether a junction was held (B,)."""
        slopes: list[Floats] = []
        held = np.zeros(self.many, dtype=bool)

        def flow(group: Group) -> Floats:
            flows, slope, stopped = group.flows(group.volts(nodes), limit)
            if group.pairs and not isinstance(group, Branches):
                slopes.append(slope.reshape(-1, self.many))
            if stopped is not None:
                np.logical_or(held, stopped.any(axis=0), out=held)
            return flows

        leaving = self._gather(flow, 1.0)
        leaving += SHUNT * nodes
        if not slopes:
            return leaving, self.base.copy(), held
        weights = np.concatenate(slopes).ravel()
        matrix = _sums(self._places, weights, self.base.shape)
        matrix += self.base
        return leaving, matrix, held

    def traffic(self, nodes: Floats) -> tuple[Floats, Floats]:
        """Sums of absolute currents at each node, and of what rounding can do there (N, B)."""
        epsilon = float(np.finfo(float).eps)

        def size(group: Group) -> Floats:
            result: Floats = np.abs(group.flows(group.volts(nodes), False)[0])
            return result

        def noise(group: Group) -> Floats:
            if isinstance(group, Branches):
                volts = np.abs(group.volts(nodes))
                total = volts[0] + volts[1] + np.abs(group.emf)
                result: Floats = (epsilon * group.siemens * total)[None]
                return result
            return epsilon * size(group)

        return self._gather(size, -1.0), self._gather(noise, -1.0)

    def _gather(self, flow: Callable[[Group], Floats], back: float) -> Floats:
        """Flows of all groups summed at their nodes (N, B); `back`: sign at the far end."""
        shared: list[Floats] = []
        own: list[Floats] = []
        for group in (*self.groups, *self.branches):
            flows = flow(group).reshape(-1, self.many)
            (shared if group.shared else own).append(flows)
        total: Floats = np.zeros((self.nodes, self.many))
        if shared:
            where = self._shared if back > 0 else np.abs(self._shared)
            total = np.matmul(where, np.concatenate(shared))
        if own:
            flat = np.concatenate(own).ravel()
            total += _sums(self._own, np.concatenate((flat, -back * flat)), total.shape)
        return total


def _sums(places: Ints, weights: Floats, shape: tuple[int, ...]) -> Floats:
    """Weights added up at flat places of an array of `shape`."""
    size = int(np.prod(shape))
    return np.asarray(np.bincount(places, weights, size), dtype=np.float64).reshape(shape)


def _places(group: Group, size: int) -> Ints:
    """Places of a group's slopes in a matrix of `size`: (pairs * D, 1 or B)."""
    rows = [group.legs[i] * size + group.legs[j] for i, j in group.pairs]
    return np.concatenate(rows)


def _groups(plan: Plan, lot: Lot) -> Iterator[Group]:
    yield from _branches(plan, lot)
    for device, make in _MAKERS.items():
        placed = plan.placed.get(device)
        if placed is None:
            continue
        size = len(FIELDS[device])
        for which in _split(placed.legs, len(TERMINALS[device]), lot):
            fields = [lot.values[placed.rows[which] + i] for i in range(size)]
            for group, quantities in make(placed.legs[which], fields, lot):
                group.rows = {
                    quantity: placed.rows[which] + FIELDS[device].index(field)
                    for quantity, field in quantities.items()
                }
                yield group


def _split(legs: Ints, count: int, lot: Lot) -> Iterator[Ints]:
    """Elements (by the first of `count` legs) that keep their legs, then those that do not."""
    own = np.array(
        [any(int(leg) + i in lot.touched for i in range(count)) for leg in legs], dtype=bool
    )
    for mask in (~own, own):
        if mask.any():
            yield np.flatnonzero(mask)


def _legs(lot: Lot, *legs: Ints) -> Ints:
    """Nodes (k, D, 1 or B) of legs."""
    touched = any(int(leg) in lot.touched for row in legs for leg in row)
    nodes = lot.legs[np.stack(legs)]
    return nodes if touched else nodes[..., :1]


def _branches(plan: Plan, lot: Lot) -> Iterator[Branches]:
    count = len(plan.branch_row)
    none = np.full(count, -1)
    rows = {"ohms": plan.branch_row, "emf": none.copy(), "upper": none, "lower": none}
    sources = plan.placed.get(Device.SOURCE)
    if sources is not None:
        rows["emf"][np.searchsorted(plan.branch_row, sources.rows + 1)] = sources.rows
    start, end = plan.branch_from, plan.branch_to
    conductance = siemens(lot.values[plan.branch_row])
    pots = plan.placed.get(Device.POT)
    if pots is not None:
        start = np.concatenate((start, pots.legs, pots.legs + 1))
        end = np.concatenate((end, pots.legs + 1, pots.legs + 2))
        conductance = np.concatenate((conductance, siemens(pot_ohms(lot.values, pots.rows))))
        none, turn = np.full(len(pots.rows), -1), pots.rows + 1
        for name, upper, lower in (
            ("ohms", pots.rows, pots.rows),
            ("emf", none, none),
            ("upper", turn, none),
            ("lower", none, turn),
        ):
            rows[name] = np.concatenate((rows[name], upper, lower))
    emf = np.where(rows["emf"][:, None] >= 0, lot.values[rows["emf"]], 0.0)
    own = np.array(
        [int(a) in lot.touched or int(b) in lot.touched for a, b in zip(start, end, strict=True)],
        dtype=bool,
    )
    for mask in (~own, own):
        if mask.any():
            group = Branches(_legs(lot, start[mask], end[mask]), conductance[mask], emf[mask])
            group.rows = {name: row[mask] for name, row in rows.items()}
            yield group
    for ohms, a, b, volts in (
        (lot.load_ohms, lot.load_from, lot.load_to, lot.load_volts),
        (lot.lift_ohms, _spare_nodes(plan, lot), lot.lift_node, np.zeros_like(lot.lift_ohms)),
    ):
        if len(ohms):
            there = np.where(np.isfinite(ohms), siemens(ohms), 0.0)
            yield Branches(np.stack((a, b)), there, volts)


def _spare_nodes(plan: Plan, lot: Lot) -> Ints:
    return np.repeat((plan.size + 1 + np.arange(lot.spares))[:, None], lot.many, axis=1)


def pot_ohms(values: Floats, rows: Ints) -> Floats:
    """(2 D, B): from top to wiper, then from wiper to bottom; the wiper stays on its track."""
    turn = np.clip(values[rows + 1], 0.0, 1.0)
    ohms = values[rows]
    return np.concatenate((ohms * (1.0 - turn), ohms * turn))


def _heat(lot: Lot) -> tuple[Floats, Floats]:
    """Thermal volts and T/T0, each (B,)."""
    kelvin = lot.values[TEMPERATURE] + KELVIN
    return BOLTZMANN_OVER_CHARGE * kelvin, kelvin / (REFERENCE_CELSIUS + KELVIN)


def _junctions(first: Ints, f: list[Floats], lot: Lot) -> Iterator[Made]:
    saturation, ideality, gap, zener_volts, zener_amps, _ = f
    volts, ratio = _heat(lot)
    thermal = ideality * volts
    ones = np.ones((len(first), 1))
    hot = saturation * np.exp((ratio - 1.0) * gap / thermal)
    legs, zero = _legs(lot, first, first + 1), np.zeros_like(thermal)
    yield Junctions(legs, ones, hot, thermal, zero), {"saturation": "saturation"}
    if np.isfinite(zener_volts).any():
        # Breakdown: a diode the other way round behind a source (see values.breakdown_volts).
        bend = thermal_volts(REFERENCE_CELSIUS) * np.log(zener_amps / ZENER_SATURATION + 1.0)
        broken = Junctions(
            _legs(lot, first + 1, first),
            ones,
            np.full((len(first), lot.many), ZENER_SATURATION),
            np.broadcast_to(volts, zener_volts.shape).copy(),
            zener_volts - bend,
        )
        yield broken, {"emf": "zener_volts"}


def _bipolars(first: Ints, f: list[Floats], lot: Lot) -> Iterator[Made]:
    sign, saturation, gain, reverse, early, icbo, gap = f[:7]
    volts, ratio = _heat(lot)
    warm = ratio**1.5
    hotter = lot.values[TEMPERATURE] - REFERENCE_CELSIUS
    group = Bipolars(
        _legs(lot, first, first + 1, first + 2),
        np.sign(sign),
        saturation * np.exp((ratio - 1.0) * gap / volts),
        gain * warm,
        reverse * warm,
        early,
        icbo * np.exp2(hotter / 9.0),
        np.broadcast_to(volts, sign.shape).copy(),
    )
    yield group, {name: name for name in ("saturation", "gain", "reverse_gain", "early", "icbo")}


def _fets(first: Ints, f: list[Floats], lot: Lot) -> Iterator[Made]:
    sign, idss, pinch_off, slope = f[:4]
    sign = np.sign(sign)
    volts = np.broadcast_to(_heat(lot)[0], sign.shape).copy()
    gate = np.full(sign.shape, GATE_SATURATION)
    legs = _legs(lot, first, first + 1, first + 2)
    yield (
        Channels(legs, sign, idss, pinch_off, slope),
        {"idss": "idss", "pinch_off": "pinch_off"},
    )
    for far in (first + 2, first):
        yield Junctions(_legs(lot, first + 1, far), sign, gate, volts, np.zeros_like(volts)), {}


def _lamps(first: Ints, f: list[Floats], lot: Lot) -> Iterator[Made]:
    yield Lamps(_legs(lot, first, first + 1), *f), {"hot_ohms": "hot_ohms"}


def _drains(first: Ints, f: list[Floats], lot: Lot) -> Iterator[Made]:
    yield Drains(_legs(lot, first, first + 1), *f), {"amps": "amps"}


_MAKERS: dict[Device, Callable[[Ints, list[Floats], Lot], Iterator[Made]]] = {
    Device.JUNCTION: _junctions,
    Device.BIPOLAR: _bipolars,
    Device.JFET: _fets,
    Device.LAMP: _lamps,
    Device.CURRENT: _drains,
}
