"""The page of `ohms`."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from biaspredict.infer.charts import DISAGREES, ChartCheck
from biaspredict.infer.touches import DISCHARGE
from biaspredict.model.readings import Quantity
from biaspredict.model.stage import Meter
from biaspredict.predict.meters import OPEN_OHMS, top_ohms
from biaspredict.predict.ohms import opened
from biaspredict.predict.ohms_records import Climb, Drop, Ohms, OhmsAt
from biaspredict.quantities import Unit, engineering
from biaspredict.report import words


def page(found: Ohms, charts: Sequence[ChartCheck]) -> str:
    """Caution, readings, capacitors, junctions, the printed chart, what was assumed."""
    blocks = [
        words.wrapped(f"{found.stage.title}: ohms with the power off, {_meter(found.meter)}"),
        words.wrapped(f"Caution: {DISCHARGE}"),
        "\n".join(_places(found.places, top_ohms(found.meter))),
        "\n".join(_climbs(found)),
        "\n".join(_drops(found.drops)),
        *("\n".join(chart_lines(check)) for check in charts),
        "\n".join(_assumed(found)),
    ]
    return "\n\n".join(block for block in blocks if block)


def _meter(meter: Meter) -> str:
    if meter.ohms_by_needle:
        return (f"needle meter with {words.volts(meter.open_volts or 1.5)} at its open leads, "
                f"{words.ohms(meter.middle_ohms or 20.0)} at mid-scale of its lowest range")
    return f"digital meter with {words.volts(meter.test_volts or 0.5)} at its open leads"


def _name(at: OhmsAt) -> str:
    place = at.place
    return place.name if place.minus_name is None else f"{place.name} to {place.minus_name}"


def shown(ohms: float, top: float = OPEN_OHMS) -> str:
    """As a meter shows it that reaches to `top` ohms."""
    if opened(ohms) or ohms > top:
        return "over"
    return "0 ohm" if ohms < 0.05 else words.ohms(ohms)


def reach(low: float, high: float, top: float) -> str:
    """A band of ohms."""
    ends = [shown(end, top) for end in (low, high)]
    return "over" if ends[0] == "over" else " to ".join(ends)


def _places(places: Sequence[OhmsAt], top: float) -> Iterator[str]:
    rows = [("point", "leads", "settles at", "95 % of sound stages", "")]
    for at in places:
        ways = [("either way", at.red)] if at.same else [
            ("red here", at.red), ("black here", at.black)]
        for i, (leads, way) in enumerate(ways):
            mark = "" if way.climb is None else "climbs"
            rows.append((_name(at) if i == 0 else "", leads, shown(way.ohms, top),
                         reach(way.low, way.high, top), mark))
    yield from words.table(rows, right=(2,))
    if any("over" in cell for row in rows for cell in row):
        yield f"over: beyond the meter's {words.ohms(top)}."


def _climbs(found: Ohms) -> Iterator[str]:
    """How each climbing reading starts, stands after the stated time, and when it is done."""
    rows = [("climbs at", "starts at", f"after {_time(found.seconds)}", "done in", "held by")]
    for at in found.places:
        climb = at.red.climb or at.black.climb
        if climb is None:
            continue
        rows.append((
            _name(at), shown(climb.starts), shown(climb.after), _done(climb),
            ", ".join(climb.capacitors[:4]) or "several together",
        ))
    if len(rows) > 1:
        yield "Capacitors, discharged before, hold these down as they charge (red lead here):"
        yield from words.table(rows, right=(1, 2, 3))
    slow = [
        _name(at) for at in found.places
        if at.red.climb is not None and (at.red.climb.seconds or math.inf) > found.seconds
    ]
    if slow:
        yield words.wrapped(
            f"Still climbing after {_time(found.seconds)}: {', '.join(slow)}. A reading taken "
            "then is only a lower limit.")


def _done(climb: Climb) -> str:
    return "over half an hour" if climb.seconds is None else _time(climb.seconds)


def _time(seconds: float) -> str:
    if seconds < 0.1:
        return "at once"
    return f"{seconds / 60.0:.2g} min" if seconds >= 90.0 else f"{seconds:.2g} s"


def _drops(drops: Sequence[Drop]) -> Iterator[str]:
    if not drops:
        return
    yield "Diode range (1 mA), in place:"
    rows = [("junction", "", "conducts", "95 % of sound stages", "the other way")]
    for drop in drops:
        band = words.span(drop.low, drop.high, Quantity.DROP) if drop.forward is not None else ""
        rows.append((drop.part, drop.legs, _drop(drop.forward), band, _drop(drop.backward)))
    yield from words.table(rows, right=(2, 4))


def _drop(value: float | None) -> str:
    return "over" if value is None else words.volts(value)


def chart_lines(check: ChartCheck) -> Iterator[str]:
    """A printed chart, every figure beside what a sound stage shows through its meter."""
    ohms = check.chart.quantity == "ohms"
    yield f"The printed {check.chart.quantity} chart, through the manual's own meter:"
    if check.turned:
        yield words.wrapped("It fits with the black lead on the points, and is taken so.", "  ")
    quantity = Quantity.OHMS if ohms else Quantity.VOLTS
    rows = [("point", "printed", "sound", "95 % between", "")]
    top = top_ohms(check.chart.meter)
    far = {id(entry) for entry, _, _ in check.off}
    for line in check.lines:
        entry = line.entry
        name = entry.name if entry.minus_name is None else f"{entry.name} to {entry.minus_name}"
        printed = words.measured(entry.value, quantity) if math.isfinite(entry.value) else "over"
        expected = shown(line.expected, top) if ohms else words.volts(line.expected)
        rows.append((
            name, printed, expected,
            reach(line.low, line.high, top) if ohms else words.span(line.low, line.high),
            "OFF" if id(entry) in far else "ok",
        ))
    yield from words.table(rows, right=(1, 2))
    if check.agrees < DISAGREES:
        yield "  It does not agree with the stage as written: see `biaspredict proof`."


def _assumed(found: Ohms) -> Iterator[str]:
    stage = found.stage
    if found.meter.ohms_by_needle:
        yield words.wrapped(
            "Red here is the meter's positive lead on ohms. On many needle meters that is the "
            "black one: try it on a diode.")
    if found.unknown:
        first = found.unknown[0]
        yield words.wrapped(
            f"What hangs on {words.listed(found.unknown)} beside this stage is not known, so "
            "these bands allow for anything from 50 ohms to nothing. Measure "
            f"{first} to ground first, and write it on the rail's line: off 3.3K.")
    outside = [
        f"{engineering(port.ohms, Unit.OHM)} at {port.node}"
        for port in (*stage.inputs, *stage.outputs) if port.ohms is not None and not port.blocked
    ]
    if outside:
        yield words.wrapped(
            f"Connected, as the stage file says: {words.listed(outside)}. Leave them so.")
