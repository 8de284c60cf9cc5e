"""What `suspect` says beside the ranking: doubtful readings, meters, charts, unknowns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from biaspredict.infer.charts import ChartToday
from biaspredict.infer.doubts import Doubt
from biaspredict.infer.ledger import Balance
from biaspredict.infer.loading import Loading
from biaspredict.infer.unknowns import Unknown
from biaspredict.model.readings import Quantity, Reading
from biaspredict.quantities import Unit, engineering
from biaspredict.report import words

BEFORE = {Quantity.OHMS: "ohms ", Quantity.DROP: "drop ", Quantity.LEVEL: "level "}


def name_of(reading: Reading) -> str:
    """A reading's place as a person says it."""
    between = " over " if reading.quantity is Quantity.GAIN else " to "
    name = reading.name if reading.minus_name is None else (
        f"{reading.name}{between}{reading.minus_name}")
    at = f" at {engineering(reading.hertz, Unit.HERTZ)}" if reading.hertz else ""
    done = "".join(f" {deed.text}" for deed in reading.meanwhile)
    return f"{BEFORE.get(reading.quantity, '')}{name}{at}{done}"


def value_of(reading: Reading) -> str:
    about = "about " if reading.about else "over " if reading.over else ""
    return about + words.measured(reading.value, reading.quantity)


def doubts(found: Sequence[Doubt]) -> Iterator[str]:
    """Readings that cannot be as written."""
    if not found:
        return
    yield "Doubtful readings:"
    for doubt in found:
        yield words.wrapped(f"{doubt.finding.fact}.", "  ", "    ")
        yield words.wrapped(doubt.finding.remedy, "    ")


def meters(found: Sequence[Loading]) -> Iterator[str]:
    """Readings that their own meter explains."""
    for one in found:
        yield words.wrapped(
            f"Your {one.reading.name} reading is your meter: its {words.ohms(one.ohms)} take "
            f"the point from {words.volts(one.alone)} to {words.volts(one.shown)} "
            f"({words.span(one.low, one.high)} in sound stages), and you read "
            f"{words.volts(one.reading.value)}. Nothing is wrong there.")


def charts(found: Sequence[ChartToday]) -> Iterator[str]:
    """Printed figures, what they mean today, and today's readings."""
    if not found:
        return
    yield "The printed chart, scaled to today's rail and meter:"
    rows = [("point", "printed", "means today", "own band", "read", "")]
    for one in found:
        mark = "ok" if one.inside else "HIGH" if one.reading.value > one.high else "LOW"
        rows.append((
            one.entry.name, words.volts(one.entry.value), words.volts(one.means),
            words.span(one.low, one.high), words.volts(one.reading.value),
            "misprint?" if one.misprint else mark,
        ))
    yield from words.table(rows, right=(1, 2, 4))
    wrong = list(dict.fromkeys(one.entry.name for one in found if one.misprint))
    if wrong:
        yield words.wrapped(
            f"Suspect misprint: the chart's figure for {words.listed(wrong)}. Neither the chart's "
            "own circuit nor today's reading bears it out.", "  ")
    some = list(dict.fromkeys(one.entry.name for one in found if one.meters))
    if some:
        yield words.wrapped(
            f"At {words.listed(some)} most of the difference from the printed figure is between "
            "the chart's meter and yours.", "  ")


def unknowns(found: Sequence[Unknown]) -> Iterator[str]:
    """What the sheet leaves open: what the readings tell of it, and of what they tell nothing."""
    told = [u for u in found if u.determined]
    if told:
        yield words.wrapped(f"Worked out from the readings: {'; '.join(map(_told, told))}.")
    rest = [f"{u.part}'s {u.what}" for u in found if not u.determined and not u.stated]
    if rest:
        yield words.wrapped(f"Not told by these readings: {', '.join(rest)}.")


def _told(one: Unknown) -> str:
    if one.what == "type":
        return f"{one.part} is {one.says}"
    if one.what == "wiper":
        return (f"{one.part}'s wiper stands at {one.value * 100:.0f} % from the bottom "
                f"({one.low * 100:.0f} to {one.high * 100:.0f} %)")
    shown = {"gain": "{:.3g}".format, "IDSS": words.amps, "pinch-off": words.volts}[one.what]
    return f"{one.part}'s {one.what} is {shown(one.value)} ({shown(one.low)} to {shown(one.high)})"


def balance(found: Balance) -> str:
    """A node whose currents do not add up, as a sentence."""
    way = "flow into" if found.amps > 0 else "flow out of"
    text = f"{words.amps(abs(found.amps))} {way} {found.node} by its resistors"
    if found.leg:
        low, high = sorted(abs(limit) for limit in found.needed)
        text += f", where {found.leg} should take {words.amps(low)} to {words.amps(high)}"
    else:
        text += ", where they should add up to nothing"
    if found.through:
        text += f": the difference goes by {words.listed(found.through, 'or')}"
        text += f", or {found.leg.split('.')[0]} is not as it should be" if found.leg else ""
    return text
