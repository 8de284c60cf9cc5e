"""What a meter shows that loads the points it reads, from the linear stage without it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.elimination import Form
from biaspredict.engine.laws import Group
from biaspredict.engine.network import Network
from biaspredict.engine.partials import PARTS, PLAIN, partial
from biaspredict.engine.plan import Ints, Lot, Push
from biaspredict.engine.solver import Floats

STILL = 5e-4  # volts; a curve that the meter moves by no more carries what it carried,
FELT = 3e-3  # and one that it moves by no more follows its values as it did
SLIGHT = 5e-3  # share of the volts; a meter that takes no more leaves the resistances alone
# Share of the meter's amperes by which junctions may part from their slopes: beyond it one of
# them begins or ceases to conduct, and no step from here tells what the meter shows.
TURNING = 0.3


@dataclass(frozen=True, slots=True)
class Moved:
    """Of a group, elements whose volts a meter moves: elements, probes, variations (M,), and
    by how much at each terminal (t, M)."""

    group: Group
    elements: Ints
    probes: Ints
    variations: Ints
    shifts: Floats


@dataclass(frozen=True, slots=True)
class Meters:
    """Meters of ohms (B, K), with volts of their own (B, K), each connected alone. rough: slopes
    are wanted as they are without, but for what a meter takes of any change."""

    ohms: Floats
    volts: Floats
    rough: bool = False

    def of(self, rows: Ints) -> Meters:
        return Meters(self.ohms[rows], self.volts[rows], self.rough)


class Metered:
    """Each of some meters across its pair of nodes.

    nodes (N, B): volts solved without any. pairs (B, K, 2): where the tips go. influence
    (N, K, B): volts between the tips for an ampere fed into node n; fed (N, K, B): volts at
    node n for an ampere fed in at the tips.
    """

    def __init__(
        self, network: Network, nodes: Floats, pairs: Ints, meters: Meters, influence: Floats,
        fed: Floats,
    ) -> None:
        self.network, self.nodes, self.influence, self.fed = network, nodes, influence, fed
        self.rough = meters.rough
        seen = across(influence, pairs)
        opened = between(nodes, pairs)
        self.amps = (opened - meters.volts) / (seen + meters.ohms)
        self.share = meters.ohms / (seen + meters.ohms)  # left of any change
        self.straight = opened - seen * self.amps

    @cached_property
    def moved(self) -> list[Moved]:
        return [one for group in self.network.groups for one in self._moved(group)]

    def _moved(self, group: Group) -> Iterator[Moved]:
        if group in self.network.curves:
            terminals = range(len(group.legs.usual))
            moves = -self.amps.T * np.stack([group.legs.at(t, self.fed) for t in terminals])
            d, k, b = np.nonzero(np.ptp(moves, axis=0) > STILL)
            shifts = moves[:, d, k, b]
        elif self.rough:
            return
        else:
            k, b = np.nonzero(self.share.T < 1.0 - SLIGHT)
            legs = group.legs.within(b)
            some = -self.amps[b, k] * self.fed[legs, k, b]
            d, m = np.nonzero(np.ptp(some, axis=0) > FELT)
            k, b, shifts = k[m], b[m], some[:, d, m]
        if d.size:
            yield Moved(group, d, k, b, shifts)

    def bent(self) -> Floats:
        """(B, K) volts that curves add, to first order; infinite where a junction turns on or
        off. What they draw at the shifted volts beyond their slopes is one step of Newton's
        method away from the answer."""
        many, count = self.amps.shape
        pushed, parted = np.zeros((2, count * many))
        for one in self.moved:
            group, d, k, b, shift = (
                one.group, one.elements, one.probes, one.variations, one.shifts)
            if group not in self.network.curves:
                continue
            volts = group.legs.volts(self.nodes)
            flows, slopes, _ = group.flows(volts, False)
            after = group.alone(d, b).flows((volts[:, d, b] + shift)[:, None], False)[0]
            beyond = after[:, 0] - flows[:, d, b]
            # the slopes of a flow are those of the equation of the terminal that it leaves alone
            for f, (start, end) in enumerate(group.ends):
                for (i, j), slope in zip(group.pairs, slopes, strict=True):
                    if i == start:
                        beyond[f] -= slope[d, b] * shift[j]
                entry = k * many + b
                told = self._told(group, start, end, d, k, b)
                pushed += np.bincount(entry, beyond[f] * told, len(pushed))
                if f in group.taken:
                    parted += np.bincount(entry, np.abs(beyond[f]), len(parted))
        near = TURNING * np.abs(self.amps) >= parted.reshape(count, many).T
        return np.where(near, -self.share * pushed.reshape(count, many).T, np.inf)

    def _told(self, group: Group, start: int, end: int, d: Ints, k: Ints, b: Ints) -> Floats:
        """(M,) volts at the probes for an ampere that leaves at one terminal for another."""
        legs = group.legs.of(d, b)
        told: Floats = self.influence[legs[start], k, b] - self.influence[legs[end], k, b]
        return told

    def more(self, made: Lot, moved: Mapping[int, Sequence[Push]], found: Floats) -> None:
        """Add to slopes (P, K, B) along axes what the shifted volts make of the elements' own."""
        if self.rough:
            return
        flat, (_, count, many) = found.reshape(-1), found.shape
        for one in self.moved:
            group = one.group
            first, second = group.steers
            felt = np.abs(one.shifts[first] - one.shifts[second]) > FELT
            if not felt.any():
                continue
            volts = group.legs.volts(self.nodes)
            for quantity, rows in group.rows.items():
                axes = [row in moved for row in rows.tolist()]
                places = np.flatnonzero(felt & np.array(axes)[one.elements])
                if not places.size:
                    continue
                d, k, b = one.elements[places], one.probes[places], one.variations[places]
                some = group.alone(d, b)
                here, shift = volts[:, d, b][:, None], one.shifts[:, places][:, None]
                whole = made.values[group.rows["ohms"][d], b] if quantity in PARTS else None
                change = partial(some, quantity, here + shift, whole)
                change -= partial(some, quantity, here, whole)
                rise = np.zeros(len(d))
                for (start, end), flow in zip(group.ends, change[:, 0], strict=True):
                    rise -= flow * self._told(group, start, end, d, k, b)
                for axis, additive, per in _pushes(rows, moved):
                    mine = np.flatnonzero(axis[d] >= 0)
                    e, probe, variation = d[mine], k[mine], b[mine]
                    value = made.values[rows[e], variation]
                    with np.errstate(divide="ignore"):
                        other = value if quantity in PLAIN else 1.0 / value
                    scale = np.where(additive[e] == (quantity in PLAIN), 1.0, other)
                    at = (axis[e] * count + probe) * many + variation
                    np.add.at(flat, at, rise[mine] * per[e] * scale)

    def risen(self, which: Ints, here: Floats, there: Floats, form: Form) -> Floats:
        """(b, K) what the shifted volts add to the rises of some variations, whose slopes become
        `there` from `here`, both as the form keeps them."""
        i, j, b, change = form.apart(here, there)
        row = which[b]
        move = -self.amps[row] * self.fed[j, :, row]
        total = np.zeros((len(which), self.amps.shape[1]))
        np.add.at(total, b, -change[:, None] * move * self.influence[i, :, row])
        return total


def _pushes(
    rows: Ints, moved: Mapping[int, Sequence[Push]]
) -> Iterator[tuple[Ints, NDArray[np.bool_], Floats]]:
    """Axis (-1: none), whether additive, and factor (D,) of what moves value rows (D,): first
    one axis of each, then another."""
    every = [list(moved.get(row, ())) for row in rows.tolist()]
    for turn in range(max(map(len, every), default=0)):
        some = [pushes[turn] if turn < len(pushes) else Push(-1, False) for pushes in every]
        yield (
            np.array([push.axis for push in some]), np.array([push.additive for push in some]),
            np.array([push.per for push in some]),
        )


def across(held: Floats, pairs: Ints) -> Floats:
    """(B, K) what is held for each node (N, K, B), between pairs (B, K, 2) of nodes."""
    columns, reach = np.arange(len(pairs))[:, None], np.arange(pairs.shape[1])[None, :]
    return held[pairs[..., 0], reach, columns] - held[pairs[..., 1], reach, columns]


def between(nodes: Floats, pairs: Ints) -> Floats:
    """(B, K) volts between pairs (B, K, 2) of nodes (N, B)."""
    columns = np.arange(len(pairs))[:, None]
    return nodes[pairs[..., 0], columns] - nodes[pairs[..., 1], columns]
