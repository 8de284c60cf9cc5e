"""How far a reading may be from the true value at the probe, and what the meter loads."""

from __future__ import annotations

import math

from biaspredict.model.readings import Quantity, Reading
from biaspredict.model.stage import NEEDLE_RANGES, Meter

EVEN = 1.0 / math.sqrt(3.0)
ABOUT = 0.05  # "about 20.9": 5 % wide
COUNTS = 2000  # a usual 3 1/2-digit display
NEEDLE_READING = 0.01  # half a division of a needle scale, as a fraction of the range
# The transistor equations used here leave out base resistance, high injection and the fall of
# gain at low current. Against richer devices node volts differ by millivolts near the
# junctions and by a few tenths of a percent elsewhere: see tests/proving.
MODEL_VOLTS = 0.008
MODEL_FRACTION = 0.003


def display_step(value: float) -> float:
    """Last digit as a person writes it down: three significant digits, at least a count.

    A written zero is any reading that rounds to 0.00.
    """
    size = abs(value)
    if size < 1e-6:
        return 0.01
    full = 2.0 * 10.0 ** math.ceil(math.log10(size / 2.0))
    third = 10.0 ** (math.floor(math.log10(size)) - 2)
    return max(full / COUNTS, third)


def reading_sigma(reading: Reading, meter: Meter) -> float:
    """Standard deviation of what the meter and the reader add, in the reading's unit."""
    size = abs(reading.value)
    if meter.needle:
        scale = reading.range_volts or meter.range_volts
        if scale is None:
            scale = next((s for s in NEEDLE_RANGES if s >= size), size)
        error = meter.accuracy * (scale if meter.of_range else size) + NEEDLE_READING * scale
    else:
        step = max(display_step(reading.value), reading.step)
        error = meter.accuracy * size + (0.5 + meter.digits * 0.2) * step
    if reading.quantity in (Quantity.OHMS, Quantity.GAIN, Quantity.LEVEL, Quantity.RIPPLE):
        error = max(error, 0.02 * size)
    wide = ABOUT * size if reading.about else 0.0
    return math.hypot(error * EVEN, wide)


def model_sigma(value: float, quantity: Quantity) -> float:
    """Standard deviation of the model's own error at a predicted value."""
    if quantity in (Quantity.VOLTS, Quantity.DROP):
        return math.hypot(MODEL_VOLTS, MODEL_FRACTION * value)
    return 0.01 * abs(value)


def meter_of(reading: Reading, default: Meter) -> Meter:
    """The meter that took this reading."""
    return reading.meter if reading.meter is not None else default
