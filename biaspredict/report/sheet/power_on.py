"""The part of a sheet with the power on: first power, and the volts in their order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from biaspredict.infer.touches import CROWDED, DANGEROUS, FIRST_POWER, NEVER_BRIDGE, ONE_HAND
from biaspredict.infer.verdict import Compared
from biaspredict.infer.worksheet import Planned, Point, Worksheet, by_point, point_of
from biaspredict.model.readings import Quantity, Reading, Readings
from biaspredict.model.stage import GROUND, Chart, ChartEntry
from biaspredict.quantities import Unit, engineering
from biaspredict.report import words
from biaspredict.report.asides import name_of
from biaspredict.report.sheet.markup import Html, join, table, tag
from biaspredict.report.sheet.pieces import (
    blank,
    box,
    caution,
    checks,
    fields,
    full_row,
    reason,
    section,
    span,
    told,
    verdict_word,
)

LEADS = (
    "Clip the black lead to ground that you have measured to be ground: an earthed instrument "
    "never to the output of a bridged or floating amplifier. Move the red lead with the other "
    "hand behind you."
)
ENOUGH = (
    "All within their bands so far? Then this stage is sound, as far as DC can tell. Read on only "
    "if one was not."
)
Volts = Mapping[Point, tuple[Reading, ...]]


def first_power(sheet: Worksheet) -> Html:
    rails = words.listed([f"{r.name} {words.volts(r.volts)}" for r in sheet.stage.rails])
    return section(
        "First power", caution(FIRST_POWER),
        checks([
            "Speakers off, dummy load on, no source connected",
            "Lamp or variable transformer in the mains lead",
            "Power on: the lamp flashes and dims; nothing smells, hums or grows hot",
            f"The rails climb together{f' towards {rails}' if rails else ''}",
            "Power off, lamp out of the lead, power on again",
        ]), class_="step keep",
    )


def volts(sheet: Worksheet) -> Html:
    """Every point in the order to touch it, with its band, the printed figure, room to write."""
    reasons = [sheet.withheld[k] for k in ("volts", "order") if k in sheet.withheld]
    return section(
        "Volts, in this order",
        caution(f"{ONE_HAND} {NEVER_BRIDGE} {LEADS}"),
        conditions(sheet.work.before),
        [reason(f"No volts can be expected here. {why}" if sheet.bias is None
                else f"The points stand in no special order. {why}") for why in reasons],
        _forbidden(sheet),
        _table(sheet),
    )


def conditions(readings: Readings | None) -> Html:
    """Meter, line, temperature and time: as noted, or to be noted."""
    line = temperature = minutes = meter = day = ""
    if readings is not None:
        if readings.line_volts is not None:
            line = words.volts(readings.line_volts)
        if readings.celsius is not None:
            temperature = f"{readings.celsius:g} C"
        if readings.minutes is not None:
            minutes = f"{readings.minutes:g} min"
        day = readings.day.isoformat() if readings.day else ""
        if readings.entries:
            meter = _meter(readings)
    return fields(
        blank("Day", day), blank("Meter", meter), blank("Line", line, "V"),
        blank("Room", temperature, "C"), blank("On for", minutes, "min"),
    )


def _meter(readings: Readings) -> str:
    meter = readings.meter
    if meter.ohms_per_volt is not None:
        scale = f", {meter.range_volts:g} V range" if meter.range_volts else ""
        return f"{engineering(meter.ohms_per_volt, Unit.OHM)} ohm/V{scale}"
    return f"{engineering(meter.ohms, Unit.OHM)} ohm"


def _forbidden(sheet: Worksheet) -> Html | None:
    if not sheet.forbidden:
        return None
    return caution(
        f"{words.listed(sheet.forbidden)} stand{'s' if len(sheet.forbidden) == 1 else ''} more "
        f"than {DANGEROUS:.0f} V from ground. No touch there: clip on with the power off and "
        "discharged, step back, switch on, read, switch off, discharge."
    )


def _table(sheet: Worksheet) -> Html:
    printed = {
        (e.node, None if e.minus == GROUND else e.minus): (e, chart)
        for chart in sheet.stage.charts if chart.quantity == "volts" for e in chart.entries
    }
    again = sheet.work.latest is None
    heads = ["", "", "Point", "Expect", "95 % of sound stages"]
    kinds = ["count", "tick", "name", "figure strong", "band"]
    if printed:
        heads.append("Printed")
        kinds.append("figure")
    heads += ["Read", "After repair"] if again else ["Read", "Verdict"]
    kinds += ["write strong", "write" if again else "mark"]
    read = by_point(sheet.work.before or sheet.work.after)
    verdict = sheet.first or sheet.last
    compared = verdict.compared if verdict else ()
    judged = {point_of(c.reading): c for c in compared if not c.reading.meanwhile}
    rows = list(_rows(sheet, printed, read, judged, again))
    astray = any(not found.inside for found in judged.values())
    if sheet.bias is not None and 0 < sheet.enough < len(rows) and not astray:
        rows.insert(sheet.enough, full_row(ENOUGH, len(heads)))
    first = sheet.work.before or sheet.work.after
    planned = {_point(p) for p in sheet.plan}
    left = [
        reading for point, some in read.items() for reading in some
        if point[0] is not Quantity.OHMS and point[0] is not Quantity.DROP
        and point not in planned
    ]
    return join(
        table(heads, rows, kinds=kinds, class_="wide"), _besides(left, judged),
        _other_channel(first.other if first is not None else ()),
    )


def _rows(
    sheet: Worksheet, printed: Mapping[tuple[str, str | None], tuple[ChartEntry, Chart]],
    read: Volts, judged: Mapping[Point, Compared], again: bool,
) -> Iterator[Html | list[object]]:
    latest = sheet.work.latest
    skipped = latest.skipped if latest is not None else ()
    for number, planned in enumerate(sheet.plan, start=1):
        probe = planned.touch.probe
        point = _point(planned)
        found = judged.get(point)
        limits = _limits(planned, found)
        crowded = planned.touch.cost >= CROWDED
        row: list[object] = [
            str(number), box(point in read),
            [tag("strong", probe.name or probe.node),
             tag("span", " crowded: go slowly", class_="small") if crowded else None],
            words.volts(limits[0]) if limits else "",
            span(limits[1], limits[2]) if limits else "",
        ]
        if printed:
            entry = printed.get((probe.node, point[2]))
            row.append(words.volts(entry[0].value) if entry else "")
        row.append(told(read.get(point, ())) or ("left out" if probe.node in skipped else ""))
        row.append("" if again else verdict_word(found) if found else
                   "doubtful" if point in read and sheet.first else "")
        yield row


def _limits(
    planned: Planned, found: Compared | None
) -> tuple[float, float, float] | None:
    """Those that the reading was judged by, else those of the plan."""
    if found is not None:
        return found.expected, found.low, found.high
    if planned.expected is None or planned.low is None or planned.high is None:
        return None
    return planned.expected, planned.low, planned.high


def _point(planned: Planned) -> Point:
    probe = planned.touch.probe
    return Quantity.VOLTS, probe.node, None if probe.minus == GROUND else probe.minus, None


def _other_channel(readings: Sequence[Reading]) -> Html | None:
    """What was read on the other channel, as evidence."""
    if not readings:
        return None
    return join(tag("h3", "Read on the other channel"), table(
        ("", "Point", "Read"), [(box(True), name_of(r), told((r,))) for r in readings],
        kinds=("tick", "name", "figure"), class_="wide low",
    ))


def _besides(left: Sequence[Reading], judged: Mapping[Point, Compared]) -> Html | None:
    """Readings at points that are not in the plan, kept all the same."""
    if not left:
        return None
    rows = []
    for reading in left:
        found = judged.get(point_of(reading))
        rows.append((
            box(True), name_of(reading), told((reading,)),
            span(found.low, found.high, reading.quantity) if found else "",
            verdict_word(found) if found else "doubtful",
        ))
    return join(tag("h3", "Read besides"), table(
        ("", "Point", "Read", "95 % of sound stages", "Verdict"), rows,
        kinds=("tick", "name", "figure", "band", "mark"), class_="wide low",
    ))
