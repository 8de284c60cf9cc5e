"""The stage as it stood when the readings were taken: temperature, line, rails that were read."""

from __future__ import annotations

import math
from dataclasses import replace

from biaspredict.model.circuit import Axis
from biaspredict.model.readings import Quantity, Readings
from biaspredict.model.stage import Rail, Stage
from biaspredict.predict.spread import TEMPERATURE, axes

READ_TEMPERATURE = 2.0  # kelvin left unknown where a temperature was read
STIFF = 1.0  # ohms behind a rail up to which its reading is its open-circuit voltage
PINNED = 0.5  # log spread of a rail that was read: the reading decides, not the tolerance


def rails_read(stage: Stage, readings: Readings) -> frozenset[str]:
    """Stiff rails whose own voltage stands among the readings."""
    return frozenset(
        rail.name
        for rail in stage.rails
        if rail.ohms <= STIFF and any(
            r.node == rail.name and r.minus is None and r.quantity is Quantity.VOLTS
            for r in readings.entries
        )
    )


def as_read(stage: Stage, readings: Readings) -> Stage:
    """The stage at the readings' temperature and line voltage."""
    assumed = stage.assumptions
    if readings.celsius is not None:
        assumed = replace(assumed, temperature=readings.celsius)
    rails = stage.rails
    line = _line_factor(stage, readings)
    if line != 1.0:
        rails = tuple(replace(rail, volts=rail.volts * line) for rail in rails)
    rails = tuple(_centred(rail, stage, readings) for rail in rails)
    return replace(stage, assumptions=assumed, rails=rails)


def _line_factor(stage: Stage, readings: Readings) -> float:
    """Unregulated rails follow the line, by the chart's stated line voltage."""
    printed = next((c.line_volts for c in stage.charts if c.line_volts), None)
    if printed is None or readings.line_volts is None:
        return 1.0
    return readings.line_volts / printed


def _centred(rail: Rail, stage: Stage, readings: Readings) -> Rail:
    """A stiff rail that was read starts from its reading, so that solves start near it."""
    if rail.name not in rails_read(stage, readings):
        return rail
    for reading in readings.entries:
        same = reading.node == rail.name and reading.quantity is Quantity.VOLTS
        if same and reading.minus is None and reading.value * rail.volts > 0:
            return replace(rail, volts=reading.value)
    return rail


def axes_as_read(stage: Stage, readings: Readings) -> tuple[Axis, ...]:
    """Spread under the readings' conditions: a rail that was read is pinned by its reading."""
    known = readings.celsius is not None
    found = axes(stage, READ_TEMPERATURE if known else TEMPERATURE)
    pinned = {f"{name}.volts" for name in rails_read(stage, readings)}
    return tuple(
        replace(axis, sigma=math.log1p(PINNED)) if axis.name in pinned else axis for axis in found
    )
