"""How far the model itself may be off at a predicted reading."""

from __future__ import annotations

import math

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.model.readings import Quantity
from biaspredict.predict.meters import MODEL_FRACTION, MODEL_MOVED, MODEL_VOLTS, MOST_JOINED

ABOUT_SOUND = (Quantity.VOLTS, Quantity.DROP)  # whose model errors grow away from the sound value


def model_variance(
    values: Floats, quantity: Quantity, sound: float = math.nan, transistors: int = 0
) -> Floats:
    """Variance of the model's own error at predicted values; all but volts are logarithms.

    sound: what the sound stage shows there; transistors: how many are direct coupled there.
    """
    if quantity not in ABOUT_SOUND:
        return np.full_like(values, 0.02**2)
    variance = MODEL_VOLTS**2 + (MODEL_FRACTION * values) ** 2
    if math.isfinite(sound):
        share = MODEL_MOVED * min(transistors, MOST_JOINED)
        variance += (share * (values - sound)) ** 2
    return np.asarray(variance)
