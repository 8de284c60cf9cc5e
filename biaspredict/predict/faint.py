"""What stays open of an ohms reading whose current is faint, beside tolerances and the meter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import Axis
from biaspredict.predict.meters import EVEN

# Junctions are known by their drop at about this current; far below it their volts fall by more
# or less than the exponential of one slope says: by a quarter of it (common practice, no source).
KNOWN_AMPS = 1e-3
SLOPE = 0.25
# Dirt, damp and fingers on an old board lie across every reading (common practice, no source).
STRAY_OHMS = 50e6


def left_open(
    ohms: Floats, slopes: Floats, axes: Sequence[Axis], amps: Floats
) -> Floats:
    """Standard deviation (B,) of the logarithm of ohms (B,) read with a current of amps (B,).

    slopes: (B, P) of the logarithm along each axis.
    """
    junctions = [k for k, axis in enumerate(axes) if axis.name.endswith(".saturation")]
    decades = np.log(np.maximum(KNOWN_AMPS / np.maximum(amps, 1e-12), 1.0))
    bent = SLOPE * decades * np.sqrt((slopes[:, junctions] ** 2).sum(1))
    return np.asarray(np.hypot(bent, EVEN * np.log1p(ohms / STRAY_OHMS)))
