"""Readings that cannot be as written: named before anything is inferred from them.

A reading that no fault of the stage could cause is set aside from the ranking, and printed with
its reason. One that is only odd, or that another contradicts, stays and is named.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from biaspredict.findings import Finding, Gravity
from biaspredict.graph.network import floating
from biaspredict.infer.ledger import conflict
from biaspredict.model.devices import Bipolar, Polarity
from biaspredict.model.parts import CAPACITORS, Kind
from biaspredict.model.readings import Deed, Quantity, Reading, Readings
from biaspredict.model.stage import GROUND, NEEDLE_RANGES, Meter, Stage
from biaspredict.predict.conditions import off_otherwise
from biaspredict.predict.meters import SIGNALS, meter_of, reading_sigma, top_ohms
from biaspredict.predict.signal_probe import signal_of
from biaspredict.quantities import Unit, engineering

RAIL_HIGH = 1.6  # times its nominal volts, beyond which an unread rail is not looked for
BEYOND = 0.5  # volts beyond a rail that are no meter's error
JUNCTION = 1.2  # volts beyond which no conducting junction stands, silicon or germanium
BREAKS_DOWN = 9.0  # volts the wrong way round that a base-emitter junction stands at most
SETTLED = 5.0  # time constants after which a capacitor is charged to 1 %
WAITED = 10.0  # minutes after switch-on at which a person reads who does not say
DIGITAL_OHMS = 200e6  # the most that a digital meter shows


@dataclass(frozen=True, slots=True)
class Doubt:
    """A finding about readings; those in `aside` take no part in the ranking."""

    finding: Finding
    aside: tuple[Reading, ...] = ()


def sorted_out(stage: Stage, readings: Readings) -> tuple[Readings, tuple[Doubt, ...]]:
    """The readings to infer from, as they are now to be taken, and what is doubtful.

    stage: under the readings' conditions.
    """
    doubts: list[Doubt] = []
    kept: list[Reading] = []
    for reading in readings.entries:
        found = tuple(_of_one(stage, readings, reading))
        doubts.extend(found)
        if not any(doubt.aside for doubt in found):
            kept.append(_as_taken(reading, readings))
    usable = replace(readings, entries=tuple(kept))
    doubts.extend(Doubt(f) for f in _junctions(stage, usable))
    doubts.extend(Doubt(f) for f in _contradictions(usable))
    return usable, tuple(doubts)


def rails_said(stage: Stage, readings: Readings) -> tuple[Doubt, ...]:
    """Rails whose ohms switched off are not what the stage file says."""
    wrong = off_otherwise(stage, readings)
    return tuple(
        Doubt(_finding(
            "rail-off", reading,
            f"{reading.name} reads {engineering(reading.value, Unit.OHM)} ohm switched off, more "
            "than the stage file says hangs there",
            f"It is taken as read, and what hangs there as unknown. Write on the rail's line: "
            f"off {engineering(reading.value, Unit.OHM)}.",
        ))
        for reading in readings.as_found
        if reading.quantity is Quantity.OHMS and reading.minus is None
        and wrong.get(reading.node) == reading.value
    )


def _as_taken(reading: Reading, readings: Readings) -> Reading:
    """A range that cannot hold the reading is taken to be the next that can."""
    meter = meter_of(reading, readings.meter)
    scale = reading.range_volts or meter.range_volts
    if reading.quantity is not Quantity.VOLTS or scale is None or abs(reading.value) <= scale:
        return reading
    larger = next((r for r in NEEDLE_RANGES if r >= abs(reading.value)), abs(reading.value))
    return replace(reading, range_volts=larger)


def _of_one(stage: Stage, readings: Readings, reading: Reading) -> Iterator[Doubt]:
    if reading.quantity is Quantity.VOLTS:
        yield from _beyond_rails(stage, readings, reading)
        yield from _still_charging(stage, readings, reading)
        yield from _out_of_range(readings, reading)
    elif reading.quantity in SIGNALS:
        yield from _without_signal(stage, readings, reading)
    else:
        yield from _no_such_ohms(readings, reading)


def _finding(
    code: str, reading: Reading, fact: str, remedy: str, gravity: Gravity = Gravity.CHECK
) -> Finding:
    return Finding(code, gravity, (reading.name,), fact, remedy, reading.origin)


def _volts(value: float) -> str:
    return engineering(value, Unit.VOLT)


def _span(stage: Stage, readings: Readings) -> tuple[float, float]:
    """Volts between which every node must lie: rails as read, or as high as they may be."""
    read = {
        r.node: r.value for r in readings.as_found
        if r.quantity is Quantity.VOLTS and r.minus is None and not r.over
    }
    ends = [0.0]
    for rail in stage.rails:
        held = rail.ohms == 0.0 and rail.name in read
        ends.append(read[rail.name] if held else rail.volts * RAIL_HIGH)
        # a rail read far off its nominal volts may itself be the slip
        ends.append(rail.volts)
    ends += [pin.volts * RAIL_HIGH for pin in stage.pins if pin.volts is not None]
    return min(ends), max(ends)


def _beyond_rails(stage: Stage, readings: Readings, reading: Reading) -> Iterator[Doubt]:
    """Nothing in a DC stage lies outside its rails; current fed in or windings may."""
    rails = {rail.name for rail in stage.rails}
    moved = any(pin.volts is None for pin in stage.pins) or any(
        part.kind is Kind.WINDING for part in stage.parts
    )
    if moved or reading.node in rails or not stage.rails:
        return
    low, high = _span(stage, readings)
    if reading.minus is not None and reading.minus != GROUND:
        low, high = low - high, high - low
    error = 3.0 * reading_sigma(reading, meter_of(reading, readings.meter)) + BEYOND
    if low - error <= reading.value <= high + error:
        return
    name = _name(reading)
    if low - error <= -reading.value <= high + error:
        yield Doubt(_finding(
            "wrong-sign", reading,
            f"{name} reads {_volts(reading.value)}, on the other side of ground from every rail",
            f"Set aside. If the leads were swapped or a minus slipped in, write "
            f"{_volts(-reading.value)}.",
        ), (reading,))
        return
    limit = high if reading.value > 0 else low
    yield Doubt(_finding(
        "beyond-the-rails", reading,
        f"{name} reads {_volts(reading.value)}, beyond the {_volts(limit)} that the rails can "
        "give",
        "Set aside. Look for a slipped decimal or the wrong point, or for a supply that the "
        "stage file leaves out; read it again.",
    ), (reading,))


def _still_charging(stage: Stage, readings: Readings, reading: Reading) -> Iterator[Doubt]:
    """A node that only the meter discharges, read before it can have settled."""
    bridged = any(deed.deed is Deed.ACROSS for deed in reading.meanwhile)
    if bridged or reading.minus is not None or reading.node not in floating(stage):
        return
    farads = sum(
        part.now or 0.0 for part, _ in stage.at(reading.node) if part.kind in CAPACITORS
    )
    meter = meter_of(reading, readings.meter)
    seconds = farads * meter.input_ohms(reading.value, reading.range_volts)
    minutes = reading.minutes if reading.minutes is not None else readings.minutes
    waited = 60.0 * (WAITED if minutes is None else minutes)
    if waited >= SETTLED * seconds:
        return
    yield Doubt(_finding(
        "still-charging", reading,
        f"only your meter discharges {reading.name}: with it the time constant is "
        f"{_time(seconds)}, so {_volts(reading.value)} after {_time(waited)} says nothing yet",
        "Set aside. Put 100 ohms 5 W across it with the power off, switch on, and read after a "
        "minute: millivolts if its capacitor holds, volts if it leaks.",
    ), (reading,))


def _time(seconds: float) -> str:
    for size, unit in ((3600.0, "hours"), (60.0, "minutes")):
        if seconds >= 1.5 * size:
            return f"{seconds / size:.2g} {unit}"
    return f"{seconds:.2g} seconds"


def _out_of_range(readings: Readings, reading: Reading) -> Iterator[Doubt]:
    meter = meter_of(reading, readings.meter)
    scale = reading.range_volts or meter.range_volts
    if scale is None or abs(reading.value) <= scale:
        return
    taken = _as_taken(reading, readings).range_volts or scale
    yield Doubt(_finding(
        "beyond-the-range", reading,
        f"no meter shows {_volts(reading.value)} on its {_volts(scale)} range",
        f"{_name(reading)} is taken as read on the {_volts(taken)} range; write the range that "
        "was used.",
    ))


def _no_such_ohms(readings: Readings, reading: Reading) -> Iterator[Doubt]:
    meter = meter_of(reading, readings.meter)
    shown = f"{engineering(reading.value, Unit.OHM)} ohm"
    if reading.quantity is Quantity.DROP:
        if meter.needle:
            yield Doubt(_finding(
                "no-diode-range", reading, f"{_name(reading)}: a needle meter has no diode range",
                "It is taken as read with 1 mA; write the meter that was used.", Gravity.NOTE,
            ))
        return
    most = _most_ohms(meter)
    if reading.value > most and not reading.over:
        yield Doubt(_finding(
            "beyond-the-range", reading,
            f"{_name(reading)} reads {shown}, more than this meter can show",
            "Write `over`, or the meter that was used.",
        ))


def _most_ohms(meter: Meter) -> float:
    if not meter.ohms_by_needle:
        return DIGITAL_OHMS
    return top_ohms(meter)


def _without_signal(stage: Stage, readings: Readings, reading: Reading) -> Iterator[Doubt]:
    if reading.quantity is Quantity.RIPPLE:
        yield Doubt(_finding(
            "ripple", reading, f"the ripple at {reading.name} is not judged here",
            "Kept and set aside: a ripple tells of the supply that feeds this stage.",
            Gravity.NOTE,
        ), (reading,))
    elif reading.quantity is Quantity.LEVEL and readings.drive is None:
        yield Doubt(_finding(
            "no-generator", reading,
            f"the level at {reading.name} says nothing without the generator's own level",
            "Set aside. Write a line such as: generator 10 mV from 600 at IN.",
        ), (reading,))
    elif signal_of(stage, 1e3, readings.drive, reading.minus) is None:
        yield Doubt(_finding(
            "no-generator", reading,
            f"{reading.name}: nothing says where the signal comes in",
            "Set aside. Write the generator (generator 10 mV from 600 at IN), or an input in "
            "the stage file.",
        ), (reading,))
    elif reading.hertz is None:
        yield Doubt(_finding(
            "no-frequency", reading, f"{reading.name}: no frequency is said",
            "It is taken as 1 kHz; write it behind the reading: at 1 kHz.", Gravity.NOTE,
        ))


def _junctions(stage: Stage, readings: Readings) -> Iterator[Finding]:
    """Base to emitter volts that no junction stands, from one reading or from two."""
    for part in stage.parts:
        if not isinstance(part.device, Bipolar):
            continue
        base, emitter = part.node("base"), part.node("emitter")
        sign = 1.0 if part.device.polarity is Polarity.NPN else -1.0
        for volts, names in _across(readings.as_found, base, emitter):
            told = f"V_BE of {part.ref} is {_volts(sign * volts)} by {names}"
            if sign * volts > JUNCTION:
                yield Finding(
                    "junction-volts", Gravity.CHECK, (part.ref,),
                    f"{told}: no conducting junction stands that",
                    "The junction or a joint at it is open, or a reading slipped: read both "
                    "legs again, at the legs themselves.",
                )
            elif sign * volts < -BREAKS_DOWN:
                yield Finding(
                    "junction-volts", Gravity.CHECK, (part.ref,),
                    f"{told}: the junction would break down before that",
                    "A reading slipped, or the transistor is open: read both legs again.",
                )


def _across(
    entries: Sequence[Reading], plus: str, minus: str
) -> Iterator[tuple[float, str]]:
    """Volts between two nodes as read, and by what."""
    if plus == minus:
        return
    volts = [r for r in entries if r.quantity is Quantity.VOLTS]
    for reading in volts:
        ends = (reading.node, reading.minus or GROUND)
        if ends in ((plus, minus), (minus, plus)):
            yield (reading.value if ends[0] == plus else -reading.value), _name(reading)
    at = {
        node: [r for r in volts if r.node == node and r.minus in (None, GROUND)]
        for node in (plus, minus)
    }
    for first in at[plus]:
        for second in at[minus]:
            yield first.value - second.value, f"{first.name} and {second.name}"


def _contradictions(readings: Readings) -> Iterator[Finding]:
    """Volts between two points that are not the difference of their own readings."""
    volts = [r for r in readings.as_found if r.quantity is Quantity.VOLTS]
    alone: dict[str, Reading] = {}
    for reading in volts:
        if reading.minus in (None, GROUND):
            alone.setdefault(reading.node, reading)
    for reading in volts:
        first, second = alone.get(reading.node), alone.get(reading.minus or "")
        if reading.minus in (None, GROUND) or first is None or second is None:
            continue
        apart = first.value - second.value
        error = math.hypot(
            reading_sigma(first, meter_of(first, readings.meter)),
            reading_sigma(second, meter_of(second, readings.meter)),
        )
        own = reading_sigma(reading, meter_of(reading, readings.meter))
        if abs(apart - reading.value) > 4.0 * math.hypot(error, own) + 0.02:
            yield _finding(
                "contradiction", reading,
                f"{_name(reading)} reads {_volts(reading.value)}, but {first.name} and "
                f"{second.name} by themselves differ by {_volts(apart)}",
                "All three are kept. The meter's load, a bad joint, or a slip is behind it: "
                "read them again one after the other.",
            )
    for reading, other in _ohms_twice(readings):
        yield _finding(
            "contradiction", reading,
            f"{_name(reading)} reads {engineering(other.value, Unit.OHM)} and "
            f"{engineering(reading.value, Unit.OHM)} ohm",
            "Both are kept. A contact that comes and goes, or a capacitor still charging, is "
            "behind it: read again and wait until it stands still.",
        )


def _ohms_twice(readings: Readings) -> Iterator[tuple[Reading, Reading]]:
    first: dict[tuple[str, str | None], Reading] = {}
    for reading in readings.as_found:
        if reading.quantity is not Quantity.OHMS or reading.over:
            continue
        other = first.setdefault((reading.node, reading.minus), reading)
        if other is not reading and conflict(other, reading, readings.meter):
            yield reading, other


def _name(reading: Reading) -> str:
    name = reading.name if reading.minus_name is None else (
        f"{reading.name} to {reading.minus_name}")
    return " ".join((name, *(deed.text for deed in reading.meanwhile)))
