"""From readings to what is to be explained: probes, values, errors, and lower bounds."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from biaspredict.infer.components import Task
from biaspredict.model.circuit import SOUND, Variation
from biaspredict.model.readings import Quantity, Reading, Readings
from biaspredict.model.stage import Stage
from biaspredict.predict.doings import while_done
from biaspredict.predict.meters import LEADS, SIGNALS, meter_of, reading_sigma
from biaspredict.predict.probe import Probe, probe_of
from biaspredict.predict.signal_probe import signal_of

LOGARITHMIC = frozenset({Quantity.OHMS, *SIGNALS})
LEAST = {Quantity.OHMS: LEADS}  # below, an ohmmeter shows its leads
USUAL_HERTZ = 1e3  # of a signal reading that does not say


def task_of(readings: Readings, stage: Stage) -> Task:
    """Probes, values and errors of the readings; ohms, gains and levels as logarithms.

    Raises ValueError for a signal reading that nothing drives (see `doubts`).
    """
    probes, values, sigmas, bounds = [], [], [], []
    for reading in readings.entries:
        sigma = reading_sigma(reading, meter_of(reading, readings.meter))
        value = reading.value
        if reading.quantity in LOGARITHMIC:
            least = max(abs(value), LEAST.get(reading.quantity, 1e-9))
            value, sigma = math.log(least), sigma / least
        probes.append(probe_as_read(reading, readings, stage))
        values.append(value)
        sigmas.append(sigma)
        bounds.append(reading.over)
    return Task(
        tuple(probes), np.array(values, dtype=float), np.array(sigmas, dtype=float),
        np.array(bounds, dtype=bool),
    )


def probe_as_read(reading: Reading, readings: Readings, stage: Stage) -> Probe:
    """The probe behind one reading, under its own conditions."""
    meter = meter_of(reading, readings.meter)
    signal = None
    if reading.quantity in SIGNALS:
        signal = signal_of(stage, reading.hertz or USUAL_HERTZ, readings.drive, reading.minus)
        if signal is None:
            raise ValueError(f"nothing drives {reading.name}")
    found = probe_of(reading, meter, signal)
    if reading.meanwhile:
        found = while_done(found, stage, reading.meanwhile)
    own = _own_conditions(reading, readings, stage)
    if own == SOUND:
        return found
    until = None if found.until is None else found.until.plus(own)
    return replace(found, extra=found.extra.plus(own), until=until)


def _own_conditions(reading: Reading, readings: Readings, stage: Stage) -> Variation:
    """Where the reading's temperature or line differs from the file's."""
    settings: tuple[tuple[str, float], ...] = ()
    scales: tuple[tuple[str, float], ...] = ()
    if reading.celsius is not None and reading.celsius != readings.celsius:
        settings = (("temperature", reading.celsius),)
    printed = next((c.line_volts for c in stage.charts if c.line_volts), None)
    usual = readings.line_volts or printed
    if reading.line_volts is not None and usual and reading.line_volts != usual:
        factor = reading.line_volts / usual
        scales = tuple((f"{rail.name}.volts", factor) for rail in stage.rails)
    return Variation(settings=settings, scales=scales)
