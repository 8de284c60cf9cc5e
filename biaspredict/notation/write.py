"""Records back into text, in one canonical form that reads back as the same records."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from biaspredict.model.parts import Kind, Part
from biaspredict.model.readings import Deed, Meanwhile, Quantity, Reading, Readings
from biaspredict.model.stage import (
    Assumptions,
    Chart,
    ChartEntry,
    Meter,
    Pin,
    Port,
    Rail,
    Setting,
    Stage,
)
from biaspredict.notation import reason
from biaspredict.notation.digits import written_to
from biaspredict.notation.names import LEGS, key, point_label
from biaspredict.notation.reason import written
from biaspredict.notation.write_parts import describe, words
from biaspredict.quantities import Tolerance, Unit, value_text


def write_stage(stage: Stage) -> str:
    """The text of a stage file; read_stage gives back a stage equal to `stage`.

    Comments and the order of statements are not kept: parts stand in their order, one a line.
    """
    blocks = [
        [f"stage {_quoted(stage.title)}", *(f"note {_quoted(note)}" for note in stage.notes)],
        [*map(_rail, stage.rails), *_assumptions(stage.assumptions)],
        [line for part in stage.parts for line in _part(part)],
        [*_pins(stage), *(_port("input", p) for p in stage.inputs)]
        + [_port("output", p) for p in stage.outputs],
        list(_aliases(stage)),
        list(map(_setting, stage.settings)),
        *(list(_chart(chart)) for chart in stage.charts),
    ]
    if stage.twins:
        pairs = ", ".join(f"{_node(twin.mine)} = {twin.other}" for twin in stage.twins)
        blocks.append([f"other channel {pairs}"])
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def write_readings(readings: Readings) -> str:
    """The text of a readings file; read_readings gives back readings equal to these."""
    day = f" {readings.day.isoformat()}" if readings.day else ""
    head = [f"readings {_quoted(readings.title)}{day}"]
    if readings.meter.given:
        head.append(_meter(readings.meter))
    head += _conditions(readings.line_volts, readings.celsius, readings.minutes)
    if readings.drive is not None:
        volts, ohms, node = readings.drive
        source = f" from {written(ohms, reason.SOURCE_OHMS)}" if ohms else ""
        head.append(f"generator {written(volts, reason.SIGNAL)}{source} at {_node(node)}")
    skipped = [f"skip {', '.join(map(_node, readings.skipped))}"] if readings.skipped else []
    skipped += [
        f"skip {' '.join([*_place(entry), *map(_done, entry.meanwhile)])}"
        for entry in readings.left_out
    ]
    other = [_reading(entry) for entry in readings.other]
    blocks = [head, [_reading(entry) for entry in readings.entries], other, skipped]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def _node(name: str) -> str:
    """A node's name as a path may hold it: TPA alone would be a word like any other."""
    if name[:2] == "TP" and point_label(name) is None and point_label(f"test point {name[2:]}"):
        return f"test point {name[2:]}"
    return name


# --- stages --------------------------------------------------------------------------------------


def _rail(rail: Rail) -> str:
    text = f"rail {rail.name} {written(rail.volts, reason.RAIL_VOLTS)}"
    if rail.tolerance is not None:
        text += f" {rail.tolerance.text()}"
    if rail.ohms:
        text += f" via {written(rail.ohms, reason.SOURCE_OHMS)}"
    if rail.off_ohms is not None:
        text += f" off {written(rail.off_ohms, reason.SOURCE_OHMS)}"
    return text


def _assumptions(assumed: Assumptions) -> Iterator[str]:
    given = assumed.given
    said = [
        f"{name} {getattr(assumed, name).text()}"
        for name in ("resistors", "capacitors", "electrolytics", "rails", "pots")
        if name in given
    ]
    if "temperature" in given:
        said.append(f"temperature {written(assumed.temperature, reason.CELSIUS)}")
    if "age_years" in given and assumed.age_years is not None:
        said.append(f"age {written(assumed.age_years, reason.YEARS)} years")
    if assumed.bare_capacitors is not None:
        unit = value_text(assumed.bare_capacitors, Unit.FARAD)
        said.append(f"bare capacitors in {unit.removeprefix('1 ')}")
    if said:
        yield "assume " + ", ".join(said)


def _part(part: Part) -> Iterator[str]:
    if part.kind in LEGS:
        yield describe(part)
        for leg, node in zip(part.terminals, part.nodes, strict=True):
            if node != f"{part.ref}.{leg}":
                yield f"{part.ref}.{leg} -- {_node(node)}"
        return
    before, after = {
        Kind.ELECTROLYTIC: ("+", ""),
        Kind.DIODE: ("", ">"),
        Kind.ZENER: ("", ">"),
    }.get(part.kind, ("", ""))
    # A reference with nothing behind it would not describe a part, unless it has an arrow.
    behind = list(words(part)) or ([] if after else [part.kind.value])
    said = " ".join([f"{before}{part.ref}{after}", *behind])
    yield f"{_node(part.nodes[0])} -- {said} -- {_node(part.nodes[1])}"


def _pins(stage: Stage) -> Iterator[str]:
    for pin in stage.pins:
        yield f"pin {pin.name} {_does(pin)}"
        if pin.node != pin.name:
            yield f"{pin.name} -- {_node(pin.node)}"


def _does(pin: Pin) -> str:
    if pin.volts is not None:
        via = f" via {written(pin.ohms, reason.SOURCE_OHMS)}" if pin.ohms else ""
        return f"holds {written(pin.volts, reason.PIN_VOLTS)}{via}"
    verb = "gives" if pin.amps < 0 else "takes"
    return f"{verb} {written(abs(pin.amps), reason.PIN_AMPS)}"


def _port(what: str, port: Port) -> str:
    text = f"{what} {_node(port.node)}"
    if port.ohms is not None:
        why = reason.SOURCE_OHMS if what == "input" else reason.LOAD_OHMS
        text += f" {'from' if what == 'input' else 'into'} {written(port.ohms, why)}"
    return text + (" blocked" if port.blocked else "")


def _aliases(stage: Stage) -> Iterator[str]:
    for label, node in stage.points:
        if node != f"TP{label}":
            yield f"test point {label} = {_node(node)}"
    known = {f"{part.ref}.{leg}" for part in stage.parts for leg in part.terminals}
    known |= {pin.name for pin in stage.pins}
    points = {key(f"test point {label}") for label, _ in stage.points}
    for name, node in stage.names.items():
        if name not in known and key(name) not in points:
            yield f"{name} = {_node(node)}"


def _setting(setting: Setting) -> str:
    where = f"across {setting.name}" if setting.across else f"at {_node(setting.name)}"
    if setting.minus_name is not None:
        where += f" to {_node(setting.minus_name)}"
    return f"set {setting.ref} for {written(setting.volts, reason.VOLTS)} {where}"


def _chart(chart: Chart) -> Iterator[str]:
    head = f"chart {chart.quantity} {Tolerance(chart.tolerance, chart.tolerance).text()}"
    if chart.meter.given:
        head += f" {_meter(chart.meter)}"
    if chart.line_volts is not None:
        head += f" line {written(chart.line_volts, reason.LINE_VOLTS)}"
    yield head
    yield from (f"  {_figure(entry, chart.quantity)}" for entry in chart.entries)


def _figure(entry: ChartEntry, quantity: str) -> str:
    text = _node(entry.name)
    if entry.minus_name is not None:
        text += f" to {_node(entry.minus_name)}"
    if entry.about:
        text += " about"
    if entry.value == float("inf"):
        return f"{text} over"
    why = reason.VOLTS if quantity == "volts" else reason.OHMS
    return f"{text} {written(entry.value, why)}"


# --- readings ------------------------------------------------------------------------------------


def _meter(meter: Meter) -> str:
    """The meter with what is given of it; the rest is what every meter is taken to be."""
    given = meter.given
    said = ["meter"]
    if "ohms" in given:
        said.append(written(meter.ohms, reason.METER_OHMS))
    if meter.ohms_per_volt is not None:
        text = value_text(meter.ohms_per_volt, Unit.OHM)
        said.append(f"{text}{' ohms' if text[-1].isdigit() else 'ohm'}/V")
    if meter.range_volts is not None:
        said.append(f"range {written(meter.range_volts, reason.RANGE)}")
    if "accuracy" in given:
        said.append(Tolerance(meter.accuracy, meter.accuracy).text())
        said += ["of range"] if meter.of_range else []
    if "digits" in given:
        said.append(f"+ {meter.digits} digits")
    if meter.open_volts is not None:
        said.append(f"battery {written(meter.open_volts, reason.BATTERY)}")
    if meter.middle_ohms is not None:
        said.append(f"mid-scale {written(meter.middle_ohms, reason.MID_SCALE)}")
    if meter.test_volts is not None:
        said.append(f"test {written(meter.test_volts, reason.BATTERY)}")
    return " ".join(said)


def _conditions(
    line_volts: float | None, celsius: float | None, minutes: float | None
) -> Iterable[str]:
    if line_volts is not None:
        yield f"line {written(line_volts, reason.LINE_VOLTS)}"
    if celsius is not None:
        yield f"temperature {written(celsius, reason.CELSIUS)}"
    if minutes is not None:
        yield f"after {written(minutes, reason.MINUTES)} minutes"


_FIGURES = {
    Quantity.VOLTS: ("", reason.VOLTS),
    Quantity.OHMS: ("ohms ", reason.OHMS),
    Quantity.DROP: ("drop ", reason.DROP_READ),
    Quantity.GAIN: ("gain ", reason.GAIN_READ),
    Quantity.LEVEL: ("level ", reason.SIGNAL),
    Quantity.RIPPLE: ("ripple ", reason.SIGNAL),
}


def _done(deed: Meanwhile) -> str:
    if deed.deed is Deed.ACROSS:
        return f"with {written(deed.ohms, reason.RESISTOR)} across"
    return deed.text


def _place(entry: Reading) -> list[str]:
    """A reading up to its figure."""
    word, _ = _FIGURES[entry.quantity]
    if entry.quantity is Quantity.GAIN and entry.hertz is not None:
        word += f"at {written(entry.hertz, reason.HERTZ)} "
    said = [f"{word}{_node(entry.name)}"]
    if entry.minus_name is not None:
        said.append(
            f"{'over' if entry.quantity is Quantity.GAIN else 'to'} {_node(entry.minus_name)}"
        )
    return said


def _reading(entry: Reading) -> str:
    _, why = _FIGURES[entry.quantity]
    said = _place(entry)
    said += ["about"] if entry.about else []
    said += ["over"] if entry.over else []
    said.append(written_to(entry.value, entry.step, why))
    said += [_done(deed) for deed in entry.meanwhile]
    if entry.hertz is not None and entry.quantity is not Quantity.GAIN:
        said.append(f"at {written(entry.hertz, reason.HERTZ)}")
    if entry.range_volts is not None:
        said.append(f"range {written(entry.range_volts, reason.RANGE)}")
    said += _conditions(entry.line_volts, entry.celsius, entry.minutes)
    if entry.meter is not None:
        said.append(_meter(entry.meter))
    if entry.remark:
        said.append(_quoted(entry.remark))
    return " ".join(said)
