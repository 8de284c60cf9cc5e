"""Where probes stand in the columns of solved volts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import Circuit, Variation
from biaspredict.model.stage import GROUND

Ints = NDArray[np.int64]


class Pointed(Protocol):
    """A probe as far as it says where the meter's tips are; see `probe.Probe`."""

    @property
    def node(self) -> str: ...
    @property
    def minus(self) -> str | None: ...
    @property
    def name(self) -> str: ...
    @property
    def extra(self) -> Variation: ...


def points_of(
    circuit: Circuit, variations: Sequence[Variation], probes: Sequence[Pointed],
    at_lead: NDArray[np.bool_],
) -> Ints:
    """Columns (B, K, 2) of each probe; -1 for ground, spare columns for lifted leads.

    at_lead: (B,) whether the person touched the lead of a lifted joint.
    """
    where = {node: i for i, node in enumerate(circuit.nodes)}
    where[GROUND] = -1
    fixed = [[where[p.node], where[p.minus] if p.minus else -1] for p in probes]
    wide = (len(variations), len(probes), 2)
    points = np.broadcast_to(np.array(fixed, dtype=np.int64), wide).copy()
    names = {probe.name: k for k, probe in enumerate(probes)}
    own = {lead for probe in probes for lead, _ in probe.extra.lifts if lead == probe.name}
    for row, variation in enumerate(variations):
        for spare, (terminal, _) in enumerate(variation.lifts):
            if terminal in names and (at_lead[row] or terminal in own):
                points[row, names[terminal], 0] = len(circuit.nodes) + spare
    return points


def between(volts: Floats, points: Ints) -> Floats:
    """Volts (B, K) between point pairs: volts (B, n), points (B, K, 2) with -1 for ground."""
    padded = np.concatenate([volts, np.zeros((len(volts), 1))], axis=1)
    places = np.where(points < 0, volts.shape[1], points)
    plus = np.take_along_axis(padded, places[..., 0], 1)
    minus = np.take_along_axis(padded, places[..., 1], 1)
    return np.asarray(plus - minus)
