"""How sound specimens of a stage differ: one axis for each independent quantity.

Spreads are standard deviations of log-factors (or of additions). A tolerance of t is taken as
an even spread inside its limits, whose standard deviation is t / sqrt(3).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from biaspredict.engine.flatten import pin_quantity
from biaspredict.model.circuit import Axis
from biaspredict.model.devices import (
    Bipolar,
    Diode,
    Fet,
    Material,
    Range,
    Zener,
)
from biaspredict.model.parts import CAPACITORS, POTS, Kind, Part
from biaspredict.model.stage import Stage
from biaspredict.quantities import Tolerance

EVEN = 1.0 / math.sqrt(3.0)

# what a sheet notes at a pin (common practice, no source)
NOTED_VOLTS, NOTED_AMPS = Tolerance(0.05, 0.05), Tolerance(0.2, 0.2)
TENTH = Tolerance(0.10, 0.10)
# A part measured out of circuit is known to 1 % (common practice, no source).
MEASURED = Tolerance(0.01, 0.01)
# Junction drops of one type spread by about 20 mV silicon, 30 mV germanium within 95 % (common
# practice, no source); what the simple equations leave out of V_BE, by comparison with richer
# devices (tests/proving/modelling.py), adds 8 mV. Standard deviations in volts.
JUNCTION_VOLTS = {Material.SILICON: 0.013, Material.GERMANIUM: 0.017}
THERMAL_VOLTS = 0.0257
# Reverse gain sets how far a saturated collector falls; types spread from below 1 to above 10.
REVERSE_GAIN_LOG = 1.0
# Collector leakage of one germanium type spreads by about 4 to 1; that of silicon, which only an
# open base shows, by far more (common practice, no source).
ICBO_LOG = {Material.GERMANIUM: 0.7, Material.SILICON: 1.5}
# 5 % zeners where the sheet says nothing (common practice, no source).
ZENER = Tolerance(0.05, 0.05)
FIXED_WIPER = 0.03  # a wiper set by eye
UNKNOWN_WIPER = 1.0 / math.sqrt(12.0)
TEMPERATURE = 4.0  # kelvin: an unheated bench, a warm cabinet
# What hangs on a rail beside this stage, switched off, where the stage does not say: another
# stage, a bleeder, a rectifier the wrong way round, or nothing (common practice, no source).
OFF_LEAST, OFF_MOST = 50.0, 500e3


def axes(stage: Stage, temperature_sigma: float = TEMPERATURE) -> tuple[Axis, ...]:
    """Every independent way in which a sound specimen of the stage may differ from nominal."""
    found: list[Axis] = []
    for rail in stage.rails:
        tolerance = rail.tolerance or stage.assumptions.rails
        found.append(_toleranced(f"{rail.name}.volts", tolerance))
        if rail.ohms > 0:
            found.append(_toleranced(f"{rail.name}.ohms", TENTH))
    for pin in stage.pins:
        quantity = pin_quantity(stage, pin)
        tolerance = NOTED_VOLTS if quantity == "volts" else NOTED_AMPS
        found.append(_toleranced(f"{pin.name}.{quantity}", tolerance))
    for part in stage.parts:
        found.extend(_of_part(stage, part))
    found.append(Axis(("temperature",), temperature_sigma, additive=True, name="temperature"))
    # A trimmer that was set stands otherwise in a specimen that differs.
    also: dict[str, tuple[tuple[str, float], ...]] = {}
    for setting in stage.settings:
        for name, per in setting.follows:
            also[name] = (*also.get(name, ()), (f"{setting.ref}.turn", per))
    return tuple(
        replace(axis, also=also[axis.name]) if axis.name in also else axis
        for axis in found if axis.sigma > 0
    )


def rails_off(stage: Stage, read: Mapping[str, float] | None = None) -> tuple[Axis, ...]:
    """What each rail measures to ground with the power off: what the stage says, to a tenth, or
    anything.

    The axes move nothing while the power is on: they have no parameters. `with_power_off`
    gives them one. read: ohms that were read at a rail; what hangs there then spreads about
    that figure, as widely as ever, for what is read there is not it alone.
    """
    sigma = math.log(OFF_MOST / OFF_LEAST) / math.sqrt(12.0)
    found = []
    for rail in stage.rails:
        if rail.off_ohms is not None:
            limits = (1.0 - TENTH.minus, 1.0 + TENTH.plus)
            found.append(Axis((), _even(TENTH), name=f"{rail.name}.off", limits=limits))
        else:
            middle = math.sqrt(OFF_LEAST * OFF_MOST)
            if read and rail.name in read:
                middle = min(max(read[rail.name], OFF_LEAST), OFF_MOST)
            limits = (OFF_LEAST / middle, OFF_MOST / middle)
            found.append(Axis((), sigma, name=f"{rail.name}.off", limits=limits))
    return tuple(found)


def cold(stage: Stage, around: Iterable[Axis]) -> Stage:
    """The stage with each unknown rail measuring, switched off, the middle of its axis."""
    middles = {
        axis.name.removesuffix(".off"): OFF_LEAST / axis.limits[0]
        for axis in around if axis.name.endswith(".off") and axis.limits
    }
    usual = math.sqrt(OFF_LEAST * OFF_MOST)
    rails = tuple(
        rail if rail.off_ohms is not None
        else replace(rail, off_ohms=middles.get(rail.name, usual))
        for rail in stage.rails
    )
    return replace(stage, rails=rails)


def with_power_off(around: Iterable[Axis]) -> tuple[Axis, ...]:
    """The axes as they stand with the power off: those of `rails_off` move the rails' ohms, and
    what a rail has in series with the power on moves nothing."""
    off = {
        axis.name: f"{axis.name.removesuffix('.off')}.ohms" for axis in around
        if axis.name.endswith(".off") and not axis.parameters
    }
    series = set(off.values())
    return tuple(
        replace(axis, parameters=(off[axis.name],)) if axis.name in off
        else replace(axis, parameters=()) if axis.name in series else axis
        for axis in around
    )


def capacitances(stage: Stage) -> tuple[Axis, ...]:
    """Spread of every capacitor, which only signals see."""
    return tuple(
        _toleranced(f"{part.ref}.farads", MEASURED if part.measured else stage.tolerance(part))
        for part in stage.parts if part.kind in CAPACITORS and part.now
    )


def _log(parameter: str, sigma: float) -> Axis:
    return Axis((parameter,), sigma, name=parameter)


def _even(tolerance: Tolerance) -> float:
    return math.log1p((tolerance.minus + tolerance.plus) / 2) * EVEN


def _toleranced(parameter: str, tolerance: Tolerance) -> Axis:
    limits = (1.0 - tolerance.minus, 1.0 + tolerance.plus)
    return Axis((parameter,), _even(tolerance), name=parameter, limits=limits)


def _ranged(parameter: str, known: Range) -> Axis:
    """Evenly between two limits about their geometric middle."""
    limits = (known.low / known.middle, known.high / known.middle)
    sigma = math.log(known.high / known.low) / math.sqrt(12.0)
    return Axis((parameter,), sigma, name=parameter, limits=limits)


def _of_part(stage: Stage, part: Part) -> Iterator[Axis]:
    tolerance = MEASURED if part.measured is not None else stage.tolerance(part)
    ref = part.ref
    if part.kind is Kind.RESISTOR or part.kind is Kind.THERMISTOR:
        yield _toleranced(f"{ref}.ohms", tolerance)
    elif part.kind in POTS:
        yield _toleranced(f"{ref}.ohms", tolerance)
        wide = next((s.wide for s in stage.settings if s.ref == ref), 0.0)
        if wide > 0.0:
            yield Axis((f"{ref}.turn",), wide, True, f"{ref}.turn")
        elif part.turn is None:
            yield Axis((f"{ref}.turn",), UNKNOWN_WIPER, True, f"{ref}.turn", (-0.5, 0.5))
        elif 0.0 < part.turn < 1.0:
            yield Axis((f"{ref}.turn",), FIXED_WIPER, True, f"{ref}.turn")
    elif part.kind in (Kind.COIL, Kind.WINDING):
        yield _toleranced(f"{ref}.ohms", TENTH)
    elif part.kind is Kind.LAMP:
        yield _toleranced(f"{ref}.hot_ohms", TENTH)
    else:
        yield from _of_device(part)


def _of_device(part: Part) -> Iterator[Axis]:
    device = part.device
    if isinstance(device, Bipolar):
        yield _ranged(f"{part.ref}.gain", device.gain)
        yield _log(f"{part.ref}.saturation", JUNCTION_VOLTS[device.material] / THERMAL_VOLTS)
        if "reverse_gain" not in device.given:
            yield _log(f"{part.ref}.reverse_gain", REVERSE_GAIN_LOG)
        if device.icbo > 0:
            yield _log(f"{part.ref}.icbo", ICBO_LOG[device.material])
    elif isinstance(device, Diode):
        yield _log(f"{part.ref}.saturation", JUNCTION_VOLTS[device.material] / THERMAL_VOLTS)
    elif isinstance(device, Zener):
        yield _toleranced(f"{part.ref}.zener_volts", part.tolerance or ZENER)
    elif isinstance(device, Fet):
        yield _ranged(f"{part.ref}.idss", device.idss)
        yield _ranged(f"{part.ref}.pinch_off", device.pinch_off)
