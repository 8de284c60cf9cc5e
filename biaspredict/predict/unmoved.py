"""Which readings a fault leaves as they are of the sound stage.

On a board of many stages most faults move the nodes of their own stage only. What a node elsewhere
shows, and how it follows every value, is then what it is of the sound stage, but for the share of
a move that gets there.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.linear import transfer
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import Circuit, Variation
from biaspredict.predict.points import Ints

STIRRED = 2e-3  # volts by which a node moves that devices on it may follow
REACHES = 3e-4  # share of a node's move that must come through to a reading to count
# Variations and readings from which on it is worth while, and of how many one may be moved.
MANY, LEAST, SHARE = 64, 8, 8
NO_ROWS: Ints = np.empty(0, dtype=np.int64)
NONE: tuple[Ints, Ints, Ints] = NO_ROWS, NO_ROWS, np.empty((0, 0), dtype=np.int64)


class Unmoved:
    """Of one circuit, whose sound volts are (n,)."""

    def __init__(self, circuit: Circuit, sound: Floats) -> None:
        self._sound = sound
        self._elements = {element.name: element.nodes for element in circuit.elements}
        self._where = {node: i for i, node in enumerate(circuit.nodes)}
        self._solved = bool(np.isfinite(sound).all())
        if self._solved:
            through = transfer(circuit, sound)
            self._through = through / np.abs(np.diag(through))  # per volt moved at the source

    def few(
        self, variations: Sequence[Variation], volts: Floats, points: Ints
    ) -> tuple[Ints, Ints, Ints]:
        """Rows that move none of the readings at points (K, 2), rows that move few, and (rows,
        K / SHARE) which ones.

        volts: (B, n + spares) of the variations, with no axis moved.
        """
        count = len(points)
        if count < LEAST or len(variations) < MANY or not self._solved:
            return NONE
        moved = self.moved(variations, volts, points)
        most, many = count // SHARE, moved.sum(axis=1)
        rows = np.flatnonzero((many > 0) & (many <= most))
        own = np.argsort(~moved[rows], axis=1, kind="stable")[:, :most]
        return np.flatnonzero(many == 0), rows, own

    def moved(
        self, variations: Sequence[Variation], volts: Floats, points: Ints
    ) -> NDArray[np.bool_]:
        """(B, K) whether a variation may move a reading at points (K, 2), or how it follows."""
        size = len(self._sound)
        stirred = ~(np.abs(volts[:, :size] - self._sound) <= STIRRED)
        for row, variation in enumerate(variations):
            for node in self._touched(variation):
                stirred[row, node] = True
        padded = np.concatenate([self._through, np.zeros((1, size))])  # ground comes last
        reaches = np.abs(padded[points[:, 0]] - padded[points[:, 1]]) > REACHES
        return np.asarray(stirred.astype(float) @ reaches.T.astype(float) > 0.0)

    def _touched(self, variation: Variation) -> Sequence[int]:
        """Nodes of what the variation changes; all where it is not of some element's alone."""
        changes = (*variation.settings, *variation.scales, *variation.lifts, *variation.moves)
        names = {str(name).rpartition(".")[0] for name, *_ in changes}
        if variation.loads or not names <= self._elements.keys():
            return range(len(self._sound))
        ends = [node for name in names for node in self._elements[name]]
        ends += [node for _, node in variation.moves]
        return [self._where[node] for node in ends if node in self._where]
