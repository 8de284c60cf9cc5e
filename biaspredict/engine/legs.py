"""On which nodes the terminals of many elements stand, in many variations of one circuit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.plan import Ints, Lot
from biaspredict.engine.solver import Floats

_Number = TypeVar("_Number", np.float64, np.complex128)


@dataclass(frozen=True)
class Legs:
    """Nodes of D elements in `many` variations: usual (k, D), but of the elements `which` (M,) in
    the variations `whose` (M,) own (k, M)."""

    usual: Ints
    which: Ints
    whose: Ints
    own: Ints
    many: int

    @property
    def shared(self) -> bool:
        """Whether all variations have the same."""
        return not len(self.which)

    @cached_property
    def each(self) -> Ints:
        """(k, D, B), or (k, D, 1) where shared."""
        found = self.usual[..., None]
        if not self.shared:
            found = np.repeat(found, self.many, axis=2)
            found[:, self.which, self.whose] = self.own
        return found

    def of(self, elements: Ints, variations: Ints) -> Ints:
        """(k, M) nodes of some elements, each in one variation."""
        return self.each[:, elements, 0 if self.shared else variations]

    def within(self, variations: Ints) -> Ints:
        """(k, D, M) nodes in some variations; (k, D, 1) where shared."""
        return self.each if self.shared else self.each[..., variations]

    def keep(self, kept: Ints) -> Legs:
        """Of some variations."""
        if self.shared:
            return Legs(self.usual, self.which, self.whose, self.own, len(kept))
        now = np.full(self.many, -1)
        now[kept] = np.arange(len(kept))
        whose = now[self.whose]
        mine = whose >= 0
        return Legs(self.usual, self.which[mine], whose[mine], self.own[:, mine], len(kept))

    def volts(self, nodes: Floats) -> Floats:
        """(k, D, B) at the terminals, from node volts (N, B)."""
        found: Floats = nodes[self.usual]
        if not self.shared:
            found[:, self.which, self.whose] = nodes[self.own, self.whose]
        return found

    def at(self, terminal: int, held: Floats, places: Sequence[int] | None = None) -> Floats:
        """(D, K, B) what is held for each node (N, K, B) at a terminal of all elements or some."""
        usual = self.usual[terminal]
        found: Floats = held[usual if places is None else usual[places]]
        if self.shared:
            return found
        which, whose, own = self.which, self.whose, self.own[terminal]
        if places is not None:
            now = np.full(len(usual), -1)
            now[places] = np.arange(len(places))
            mine = now[which] >= 0
            which, whose, own = now[which][mine], whose[mine], own[mine]
        found[which, :, whose] = held[own, :, whose]
        return found

    def across(self, held: NDArray[_Number], terminal: int) -> NDArray[_Number]:
        """(K, D, B) what is held for each node (K, N, B) at a terminal."""
        found = held[:, self.usual[terminal]]
        if not self.shared:
            found[:, self.which, self.whose] = held[:, self.own[terminal], self.whose]
        return found


_NONE: Ints = np.empty(0, dtype=np.int64)


def standing(lot: Lot, table: Ints) -> Legs:
    """Where the legs of a circuit, by their numbers (k, D), stand in a lot."""
    usual = lot.usual[table]
    if not lot.touched:
        return Legs(usual, _NONE, _NONE, np.empty((len(table), 0), dtype=np.int64), lot.many)
    touched = np.zeros(len(lot.usual), dtype=bool)
    touched[list(lot.touched)] = True
    terminal, element = np.nonzero(touched[table])
    there = lot.legs[table[terminal, element]]
    cell, whose = np.nonzero(there != usual[terminal, element][:, None])
    which, whose = np.divmod(np.unique(element[cell] * lot.many + whose), lot.many)
    return Legs(usual, which, whose, lot.legs[table[:, which], whose], lot.many)


def added(ends: Ints, there: NDArray[np.bool_]) -> Legs:
    """What is added between two nodes (2, A, B) where it is there (A, B); else both on ground."""
    which, whose = np.nonzero(there)
    usual = np.zeros(ends.shape[:2], dtype=np.int64)
    return Legs(usual, which, whose, ends[:, which, whose], ends.shape[2])
