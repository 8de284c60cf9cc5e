"""How far a reading may be from the true value at the probe, and what the meter loads."""

from __future__ import annotations

import math

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.model.readings import Quantity, Reading
from biaspredict.model.stage import Meter

EVEN = 1.0 / math.sqrt(3.0)
ABOUT = 0.05  # "about 20.9": 5 % wide
DIGIT = 0.2  # share of a count of the last digit's promised error that is usual
WHOLE = 0.1  # volts to which a whole number is taken as read
COUNTS = 2000  # a usual 3 1/2-digit display
NEEDLE_READING = 0.01  # half a division of a needle scale, as a fraction of the range
# An AC range: 3 % at audio frequencies for a meter that is not made for them; and what hum and
# hiss leave on the lowest range of a millivoltmeter (common practice, no source).
SIGNAL_READING = 0.03
SIGNAL_FLOOR = 50e-6
MILLIVOLTMETER = 1e6
OHMS_READING = 0.02  # the ohms ranges of a digital meter (common practice, no source)
# The diode range: 1 mA from about 3 V (common practice, no source).
DIODE_OHMS, DIODE_VOLTS = 3e3, 3.0
LEAST_OHMS, OPEN_OHMS = 1e-3, 1e9  # what any ohmmeter calls nothing, and open
LEADS = 0.3  # ohms of test leads and their tips (common practice, no source)
# A needle ohmmeter of which nothing is said: 20 ohms at mid-scale of its lowest range, ranges up
# to times 10,000, the next one taken from 3 times its middle on (common practice, no source).
NEEDLE_MIDDLE = 20.0
NEEDLE_LARGEST = 1e4
NEEDLE_UP_TO = 3.0
TOP_RANGE = 2e7  # ohms, the highest range of a display
# Share of a range from which on a display that came from above may still be on the range above:
# its own lowest counts (common practice, no source).
STAYS = 0.9
NEEDLE_STIRS = 200.0  # times mid-scale, beyond which a needle does not leave its stop
SIGNALS = frozenset({Quantity.GAIN, Quantity.LEVEL, Quantity.RIPPLE})
# The transistor equations used here leave out base resistance, high injection and the fall of
# gain at low current. Against richer devices node volts differ by millivolts near the
# junctions and by a few tenths of a percent elsewhere: see tests/proving.
MODEL_VOLTS = 0.012
MODEL_FRACTION = 0.005
# A fault moves a node to where device data were not taken. The error then grows by a share of the
# move, for each transistor direct coupled there: see `python -m tests.proving.modelling --faulted`.
MODEL_MOVED = 0.008
MOST_JOINED = 5


FARTHEST_LOG = math.log(1e15)  # from one ohm or a gain of one: nothing is read beyond


def unlogged(value: float) -> float:
    """The ohms or gain of a logarithm, which an open spread may put beyond all numbers."""
    return math.exp(min(max(value, -FARTHEST_LOG), FARTHEST_LOG))


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


def written_step(reading: Reading) -> float:
    """Worth of the last digit of volts as written.

    People leave ".0" off a whole number, and write 0 for a needle or display that does not
    stir, so neither means that the rest was rounded away (common practice, no source).
    """
    if reading.step < 1.0:
        return reading.step
    return WHOLE if reading.value else 0.0


def reading_sigma(reading: Reading, meter: Meter) -> float:
    """Standard deviation of what the meter and the reader add, in the reading's unit."""
    size = abs(reading.value)
    wide = ABOUT * size if reading.about else 0.0
    if reading.quantity is Quantity.OHMS:
        step = 0.5 * EVEN * reading.step
        return math.hypot(size * ohms_sigma(size, meter), math.hypot(wide, math.hypot(step, LEADS)))
    if reading.quantity in SIGNALS:
        return math.hypot(signal_sigma(reading, meter), wide)
    scale = meter.scale(size, reading.range_volts)
    error = meter.accuracy * (scale if meter.of_range else size)
    if meter.needle:
        error += NEEDLE_READING * scale
    else:
        shown = display_step(reading.value)
        error += 0.5 * max(shown, written_step(reading))
        error += meter.digits * DIGIT * shown
    return math.hypot(error * EVEN, wide)


def ohms_sigma(ohms: float, meter: Meter) -> float:
    """Standard deviation of the logarithm of an ohms reading.

    A needle stands at 1 / (1 + r) of its scale for r times the mid-scale resistance, so an
    error d of the deflection is one of d (1 + r)^2 / r of the ohms: four times d at mid-scale,
    without end towards either end of the scale.
    """
    if not meter.ohms_by_needle:
        return OHMS_READING * EVEN
    share = max(ohms, 1e-9) / ohms_middle(meter, ohms)
    error = (meter.accuracy + NEEDLE_READING) * (1.0 + share) ** 2 / share
    return min(error * EVEN, 1.0)


def ohms_middle(meter: Meter, near: float) -> float:
    """Ohms at mid-scale of the range on which a needle shows about `near` best.

    Ranges are tenfold steps from the smallest (common practice, no source).
    """
    middle, scale = meter.middle_ohms or NEEDLE_MIDDLE, 1.0
    while middle * scale * NEEDLE_UP_TO < near and scale < NEEDLE_LARGEST:
        scale *= 10.0
    return middle * scale


def ohmmeter(meter: Meter, near: float) -> tuple[float, float]:
    """(internal ohms, open-circuit volts) of a meter's ohms range that suits `near` ohms.

    A needle meter shows mid-scale at its internal resistance; a digital one holds its test
    voltage below about 0.3 V across the reading (both common practice, no source).
    """
    if meter.ohms_by_needle:
        return ohms_middle(meter, near), meter.open_volts or 1.5
    return _full(near) * 1.5, meter.test_volts or 0.5


def range_above(meter: Meter, near: float) -> float | None:
    """Internal ohms of the range above, where a display of `near` ohms may stand on either."""
    full = _full(near)
    if meter.ohms_by_needle or near < STAYS * full or full >= TOP_RANGE:
        return None
    return 10.0 * full * 1.5


def _full(near: float) -> float:
    full = 200.0
    while full < near and full < TOP_RANGE:
        full *= 10.0
    return full


def ohms_shown(across: Floats, ohms: Floats | float, volts: Floats | float) -> Floats:
    """What an ohmmeter of `volts` behind `ohms` shows with `across` volts at its leads."""
    held = np.clip(across, 1e-9, np.asarray(volts) * (1.0 - 1e-9))
    return np.clip(ohms * held / (volts - held), LEAST_OHMS, OPEN_OHMS)


def top_ohms(meter: Meter) -> float:
    """Ohms beyond which a meter's highest range shows no connection: 20 M on most digital ones,
    where the needle no longer stirs on others (common practice, no source)."""
    if not meter.ohms_by_needle:
        return 20e6
    return (meter.middle_ohms or NEEDLE_MIDDLE) * NEEDLE_LARGEST * NEEDLE_STIRS


def put_across(reading: Reading, meter: Meter) -> tuple[float, float]:
    """(ohms, volts) that the meter puts across the points while it takes this reading."""
    if reading.quantity in SIGNALS:
        return signal_ohms(meter), 0.0
    if reading.quantity is Quantity.VOLTS:
        return meter.input_ohms(reading.value, reading.range_volts), 0.0
    if reading.quantity is Quantity.DROP:
        return DIODE_OHMS, DIODE_VOLTS
    return ohmmeter(meter, reading.value)


def signal_ohms(meter: Meter) -> float:
    """What a meter puts across a signal. A needle multimeter does not reach down to millivolts:
    with one a millivoltmeter of 1 Mohm is taken to be at hand (common practice, no source)."""
    return MILLIVOLTMETER if meter.needle else meter.ohms


def signal_sigma(reading: Reading, meter: Meter) -> float:
    """Standard deviation of a gain or level, in its unit: two readings stand behind either,
    for a level depends on the generator's too."""
    size = abs(reading.value)
    if reading.quantity is Quantity.RIPPLE:
        return SIGNAL_READING * size
    error = math.sqrt(2.0) * max(SIGNAL_READING, 0.0 if meter.of_range else meter.accuracy)
    return math.hypot(error * size * EVEN, 0.5 * reading.step * EVEN)


def meter_of(reading: Reading, default: Meter) -> Meter:
    """The meter that took this reading."""
    return reading.meter if reading.meter is not None else default
