"""What every engine promises: many variations of one circuit in, node volts out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from biaspredict.model.circuit import Axis, Circuit, Variation

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Solutions:
    """Operating points of B variations.

    volts: (B, n + spare) volts to ground, columns in the order of `circuit.nodes`, then one
        column for each spare lead (column n + k is the node behind the variation's k-th lift;
        NaN where it has none). A whole row is NaN where unsolved.
    solved: (B,) True only where the solve verifiably succeeded.
    """

    volts: Floats
    solved: NDArray[np.bool_]


class Solver(Protocol):
    """An engine. It keeps the circuit loaded between calls and holds no other state."""

    def solve(
        self,
        circuit: Circuit,
        variations: Sequence[Variation],
        axes: Sequence[Axis] = (),
        amounts: Floats | None = None,
        *,
        start: Floats | None = None,
    ) -> Solutions:
        """Solve each variation; `amounts` (B, len(axes)) moves its parameters along the axes.

        start: (B, n + spares) volts near the solutions, NaN where unknown, for engines that
        can make use of them.

        A variation is applied first (settings, then scales), the axes multiply or add to what
        results, so that tolerance spreads a drifted resistor about its drifted value.
        """
        ...
