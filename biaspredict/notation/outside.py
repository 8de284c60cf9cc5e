"""What stands outside the parts: rails, pins, ports, meters, charts' heads, assumptions."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace

from biaspredict.errors import InputError
from biaspredict.model.stage import Assumptions, Meter, Pin, Port, Rail
from biaspredict.notation import reason
from biaspredict.notation.clauses import Amount, Assume, ChartHead, Clause, Form, Outside
from biaspredict.notation.mistakes import near
from biaspredict.quantities import Unit, ValueReadError, parse_value
from biaspredict.span import Span

CHART_METER = Meter(ohms=11e6, accuracy=0.03, digits=0)
# A needle meter is good to 3 % of its range (common practice, no source) and has no digits.
NEEDLE_ACCURACY = 0.03
METER_KEYS = ("meter", "range", "battery", "mid-scale", "test")
HOW_RAIL = "rail B+ 22 V 5% via 470 off 1.2K"
HOW_PORT = {"input": "input IN from 600 blocked", "output": "output OUT into 47K blocked"}
HOW_PIN = "pin U1.5 holds 3.2 V via 10K, or pin U1.7 takes 2 mA"
HOW_CHART = "chart volts 20% meter 11 MEG line 117 V"
HOW_METER = "meter 10 MEG 1% + 2 digits, or meter 20 kohm/V range 10 V 3% of range"
HOW_ASSUME = "assume resistors 10%, temperature 25 C, age 50 years, bare capacitors in MFD"


@dataclass(slots=True)
class Gathered:
    """Clauses by what they are, each at most once."""

    keys: dict[str, Clause] = field(default_factory=dict)
    words: dict[str, Clause] = field(default_factory=dict)
    amount: Amount | None = None
    tolerance: Clause | None = None

    def number(self, key: str, why: reason.Reason, how: str) -> float | None:
        """The value behind a keyword, None where the keyword is not there."""
        clause = self.keys.get(key)
        return None if clause is None else reason.value(single(clause, how), why)


def gather(
    clauses: Iterable[Clause],
    how: str,
    *,
    keys: Collection[str] = (),
    words: Collection[str] = (),
    amount: bool = False,
    tolerance: bool = False,
) -> Gathered:
    """Sort the clauses of one statement; InputError for what it cannot say, or says twice."""
    found = Gathered()
    for clause in clauses:
        twice = False
        if clause.key in keys and clause.key:
            twice = clause.key in found.keys
            found.keys[clause.key] = clause
        elif clause.word in words and clause.word:
            found.words[clause.word] = clause
        elif clause.form is Form.AMOUNT and not clause.key and amount:
            twice = found.amount is not None
            found.amount = clause.amounts[0]
        elif clause.form is Form.TOLERANCE and not clause.key and tolerance:
            twice = found.tolerance is not None
            found.tolerance = clause
        else:
            raise misfit(clause, how, (*keys, *words))
        if twice:
            raise InputError("this is said twice", remedy=f"Write {how}.", place=clause.place)
    return found


def misfit(clause: Clause, how: str, known: Collection[str]) -> InputError:
    """The error for a clause that its statement cannot say."""
    word = clause.key or clause.word
    shown = clause.place.text[clause.place.column - 1 : clause.place.end_column - 1].strip()
    offer = near(word, known) if word else ""
    return InputError(
        f"'{shown or word}' does not belong here",
        remedy=offer or f"It is written like {how}.",
        place=clause.place,
    )


def single(clause: Clause, how: str) -> Amount:
    """The one value of a clause."""
    if clause.form is not Form.AMOUNT:
        raise InputError(
            f"behind '{clause.key}' stands a value", remedy=f"Write {how}.", place=clause.place
        )
    return clause.amounts[0]


def rail(said: Outside) -> Rail:
    """rail B+ 22 V 5% via 470 off 1.2K"""
    got = gather(said.clauses, HOW_RAIL, keys=("via", "off"), amount=True, tolerance=True)
    if got.amount is None:
        raise InputError(
            f"the volts of the rail {said.name.text} are missing",
            remedy=f"Write {HOW_RAIL}.",
            place=said.name.place,
        )
    return Rail(
        said.name.text,
        reason.value(got.amount, reason.RAIL_VOLTS),
        reason.tolerance(got.tolerance.text, got.tolerance.place) if got.tolerance else None,
        got.number("via", reason.SOURCE_OHMS, HOW_RAIL) or 0.0,
        got.number("off", reason.SOURCE_OHMS, HOW_RAIL),
        said.name.place,
    )


def pin(said: Outside) -> Pin:
    """pin U1.5 holds 3.2 V via 10K, pin U1.7 takes 2 mA; its node is not known yet."""
    got = gather(said.clauses, HOW_PIN, keys=("holds", "takes", "gives", "via"))
    does = [key for key in ("holds", "takes", "gives") if key in got.keys]
    if len(does) != 1 or (does != ["holds"] and "via" in got.keys):
        raise InputError(
            f"what does the pin {said.name.text} do?",
            remedy=f"Write {HOW_PIN}.",
            place=said.name.place,
        )
    name, place = said.name.text, said.name.place
    if does == ["holds"]:
        volts = got.number("holds", reason.PIN_VOLTS, HOW_PIN)
        ohms = got.number("via", reason.SOURCE_OHMS, HOW_PIN) or 0.0
        return Pin(name, "", volts, ohms, origin=place)
    amps = got.number(does[0], reason.PIN_AMPS, HOW_PIN) or 0.0
    return Pin(name, "", amps=amps if does == ["takes"] else 0.0 - amps, origin=place)


def port(said: Outside) -> Port:
    """input IN from 600 blocked; its node as written."""
    key = "from" if said.what == "input" else "into"
    how = HOW_PORT[said.what]
    why = reason.SOURCE_OHMS if said.what == "input" else reason.LOAD_OHMS
    got = gather(said.clauses, how, keys=(key,), words=("blocked",))
    ohms = got.number(key, why, how)
    return Port(said.name.text, ohms, "blocked" in got.words, said.name.place)


def meter(clauses: Iterable[Clause], base: Meter) -> Meter:
    """The meter that a run of clauses beginning with `meter` describes."""
    values: dict[str, float | int | bool] = {}
    place: Span | None = None

    def put(name: str, value: float | int | bool, clause: Clause) -> None:
        if name in values:
            raise InputError(
                "this is said twice of the meter",
                remedy=f"Write {HOW_METER}.",
                place=clause.place,
            )
        values[name] = value

    for clause in clauses:
        place = place or clause.place
        if clause.key == "meter" and clause.form is Form.BARE:
            continue
        if clause.key in ("meter", "") and clause.form is Form.AMOUNT:
            put("ohms", reason.value(clause.amounts[0], reason.METER_OHMS), clause)
        elif clause.key in ("meter", "") and clause.form is Form.TOLERANCE:
            put("accuracy", reason.even(clause.text, clause.place), clause)
        elif clause.form is Form.PER_VOLT:
            put("ohms_per_volt", _per_volt(clause), clause)
        elif clause.form is Form.DIGITS:
            put("digits", _digits(clause), clause)
        elif clause.form is Form.OF_RANGE and "accuracy" in values:
            put("of_range", True, clause)
        elif clause.key in _METER_VALUES:
            name, why = _METER_VALUES[clause.key]
            put(name, reason.value(single(clause, HOW_METER), why), clause)
        else:
            raise misfit(clause, HOW_METER, METER_KEYS)
    if not values:
        raise InputError("which meter?", remedy=f"Write {HOW_METER}.", place=place)
    if "ohms" in values and "ohms_per_volt" in values:
        raise InputError(
            "a meter has a fixed resistance or ohms per volt, not both",
            remedy=f"Write {HOW_METER}.",
            place=place,
        )
    return _metered(values, base)


def _metered(values: dict[str, float | int | bool], base: Meter) -> Meter:
    if "ohms_per_volt" in values:
        base = replace(base, accuracy=NEEDLE_ACCURACY, of_range=True, digits=0)
    if "accuracy" in values:
        base = replace(base, of_range=False)
    return replace(base, given=frozenset(values), **values)  # type: ignore[arg-type]


_METER_VALUES = {
    "range": ("range_volts", reason.RANGE),
    "battery": ("open_volts", reason.BATTERY),
    "mid-scale": ("middle_ohms", reason.MID_SCALE),
    "test": ("test_volts", reason.BATTERY),
}


def _per_volt(clause: Clause) -> float:
    text = re.sub(r"[ \t]*(?:/|per)[ \t]*v(?:olts?)?$", "", clause.text, flags=re.I)
    return reason.value(Amount(text, clause.place), reason.PER_VOLT)


def _digits(clause: Clause) -> int:
    count = int(re.sub(r"\D", "", clause.text)[:9])
    if count > 1000:
        raise InputError(
            f"{count} counts of the last digit are too many",
            remedy="A meter's data say it like 1% + 2 digits.",
            place=clause.place,
        )
    return count


@dataclass(frozen=True, slots=True)
class Head:
    """A chart's line without its figures."""

    quantity: str
    tolerance: float | None
    meter: Meter
    line_volts: float | None


def chart_head(said: ChartHead, place: Span) -> Head:
    """chart volts 20% meter 11 MEG line 117 V"""
    plain: list[Clause] = []
    of_meter: list[Clause] = []
    for clause in said.clauses:
        in_meter = of_meter and clause.key in ("", *METER_KEYS)
        (of_meter if clause.key == "meter" or in_meter else plain).append(clause)
    got = gather(plain, HOW_CHART, keys=("line",), words=("volts", "ohms"), tolerance=True)
    if len(got.words) != 1:
        raise InputError("volts or ohms?", remedy=f"Write {HOW_CHART}.", place=place)
    return Head(
        next(iter(got.words)),
        reason.even(got.tolerance.text, got.tolerance.place) if got.tolerance else None,
        meter(of_meter, CHART_METER) if of_meter else CHART_METER,
        got.number("line", reason.LINE_VOLTS, HOW_CHART),
    )


_TOLERANCES = ("resistors", "capacitors", "electrolytics", "rails", "pots")


def assumptions(statements: Iterable[tuple[Assume, Span]], wrong: list[InputError]) -> Assumptions:
    """Everything the file assumes; mistakes go to `wrong`."""
    values: dict[str, object] = {}
    for statement, place in statements:
        for group in statement.groups:
            try:
                name, value = _assumption(group, place)
                if name in values:
                    raise InputError(
                        "this is assumed twice", remedy="Keep one.", place=group[0].place
                    )
                values[name] = value
            except InputError as problem:
                wrong.append(problem)
    return replace(Assumptions(), given=frozenset(values), **values)  # type: ignore[arg-type]


def _assumption(group: tuple[Clause, ...], place: Span) -> tuple[str, object]:
    if not group:
        raise InputError("what is assumed?", remedy=f"Write {HOW_ASSUME}.", place=place)
    first, rest = group[0], group[1:]
    word = first.word.removesuffix("s") + "s"
    if word in _TOLERANCES and len(rest) == 1 and rest[0].form is Form.TOLERANCE:
        return word, reason.tolerance(rest[0].text, rest[0].place)
    if first.key == "temperature" and not rest:
        return "temperature", reason.value(single(first, HOW_ASSUME), reason.CELSIUS)
    if first.key == "age" and [c.word for c in rest] in ([], ["years"], ["year"]):
        return "age_years", reason.value(single(first, HOW_ASSUME), reason.YEARS)
    words = [clause.word for clause in group]
    if words[:3] == ["bare", "capacitors", "in"] and len(words) == 4:
        return "bare_capacitors", _unit(group[3])
    known = (*_TOLERANCES, "temperature", "age", "bare")
    raise misfit(first, HOW_ASSUME, () if (first.key or first.word) in known else known)


def _unit(clause: Clause) -> float:
    try:
        return parse_value(f"1 {clause.text}", Unit.FARAD)
    except ValueReadError:
        raise InputError(
            f"'{clause.text}' is no unit of capacitance",
            remedy="Write bare capacitors in MFD, or in MMFD.",
            place=clause.place,
        ) from None
