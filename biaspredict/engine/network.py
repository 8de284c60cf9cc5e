"""The equations of many variations at once: current balance of every node, and its slopes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.elements import branches, curves
from biaspredict.engine.elimination import Dense, Form, sums
from biaspredict.engine.laws import Group
from biaspredict.engine.plan import Ints, Lot, Plan
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import OPEN

SHUNT = 1.0 / OPEN  # siemens from every node to ground: a floating node has a voltage too


class Network:
    """B variations: groups of elements, their legs, and what is constant of the slopes.

    Node 0 is ground. Element legs that no variation moves or lifts keep one number for all.
    """

    def __init__(self, plan: Plan, lot: Lot, form: Form | None = None) -> None:
        """`form`: how to keep the slopes; dense where not said."""
        self.nodes = plan.size + 1 + lot.spares
        self.many = lot.many
        self.form: Form = form or Dense(self.nodes)
        self.branches = list(branches(plan, lot))
        self.curves = list(curves(plan, lot))
        self.base = self._constant()
        self._own_flows: Floats = np.empty((0, self.many))
        self._shared_flows: Floats = np.empty((0, self.many))
        self._route()

    @property
    def groups(self) -> list[Group]:
        return [*self.curves, *self.branches]

    def _constant(self) -> Floats:
        """Slopes of branches and shunts."""
        form, many = self.form, self.many
        every = np.arange(self.nodes)[:, None]
        flats = [form.flat(form.place(every, every), many)]
        weights = [np.full((self.nodes, many), SHUNT)]
        for group in self.branches:
            flats.append(
                np.broadcast_to(form.flat(_places(group, form), many), (4 * group.count, many))
            )
            slopes = np.broadcast_to(group.slopes(), (4, group.count, many))
            weights.append(slopes.reshape(-1, many))
        return form.sums(np.concatenate(flats), np.concatenate(weights), many)

    def _route(self) -> None:
        """Where flows and slopes go; to be settled anew whenever variations leave."""
        shared = [(g, end) for g in self.groups if g.shared for end in g.ends]
        self._shared = np.zeros((self.nodes, sum(g.count for g, _ in shared)))
        column = 0
        for group, (a, b) in shared:
            span = np.arange(column, column + group.count)
            np.add.at(self._shared, (group.legs[a, :, 0], span), 1.0)
            np.add.at(self._shared, (group.legs[b, :, 0], span), -1.0)
            column += group.count
        own = [g.legs[list(end)] for g in self.groups if not g.shared for end in g.ends]
        self._own: Ints = np.concatenate(
            (*own, np.empty((2, 0, self.many), dtype=np.int64)), axis=1
        )
        steps = np.arange(self.many)
        self._own_places = (self._own * self.many + steps).ravel()
        places = [
            np.broadcast_to(_places(g, self.form), (len(g.pairs) * g.count, self.many))
            for g in self.curves
        ]
        none = np.empty((0, self.many), dtype=np.int64)
        self._places = self.form.flat(np.concatenate((*places, none)), self.many)

    def start(self, nodes: Floats) -> None:
        """Take node volts (N, B) as where every junction stood last."""
        for group in self.curves:
            group.start(nodes)

    def keep(self, kept: Ints) -> None:
        """Drop every variation but the kept ones."""
        self.many = len(kept)
        for group in self.groups:
            group.keep(kept)
        self.base = self.form.keep(self.base, kept)
        self._route()

    def balance(
        self, nodes: Floats, limit: bool = False
    ) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """What leaves each node (N, B), its slopes as the form keeps them, and whether a
        junction was held (B,)."""
        shared: list[Floats] = []
        own: list[Floats] = []
        slopes: list[Floats] = []
        held = np.zeros(self.many, dtype=bool)
        for group in self.groups:
            flows, slope, stopped = group.flows(group.volts(nodes), limit)
            (shared if group.shared else own).append(flows.reshape(-1, self.many))
            slopes.append(slope.reshape(-1, self.many))
            if stopped is not None:
                held |= stopped.any(axis=0)
        none = np.empty((0, self.many))
        self._shared_flows = np.concatenate((*shared, none))
        self._own_flows = np.concatenate((*own, none))
        leaving = self._leaving(self._shared_flows, self._own_flows) + SHUNT * nodes
        matrix = self.form.sums(self._places, np.concatenate((*slopes, none)), self.many)
        matrix += self.base
        return leaving, matrix, held

    def leaving(self, flows: Sequence[Floats]) -> Floats:
        """(N, B) what leaves each node for given flows (f, D, B) of each group."""
        parts = [flow.reshape(-1, self.many) for flow in flows]
        none = np.empty((0, self.many))
        pairs = list(zip(self.groups, parts, strict=True))
        return self._leaving(
            np.concatenate((*(part for group, part in pairs if group.shared), none)),
            np.concatenate((*(part for group, part in pairs if not group.shared), none)),
        )

    def _leaving(self, shared: Floats, own: Floats) -> Floats:
        total: Floats = np.matmul(self._shared, shared)
        if len(own):
            total += sums(self._own_places, np.concatenate((own, -own)), total.shape)
        return total

    def traffic(self, which: Ints) -> Floats:
        """(N, b) sums of absolute currents at each node at the last balance of some variations."""
        total: Floats = np.abs(self._shared) @ np.abs(self._shared_flows[:, which])
        if len(self._own_flows):
            places = self._own[..., which] * len(which) + np.arange(len(which))
            flows = np.abs(self._own_flows[:, which])
            total = total + sums(places, np.concatenate((flows, flows)), total.shape)
        return total


def _places(group: Group, form: Form) -> Ints:
    """Places of a group's slopes: (pairs * D, 1 or B)."""
    rows = [form.place(group.legs[i], group.legs[j]) for i, j in group.pairs]
    return np.concatenate((*rows, np.empty((0, group.legs.shape[-1]), dtype=np.int64)))
