"""Where a meter loads a point so much that the linear stage no longer says what it shows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.linear import Linear
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import Circuit, Load, Variation
from biaspredict.model.stage import GROUND
from biaspredict.predict.points import Ints
from biaspredict.predict.probe import Probe

# Volts, and share of all volts, by which curves may take a reading off the linear correction
# before the stage is solved with the meter connected,
LINEAR_VOLTS, LINEAR_SHARE = 1e-3, 1e-3
OHMS_SHARE = 0.01  # the same of the volts that an ohmmeter meets
# What leaks where all is sound, by silicon cut off, board and sockets, that nobody wrote down
# (common practice, no source): amperes into any point.
STRAY_AMPS = 5e-9
# volts by which a junction changes its state under the meter; then this share of all volts may
# be wrong.
OTHERWISE, ROUGHLY = 0.01, 0.4


def stray(linear: Linear, ohms: Floats) -> Floats:
    """(B, K) standard deviation in volts by stray leakage, with the meter of `ohms` connected."""
    return np.asarray(STRAY_AMPS * linear.source_ohms * ohms / (linear.source_ohms + ohms))


def beyond_linear(
    linear: Linear, volts: Floats, least: float = LINEAR_VOLTS, share: float = LINEAR_SHARE
) -> tuple[NDArray[np.bool_], Floats]:
    """(B, K) whether to solve with the meter connected, and the standard deviation in volts
    of the linear correction. volts: (B, K), of which `share` is let pass, and `least` always."""
    off = np.abs(linear.bent)
    heavy = ~(off <= least + share * np.abs(volts))
    return heavy, np.where(off < OTHERWISE, off, ROUGHLY * np.abs(volts))


def with_meters(
    circuit: Circuit, variations: Sequence[Variation], probes: Sequence[Probe], points: Ints
) -> list[Variation]:
    """What connects each probe's meter to its own variation's points (B, 2)."""
    names = (*circuit.nodes, GROUND)  # index -1 reads ground
    size = len(circuit.nodes)
    return [
        Variation(loads=(Load(
            names[a] if a < size else f"{variation.lifts[a - size][0]} (lead)",
            names[b], probe.ohms, probe.volts,
        ),))
        for variation, probe, (a, b) in zip(variations, probes, points.tolist(), strict=True)
    ]
