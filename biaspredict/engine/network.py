"""The equations of many variations at once: current balance of every node, and its slopes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.elements import branches, curves
from biaspredict.engine.elimination import Form, dense
from biaspredict.engine.laws import Group
from biaspredict.engine.plan import Ints, Lot, Plan
from biaspredict.engine.routes import Flows, Slopes
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import OPEN

SHUNT = 1.0 / OPEN  # siemens from every node to ground: a floating node has a voltage too


class Network:
    """B variations: groups of elements, their legs, and what is constant of the slopes.

    Node 0 is ground.
    """

    def __init__(self, plan: Plan, lot: Lot, form: Form | None = None) -> None:
        """`form`: how to keep the slopes; dense where not said."""
        self.nodes = plan.size + 1 + lot.spares
        self.many = lot.many
        self.form: Form = form or dense(self.nodes)
        self.branches = list(branches(plan, lot))
        self.curves = list(curves(plan, lot))
        self.groups: list[Group] = [*self.curves, *self.branches]
        self.base = np.zeros((self.form.places, self.many))
        self.base[self.form.diagonal] = SHUNT
        straight = Slopes(self.form, self.branches, self.form.turns(self.branches))
        straight.add(self.base, self._rows([group.slopes() for group in self.branches]))
        self._route()
        self._last: tuple[Floats, Floats] | None = None  # flows, and those elsewhere

    def _route(self) -> None:
        """Where flows and slopes go; to be settled anew whenever variations leave."""
        self._flows = Flows(self.groups, self.form.signs_of(self.groups))
        self._slopes = Slopes(self.form, self.curves, self.form.turns(self.curves))

    def _rows(self, parts: Sequence[Floats]) -> Floats:
        """(R, B) of one part (.., D, B) or several, one after the other."""
        flat = [part.reshape(-1, self.many) for part in parts]
        return np.concatenate((*flat, np.empty((0, self.many)))) if len(flat) != 1 else flat[0]

    def start(self, nodes: Floats, bold: bool = False) -> None:
        """Take node volts (N, B) as where every junction stood last. bold: as in
        `junctions.limited`."""
        for group in self.curves:
            group.start(nodes)
            group.bold = bold

    def keep(self, kept: Ints) -> None:
        """Drop every variation but the kept ones."""
        self.many = len(kept)
        for group in self.groups:
            group.keep(kept)
        self.base = self.base.take(kept, axis=1)
        self._route()

    def balance(
        self, nodes: Floats, limit: bool = False
    ) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """What leaves each node (N, B), its slopes as the form keeps them, and whether a
        junction was held (B,)."""
        flows: list[Floats] = []
        slopes: list[Floats] = []
        held = np.zeros(self.many, dtype=bool)
        for group in self.groups:
            flow, slope, stopped = group.flows(group.legs.volts(nodes), limit)
            flows.append(flow)
            if len(slope):
                slopes.append(slope)
            if stopped is not None:
                held |= stopped.any(axis=0)
        leaving, rows = SHUNT * nodes, self._rows(flows)
        self._last = rows, self._flows.leave(leaving, rows)
        matrix = self.base.copy()
        self._slopes.add(matrix, self._rows(slopes))
        return leaving, matrix, held

    def leaving(self, flows: Sequence[Floats]) -> Floats:
        """(N, B) what leaves each node for given flows (f, D, B) of each group. They are used
        up."""
        total = np.zeros((self.nodes, self.many))
        self._flows.leave(total, self._rows(flows))
        return total

    def traffic(self, which: Ints) -> Floats:
        """(N, b) sums of absolute currents at each node at the last balance of some variations.

        Raises ValueError before there was one.
        """
        if self._last is None:
            raise ValueError("nothing was balanced yet")
        return self._flows.traffic(*self._last, which)
