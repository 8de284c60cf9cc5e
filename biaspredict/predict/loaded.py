"""Where a meter loads a point so much that the linear stage no longer says what it shows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.linear import Linear
from biaspredict.engine.solver import Floats

# Above this share of loading a junction may change its state under the meter, and the linear
# correction gives way to a solve with the meter connected,
LINEAR_LOADING = 0.01
LINEAR_VOLTS = 0.005  # as long as the meter moves the point by more;
# and where the meter takes this share of what keeps a base or a junction conducting.
ROBBED = 0.4
# What leaks where all is sound, by silicon cut off, board and sockets, that nobody wrote down
# (common practice, no source): amperes into any point.
STRAY_AMPS = 5e-9
ROUGHLY = 0.4  # share of the linear effect that may be wrong; of all volts where robbed


def stray(linear: Linear, ohms: Floats) -> Floats:
    """(B, K) standard deviation in volts by stray leakage, with the meter of `ohms` connected."""
    return np.asarray(STRAY_AMPS * linear.source_ohms * ohms / (linear.source_ohms + ohms))


def beyond_linear(
    linear: Linear, volts: Floats, ohms: Floats
) -> tuple[NDArray[np.bool_], Floats]:
    """(B, K) whether to solve with the meter of `ohms` connected, and the standard deviation
    in volts of the linear correction. volts: (B, K) without the meter."""
    share = linear.source_ohms / (linear.source_ohms + ohms)
    moved = np.abs(volts * share)
    robbed = _robbed(linear, volts * (1.0 - share) / ohms, moved)
    heavy = (share > LINEAR_LOADING) & (moved > LINEAR_VOLTS) | robbed
    return heavy, ROUGHLY * np.where(robbed, np.abs(volts), moved)


def _robbed(linear: Linear, draw: Floats, moved: Floats) -> NDArray[np.bool_]:
    """(B, K) where the meter takes from a base or junction much of what keeps it conducting.

    A conducting junction keeps its volts, so that the resistance seen says nothing of it.
    What resistors give up where the point moves is no loss of the junction's.
    """
    lost = np.maximum(np.abs(draw)[..., None] - linear.firm * moved[..., None], 0.0)
    signed = np.stack([np.sign(draw), -np.sign(draw)], axis=-1) * linear.base_amps
    return np.asarray(((signed > 0.0) & (lost > ROBBED * signed)).any(axis=-1))
