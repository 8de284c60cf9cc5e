"""What one look at many variations fills in, column by column."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.linear import Linear
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import SOUND, Variation
from biaspredict.predict.points import Ints


@dataclass(frozen=True, slots=True)
class Look:
    """As `observe.Observed`, but for slopes (B, K, P + M), in which the rises come last.

    at_lead: (B,) whether the person touches the lead of a lifted joint.
    """

    values: Floats
    slopes: Floats
    solved: NDArray[np.bool_]
    volts: Floats
    at_lead: NDArray[np.bool_]
    doubt: Floats

    def part(self, rows: Sequence[int] | Ints) -> Look:
        """A copy of some rows."""
        return Look(
            self.values[rows], self.slopes[rows], self.solved[rows], self.volts[rows],
            self.at_lead[rows], self.doubt[rows],
        )

    def put(self, place: tuple[Ints, Ints], linear: Linear, share: Floats) -> None:
        """Slopes and rises times `share` to (rows, columns); those of `linear` are used up."""
        width = linear.slopes.shape[2]
        for there, slopes in (
            (self.slopes[:, :, :width], linear.slopes), (self.slopes[:, :, width:], linear.rises),
        ):
            slopes *= share
            there[place] = slopes


def done_to(extra: Variation, variations: Sequence[Variation]) -> Sequence[Variation]:
    """The variations with what is done to the stage meanwhile."""
    return variations if extra is SOUND else [v.plus(extra) for v in variations]
