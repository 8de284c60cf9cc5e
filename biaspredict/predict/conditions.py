"""The stage as it stood when the readings were taken: temperature and line."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from biaspredict.model.circuit import Axis
from biaspredict.model.readings import Quantity, Readings
from biaspredict.model.stage import Stage
from biaspredict.predict.meters import SIGNALS
from biaspredict.predict.spread import TEMPERATURE, axes, capacitances, rails_off

READ_TEMPERATURE = 3.0  # kelvin left unknown of the junctions where the air's was read
MORE = 1.25  # times the stated ohms of a rail that its tolerance and a meter do not explain
OWN_HEAT = 4.0  # kelvin by which junctions at work stand above the air (common practice, no source)
LINE = 0.025  # log spread of the line voltage from house to house (common practice, no source)


def as_read(stage: Stage, readings: Readings) -> Stage:
    """The stage at the readings' temperature and line voltage."""
    assumed = stage.assumptions
    if readings.celsius is not None:
        assumed = replace(assumed, temperature=readings.celsius + OWN_HEAT)
    rails = stage.rails
    line = _line_factor(stage, readings)
    if line != 1.0:
        rails = tuple(replace(rail, volts=rail.volts * line) for rail in rails)
    wrong = off_otherwise(stage, readings)
    rails = tuple(replace(r, off_ohms=None) if r.name in wrong else r for r in rails)
    return replace(stage, assumptions=assumed, rails=rails)


def off_otherwise(stage: Stage, readings: Readings) -> Mapping[str, float]:
    """Rails that read far more ohms than the stage says hang there, with the ohms read.

    What stands across a rail only lowers its ohms, so no fault does that: the figure is wrong.
    """
    read = _read_cold(readings)
    return {
        rail.name: read[rail.name] for rail in stage.rails
        if rail.off_ohms is not None and read.get(rail.name, 0.0) > MORE * rail.off_ohms
    }


def _line_factor(stage: Stage, readings: Readings) -> float:
    """Unregulated rails follow the line, by the chart's stated line voltage."""
    printed = next((c.line_volts for c in stage.charts if c.line_volts), None)
    if printed is None or readings.line_volts is None:
        return 1.0
    return readings.line_volts / printed


def _read_cold(readings: Readings) -> dict[str, float]:
    """Ohms to ground by node, as read with the power off."""
    return {
        entry.node: entry.value for entry in readings.as_found
        if entry.quantity is Quantity.OHMS and entry.minus is None and entry.value > 0.0
    }


def axes_as_read(stage: Stage, readings: Readings) -> tuple[Axis, ...]:
    """Spread under the readings' conditions.

    Where no line voltage was noted, rails move with it beyond their own tolerance.
    """
    known = readings.celsius is not None
    found = axes(stage, READ_TEMPERATURE if known else TEMPERATURE)
    found = (*found, *rails_off(stage, _read_cold(readings)))
    if any(entry.quantity in SIGNALS for entry in readings.entries):
        found = (*found, *capacitances(stage))
    if readings.line_volts is not None:
        return found
    rails = {f"{rail.name}.volts" for rail in stage.rails}
    return tuple(
        replace(axis, sigma=math.hypot(axis.sigma, LINE)) if axis.name in rails else axis
        for axis in found
    )
