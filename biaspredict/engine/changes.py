"""How the admittances of the linear stage follow each value, and each node's volts.

What is kept is never the change of a matrix, but of one number for each point looked at: the
sum over all entries of (volts at the point for an ampere into a node) times (the entry) times
(volts of the signal at the other node).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.elements import branches, curves, siemens
from biaspredict.engine.laws import Bipolars, Branches, Group
from biaspredict.engine.network import Network
from biaspredict.engine.plan import TEMPERATURE, Ints, Lot, Plan
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import FIELDS, Device

Complexes = NDArray[np.complex128]
STEP = 1e-4  # of the logarithm of a value, or of a wiper's turn
KELVINS = 0.01
VOLTS = 1e-5  # of a terminal


class Changes:
    """signal: (N, B) phasors of the nodes; reach: (K, N, B) volts at each point for an ampere.

    plain: rows whose change is by the value itself; all others by its logarithm.
    """

    def __init__(
        self, plan: Plan, made: Lot, network: Network, nodes: Floats, signal: Complexes,
        reach: Complexes,
    ) -> None:
        self.plan, self.made, self.nodes = plan, made, nodes
        self.signal, self.reach = signal, reach
        self.curves = network.curves
        self.branches = [g for g in network.branches if isinstance(g, Branches)]
        self.weights = [self._weights(group) for group in self.curves]
        self.slopes = [self._slopes(group) for group in self.curves]
        pots = plan.placed.get(Device.POT)
        self.turns: set[int] = set() if pots is None else {int(row) + 1 for row in pots.rows}
        self.plain = frozenset({TEMPERATURE, *self.turns})

    def _weights(self, group: Group) -> Complexes:
        """(K, m, D, B): what each of a group's slopes counts for."""
        none = np.zeros((len(self.reach), 0, group.count, self.made.many), dtype=complex)
        pairs = [
            (group.legs.across(self.reach, i) * group.legs.across(self.signal[None], j))[:, None]
            for i, j in group.pairs
        ]
        return np.concatenate((none, *pairs), axis=1)

    def _slopes(self, group: Group, volts: Floats | None = None) -> Floats:
        at = group.legs.volts(self.nodes) if volts is None else volts
        return group.flows(at, False)[1]

    def of_bipolars(self) -> Iterator[tuple[Complexes, Floats]]:
        """(K, Q, B) change per ln(all conductances of one transistor); its siemens (Q, B)."""
        for group, weights, slopes in zip(self.curves, self.weights, self.slopes, strict=True):
            if isinstance(group, Bipolars):
                by_base = slopes[Bipolars.pairs.index((0, 1))]
                yield np.einsum("kmdb,mdb->kdb", weights, slopes), np.abs(by_base)

    def by_volts(self) -> Complexes:
        """(K, N, B) change per volt of each node, by the bends of the curves."""
        found = np.zeros(self.reach.shape, dtype=complex)
        columns = np.arange(self.made.many)
        for group, weights in zip(self.curves, self.weights, strict=True):
            if not group.pairs:
                continue
            volts = group.legs.volts(self.nodes)
            for terminal in range(len(volts)):
                both = []
                for way in (VOLTS, -VOLTS):
                    moved = volts.copy()
                    moved[terminal] += way
                    both.append(self._slopes(group, moved))
                bend = (both[0] - both[1]) / (2.0 * VOLTS)
                total = np.einsum("kmdb,mdb->kdb", weights, bend)
                for d in range(group.count):
                    legs = np.broadcast_to(group.legs.each[terminal, d], columns.shape)
                    found[:, legs, columns] += total[:, d]
        return found

    def rows(self, rows: set[int], speed: complex) -> dict[int, Complexes]:
        """Row -> (K, B) change by its logarithm, or (plain) by itself, at fixed volts."""
        found: dict[int, Complexes] = {}
        self._of_branches(rows, found)
        for device, placed in self.plan.placed.items():
            if device in _LINEAR:
                continue
            for place in range(len(FIELDS[device])):
                some = [int(row) + place for row in placed.rows]
                if rows.intersection(some):
                    self._of_curves(some, found)
        if TEMPERATURE in rows:
            self._of_curves([TEMPERATURE], found)
        placed_c = self.plan.placed.get(Device.CAPACITOR)
        if placed_c is not None:
            for row, leg in zip(placed_c.rows, placed_c.legs, strict=True):
                if int(row) in rows:
                    self._of_capacitor(int(row), int(leg), speed, found)
        return found

    def _moved(self, rows: list[int], step: float) -> Lot:
        moved = self.made.part(np.arange(self.made.many))
        if self.plain.issuperset(rows):
            moved.values[rows] += step
        else:
            moved.values[rows] *= np.exp(step)
        return moved

    def _of_curves(self, rows: list[int], found: dict[int, Complexes]) -> None:
        """One field of every element of a device, or the temperature of all."""
        step = KELVINS if rows == [TEMPERATURE] else STEP
        fresh = list(curves(self.plan, self._moved(rows, step)))
        for group, weights, slopes in zip(fresh, self.weights, self.slopes, strict=True):
            change = (self._slopes(group) - slopes) / step
            if not change.any():
                continue
            total = np.einsum("kmdb,mdb->kdb", weights, change)
            if rows == [TEMPERATURE]:
                _put(found, TEMPERATURE, total.sum(1))
                continue
            for d, row in enumerate(rows):  # a device's groups keep the order of its elements
                _put(found, row, total[:, d])

    def _of_branches(self, rows: set[int], found: dict[int, Complexes]) -> None:
        every = sorted({
            int(row) for group in self.branches for row in group.rows["ohms"] if row >= 0
        })
        for some, step, names in (
            (every, STEP, ("ohms",)), (sorted(self.turns), STEP, ("upper", "lower"))
        ):
            if not rows.intersection(some):
                continue
            fresh = list(branches(self.plan, self._moved(some, step)))
            for old, new in zip(self.branches, fresh, strict=True):
                change = (new.siemens - old.siemens) / step
                across = old.legs.across(self.reach, 0) - old.legs.across(self.reach, 1)
                signal = self.signal[None]
                total = across * change * (old.legs.across(signal, 0) - old.legs.across(signal, 1))
                for name in names:
                    for d, row in enumerate(old.rows[name]):
                        if int(row) in rows:
                            _put(found, int(row), total[:, d])

    def _of_capacitor(
        self, row: int, leg: int, speed: complex, found: dict[int, Complexes]
    ) -> None:
        farads, series = self.made.values[row], self.made.values[row + 2]
        slope = speed * farads / (1.0 + speed * farads * series) ** 2
        columns = np.arange(self.made.many)
        a, b = (np.broadcast_to(self.made.legs[leg + i], columns.shape) for i in (0, 1))
        across = self.reach[:, a, columns] - self.reach[:, b, columns]
        found[row] = across * slope * (self.signal[a, columns] - self.signal[b, columns])


_LINEAR = frozenset({
    Device.RESISTOR, Device.CAPACITOR, Device.COIL, Device.POT, Device.SOURCE, Device.WINDING,
    Device.CURRENT,
})


def _put(found: dict[int, Complexes], row: int, more: Complexes) -> None:
    found[row] = found[row] + more if row in found else more


def reactive(plan: Plan, made: Lot, speed: complex) -> Iterator[tuple[Ints, Ints, Complexes]]:
    """Nodes (B,) and admittance (B,) of what capacitors and coils add to their DC ohms."""
    for a, b, farads, series in _placed(plan, made, Device.CAPACITOR, (0, 2)):
        yield a, b, np.asarray(speed * farads / (1.0 + speed * farads * series), dtype=complex)
    for a, b, ohms, henries in _placed(plan, made, Device.COIL, (0, 1)):
        held = 1.0 / siemens(ohms)
        yield a, b, np.asarray(1.0 / (held + speed * henries) - 1.0 / held, dtype=complex)


def _placed(
    plan: Plan, made: Lot, device: Device, fields: tuple[int, int]
) -> Iterator[tuple[Ints, Ints, Floats, Floats]]:
    placed = plan.placed.get(device)
    if placed is None:
        return
    wide = (made.many,)
    for row, leg in zip(placed.rows, placed.legs, strict=True):
        a, b = (np.broadcast_to(made.legs[leg + i], wide) for i in (0, 1))
        yield a, b, made.values[row + fields[0]], made.values[row + fields[1]]
