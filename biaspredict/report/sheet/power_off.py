"""The part of a sheet before the power is on: discharging, and ohms."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from biaspredict.infer.touches import DISCHARGE
from biaspredict.infer.worksheet import Point, Worksheet, by_point
from biaspredict.model.devices import Bipolar, Polarity
from biaspredict.model.parts import CAPACITORS, Part
from biaspredict.model.readings import Quantity, Reading
from biaspredict.model.stage import GROUND
from biaspredict.predict.meters import top_ohms
from biaspredict.predict.ohms_records import Ohms, OhmsAt, Way
from biaspredict.quantities import Unit, engineering
from biaspredict.report import words
from biaspredict.report.entering import OPENING
from biaspredict.report.measuring import shown
from biaspredict.report.sheet.markup import Html, join, table, tag
from biaspredict.report.sheet.pieces import (
    blank,
    box,
    caution,
    checks,
    reason,
    section,
    span,
    told,
)

CHARGED = 10e-6  # farads from which a capacitor is measured before it is trusted
FELT = 5.0  # volts on it from which that is asked for (both common practice, no source)
UNSAFE = 50.0  # ohms of a rail below which nothing is switched on (common practice, no source)
NOT_THE_TIP = (
    "A screwdriver across a charged capacitor welds and throws metal: use the resistor, one hand, "
    "insulated clips. Ohms through a charged capacitor are wrong, and may cost the meter."
)


def power_off(sheet: Worksheet) -> Html:
    """Plug out, discharged, then ohms at every point, both ways round."""
    return section(
        "Power off: discharge, then ohms",
        caution(OPENING), caution(f"{DISCHARGE} {NOT_THE_TIP}"),
        checks(list(_discharged(sheet))),
        _ohms(sheet),
    )


def _discharged(sheet: Worksheet) -> Iterator[object]:
    yield "Mains plug out, and in sight"
    yield join("Supply reservoirs outside this stage: ", blank("", unit="V left"))
    volts = sheet.bias.volts() if sheet.bias is not None else {}
    for part in sheet.stage.parts:
        if part.kind not in CAPACITORS or (part.now or 0.0) < CHARGED:
            continue
        ends = [volts.get(node) for node in part.nodes]
        across = None if ends[0] is None or ends[1] is None else abs(ends[0] - ends[1])
        if across is not None and across < FELT:
            continue
        value = engineering(part.now or 0.0, Unit.FARAD)
        held = "" if across is None else f", {words.volts(across)} at work"
        yield join(f"{part.ref} ({value}{held}): ", blank("", unit="V left"))


def _ohms(sheet: Worksheet) -> Html:
    if sheet.ohms is None:
        why = sheet.withheld.get("ohms") or sheet.withheld.get("volts", "")
        points = [rail.name for rail in sheet.stage.rails]
        points += [p.touch.probe.node for p in sheet.plan if p.touch.probe.minus is None]
        return join(
            reason(f"No ohms can be expected here. {why}"),
            table(
                ("", "Ohms to ground", "Read, red here", "Read, black here"),
                [(box(), node, "", "") for node in dict.fromkeys(points)],
                kinds=("tick", "name", "write", "write"), class_="wide",
            ),
        )
    printed = _printed(sheet)
    read = {**by_point(sheet.work.before), **by_point(sheet.work.after)}
    heads = ["", "Point to ground", "On it", "Ohms", "Printed", "Read"]
    kinds = ["tick", "name", "short", "ohms", "figure", "write"]
    rows = [row for at in sheet.ohms.places for row in _rows(at, sheet.ohms, printed, read)]
    if not printed:
        rows = [[*row[:4], row[5]] for row in rows]
        del heads[4], kinds[4]
    return join(
        table(heads, rows, kinds=kinds, class_="wide"),
        tag("p", _legend(sheet.ohms), class_="small"),
        [tag("p", line, class_="small") for line in _unknown(sheet.ohms)],
        _drops(sheet, read),
    )


def _rows(
    at: OhmsAt, found: Ohms, printed: Mapping[str, str], read: Mapping[Point, tuple[Reading, ...]]
) -> Iterator[list[object]]:
    """One row where both ways round tell the same, else one for each."""
    place, top = at.place, top_ohms(found.meter)
    red = read.get((Quantity.OHMS, place.node, place.minus, None), ())
    black = read.get((Quantity.OHMS, GROUND, place.node, None), ())
    name = tag("strong", place.name)
    chart = printed.get(place.node, "")
    if place.node in found.unknown:
        yield [box(bool(red)), name, "red", f"below {UNSAFE:.0f}: do not switch on", chart,
               told((*red, *black))]
    elif at.same:
        yield [box(bool(red or black)), name, "either", _way(at.red, top), chart,
               told((*red, *black))]
    else:
        yield [box(bool(red)), name, "red", _way(at.red, top), chart, told(red)]
        yield [box(bool(black)), name, "black", _way(at.black, top), "", told(black)]


def _way(way: Way, top: float) -> Html:
    if way.low > top:
        return join("over")
    climbs = "" if way.climb is None else ", climbs"
    return join(
        f"{_plain(way.ohms, top)} ",
        tag("span", f"({_plain(way.low, top)} to {_plain(way.high, top)}){climbs}"),
    )


def _plain(ohms: float, top: float) -> str:
    """Ohms without the unit, which the column's head has."""
    return shown(ohms, top).removesuffix(" ohm")


def _printed(sheet: Worksheet) -> dict[str, str]:
    """The ohms charts' figures to ground."""
    return {
        entry.node: words.ohms(entry.value) if entry.value < float("inf") else "over"
        for chart in sheet.stage.charts if chart.quantity == "ohms"
        for entry in chart.entries if entry.minus is None
    }


def _legend(found: Ohms) -> str:
    said = (
        "Ohms; in brackets the limits between which 95 of 100 sound stages read. Red is the lead "
        "that is positive on ohms; on many needle meters that is the black one."
    )
    if any(w.climb is not None for at in found.places for w in (at.red, at.black)):
        said += " Climbs: a capacitor charges; wait until it stands."
    return said


def _unknown(found: Ohms) -> Iterator[str]:
    if found.unknown:
        yield (f"What else hangs on {words.listed(found.unknown)} is not in this stage, so the "
               "ohms of the rail, and of what is fed from it, may lie lower.")


def _drops(sheet: Worksheet, read: Mapping[Point, tuple[Reading, ...]]) -> Html | None:
    found = sheet.ohms
    if found is None or not found.drops:
        return None
    rows = []
    for drop in found.drops:
        forward = "over" if drop.forward is None else words.volts(drop.forward)
        limits = "" if drop.forward is None else span(drop.low, drop.high)
        other = "over" if drop.backward is None else words.volts(drop.backward)
        anode, cathode = _ends(sheet.stage.part(drop.part), drop.legs)
        one, two = (
            read.get((Quantity.DROP, red, None if black == GROUND else black, None), ())
            for red, black in ((anode, cathode), (cathode, anode))
        )
        rows.append((
            box(bool(one)), tag("strong", f"{drop.part} {drop.legs}"), forward, limits, other,
            told(one), told(two),
        ))
    return tag(
        "div", tag("h3", "Junctions on the diode range, in place"),
        table(
            ("", "Junction", "Conducts", "95 % between", "Other way",
             "Read", "Reversed"),
            rows, kinds=("tick", "name", "figure", "band", "figure", "write", "write"),
            class_="wide",
        ),
    )


def _ends(part: Part, legs: str) -> tuple[str, str]:
    """Nodes of the junction's anode side and cathode side."""
    device = part.device
    if not isinstance(device, Bipolar):
        return part.node("anode"), part.node("cathode")
    ends = (part.node("base"), part.node(legs.rpartition(" ")[2]))
    return ends if device.polarity is Polarity.NPN else (ends[1], ends[0])
