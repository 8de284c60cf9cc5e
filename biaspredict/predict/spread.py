"""How sound specimens of a stage differ: one axis for each independent quantity.

Spreads are standard deviations of log-factors (or of additions). A tolerance of t is taken as
an even spread inside its limits, whose standard deviation is t / sqrt(3).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from biaspredict.model.circuit import Axis
from biaspredict.model.devices import (
    Bipolar,
    Diode,
    Fet,
    Material,
    Range,
    Zener,
)
from biaspredict.model.parts import POTS, Kind, Part
from biaspredict.model.stage import Stage
from biaspredict.quantities import Tolerance

EVEN = 1.0 / math.sqrt(3.0)
TWO_SIDED = 2 * 1.96  # central 95 % in standard deviations

MEASURED = 0.01  # a part measured out of circuit is known to 1 % (common practice, no source)
# Junction drops of one type spread by about 20 mV silicon, 30 mV germanium within 95 %,
# as standard deviations of the logarithm of saturation current (common practice, no source).
JUNCTION_VOLTS = {Material.SILICON: 0.010, Material.GERMANIUM: 0.015}
THERMAL_VOLTS = 0.0257
# Reverse gain sets how far a saturated collector falls; types spread from below 1 to above 10.
REVERSE_GAIN_LOG = 1.0
ICBO_LOG = 0.7  # collector leakage of one germanium type spreads by about 4 to 1
ZENER = 0.05  # 5 % zeners where the sheet says nothing (common practice, no source)
FIXED_WIPER = 0.03  # a wiper set by eye
UNKNOWN_WIPER = 1.0 / math.sqrt(12.0)
TEMPERATURE = 4.0  # kelvin: an unheated bench, a warm cabinet
LEAKY_ENOUGH = 2e-7  # amps of ICBO below which its spread moves nothing readable


def axes(stage: Stage, temperature_sigma: float = TEMPERATURE) -> tuple[Axis, ...]:
    """Every independent way in which a sound specimen of the stage may differ from nominal."""
    found: list[Axis] = []
    for rail in stage.rails:
        tolerance = rail.tolerance or stage.assumptions.rails
        found.append(_log(f"{rail.name}.volts", _even(tolerance)))
        if rail.ohms > 0:
            found.append(_log(f"{rail.name}.ohms", 0.1 * EVEN))
    for pin in stage.pins:
        if pin.volts is not None:
            found.append(_log(f"{pin.name}.volts", 0.05 * EVEN))
        else:
            found.append(_log(f"{pin.name}.amps", 0.2 * EVEN))
    for part in stage.parts:
        found.extend(_of_part(stage, part))
    found.append(Axis(("temperature",), temperature_sigma, additive=True, name="temperature"))
    return tuple(axis for axis in found if axis.sigma > 0)


def _log(parameter: str, sigma: float) -> Axis:
    return Axis((parameter,), sigma, name=parameter)


def _even(tolerance: Tolerance) -> float:
    return math.log1p((tolerance.minus + tolerance.plus) / 2) * EVEN


def _within(known: Range) -> float:
    return math.log(known.high / known.low) / TWO_SIDED


def _of_part(stage: Stage, part: Part) -> Iterator[Axis]:
    sigma = MEASURED * EVEN if part.measured is not None else _even(stage.tolerance(part))
    if part.kind is Kind.RESISTOR or part.kind is Kind.THERMISTOR:
        yield _log(f"{part.ref}.ohms", sigma)
    elif part.kind in POTS:
        yield _log(f"{part.ref}.ohms", sigma)
        wiper = UNKNOWN_WIPER if part.turn is None else FIXED_WIPER
        if part.turn is None or 0.0 < part.turn < 1.0:
            yield Axis((f"{part.ref}.turn",), wiper, additive=True, name=f"{part.ref}.turn")
    elif part.kind in (Kind.COIL, Kind.WINDING):
        yield _log(f"{part.ref}.ohms", 0.1 * EVEN)
    elif part.kind is Kind.LAMP:
        yield _log(f"{part.ref}.hot_ohms", 0.1 * EVEN)
    else:
        yield from _of_device(part)


def _of_device(part: Part) -> Iterator[Axis]:
    device = part.device
    if isinstance(device, Bipolar):
        yield _log(f"{part.ref}.gain", _within(device.gain))
        yield _log(f"{part.ref}.saturation", JUNCTION_VOLTS[device.material] / THERMAL_VOLTS)
        if "reverse_gain" not in device.given:
            yield _log(f"{part.ref}.reverse_gain", REVERSE_GAIN_LOG)
        if device.icbo > LEAKY_ENOUGH:
            yield _log(f"{part.ref}.icbo", ICBO_LOG)
    elif isinstance(device, Diode):
        yield _log(f"{part.ref}.saturation", JUNCTION_VOLTS[device.material] / THERMAL_VOLTS)
    elif isinstance(device, Zener):
        given = part.tolerance
        yield _log(f"{part.ref}.zener_volts", _even(given) if given else ZENER * EVEN)
    elif isinstance(device, Fet):
        yield _log(f"{part.ref}.idss", _within(device.idss))
        yield _log(f"{part.ref}.pinch_off", _within(device.pinch_off))
