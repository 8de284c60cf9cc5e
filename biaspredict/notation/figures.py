"""One reading: its points, its figure, and the conditions behind it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

from biaspredict.errors import InputError
from biaspredict.model.readings import Quantity, Reading
from biaspredict.model.stage import Meter, Stage
from biaspredict.notation import names, outside, reason
from biaspredict.notation.clauses import Amount, Clause, Entry, Form, Mark
from biaspredict.notation.digits import last_digit
from biaspredict.notation.doings import DONE, HOW_DONE, meanwhile
from biaspredict.notation.mistakes import near
from biaspredict.notation.names import Index
from biaspredict.notation.outside import METER_KEYS, misfit, single
from biaspredict.quantities import Unit, ValueReadError, parse_value

HOW = 'Q1.base 3.1 range 10 V line 121 V temperature 31 C after 20 minutes "remark"'
# Beyond its range a digital meter means at least this, a needle at its stop at least that, and a
# diode range at least so many volts (common practice, no source).
OVER_OHMS = 10e6
OVER_NEEDLE_OHMS = 1e6
OVER_DROP = 1.5

QUANTITIES = {
    "": (Quantity.VOLTS, reason.VOLTS),
    "volts": (Quantity.VOLTS, reason.VOLTS),
    "rail": (Quantity.VOLTS, reason.VOLTS),
    "ohms": (Quantity.OHMS, reason.OHMS),
    "drop": (Quantity.DROP, reason.DROP_READ),
    "gain": (Quantity.GAIN, reason.GAIN_READ),
    "level": (Quantity.LEVEL, reason.SIGNAL),
    "ripple": (Quantity.RIPPLE, reason.SIGNAL),
}
SIGNALS = frozenset({Quantity.GAIN, Quantity.LEVEL, Quantity.RIPPLE})
# How an alternating voltage may be stated, and the quantity that is stated so.
_STATED = {
    "rms": Quantity.LEVEL,
    "pp": Quantity.RIPPLE,
    "p-p": Quantity.RIPPLE,
    "peak-to-peak": Quantity.RIPPLE,
}
_DECIBELS = re.compile(r"([+-]?[\d.,]+) ?dB", re.I)
_MINUTES = frozenset({"minutes", "minute", "min", "mins"})


class Unknown(InputError):
    """A name is not the stage's. Noted where it is met, for many of them are one mistake."""


@dataclass(slots=True)
class Bench:
    """What readings are read against.

    meter: the file's. unknown: names that the stage does not have, of `named` in all.
    """

    stage: Stage
    index: Index
    meter: Meter = field(default_factory=Meter)
    unknown: list[Unknown] = field(default_factory=list)
    named: int = 0

    def find(self, mark: Mark) -> tuple[str, str] | None:
        """(name, node); an unknown name is noted."""
        self.named += 1
        try:
            return self.index.node(mark)
        except InputError as problem:
            self.unknown.append(Unknown(problem.fact, remedy=problem.remedy, place=problem.place))
            return None


def reading(entry: Entry, word: str, bench: Bench) -> Reading:
    """The reading that an entry states; `word` is the quantity before it. Raises InputError.

    An unknown name is raised as well as noted in `bench.unknown`.
    """
    quantity, why = QUANTITIES[word]
    name, node, minus_name, minus = _points(entry, bench)
    conditions = _Conditions(quantity, why, bench)
    conditions.take(list(entry.clauses))
    value = conditions.figure(entry)
    if entry.remark:
        conditions.remarks.append(entry.remark)
    return Reading(
        name,
        node,
        value,
        quantity,
        minus_name,
        minus,
        about=entry.about,
        over=entry.over,
        step=conditions.step(entry),
        meanwhile=meanwhile(entry.doings, bench.index),
        remark=" ".join(conditions.remarks),
        origin=entry.place,
        **conditions.values,  # type: ignore[arg-type]
    )


def left_out(entry: Entry, word: str, bench: Bench) -> Reading:
    """A reading that is not taken; its value means nothing. Raises InputError."""
    quantity, why = QUANTITIES[word]
    name, node, minus_name, minus = _points(entry, bench)
    conditions = _Conditions(quantity, why, bench)
    conditions.take(list(entry.clauses))
    return Reading(
        name, node, 1.0, quantity, minus_name, minus,
        meanwhile=meanwhile(entry.doings, bench.index), origin=entry.place,
        **conditions.values,  # type: ignore[arg-type]
    )


def _points(entry: Entry, bench: Bench) -> tuple[str, str, str | None, str | None]:
    """Name and node of the red lead, then of the black one, None for ground."""
    if entry.across:
        return _across(entry, bench)
    found = bench.find(entry.name)
    other = bench.find(entry.minus) if entry.minus else None
    if found is None or (entry.minus and other is None):
        raise bench.unknown[-1]
    name, node = found
    if other is None:
        return name, node, None, None
    if other[1] == node:
        raise InputError(
            f"{name} and {other[0]} are one node",
            remedy="Read between two nodes, or check the path that joins them.",
            place=entry.place,
        )
    return name, node, *other


def _across(entry: Entry, bench: Bench) -> tuple[str, str, str | None, str | None]:
    ref = bench.index.refs.get(names.key(entry.name.text))
    if ref is None or entry.minus is not None:
        bench.named += 1
        problem = Unknown(
            f"no part is called {entry.name.text}",
            remedy=near(entry.name.text, bench.index.refs.values())
            or "Across stands a part: across R3 8.9.",
            place=entry.name.place,
        )
        bench.unknown.append(problem)
        raise problem
    bench.named += 1
    part = bench.stage.part(ref)
    if len(part.terminals) != 2:
        legs = ", ".join(f"{ref}.{leg}" for leg in part.terminals)
        raise InputError(
            f"{ref} has three legs",
            remedy=f"Name two of them with `to` between: {legs}.",
            place=entry.place,
        )
    (one, two), (here, there) = part.terminals, part.nodes
    return f"{ref}.{one}", here, f"{ref}.{two}", there


class _Conditions:
    """What stands behind the names of one reading."""

    def __init__(self, quantity: Quantity, why: reason.Reason, bench: Bench) -> None:
        self.quantity = quantity
        self.why = why
        self.bench = bench
        self.amount: Amount | None = None
        self.values: dict[str, float | Meter] = {}
        self.remarks: list[str] = []

    def take(self, clauses: list[Clause]) -> None:
        of_meter: list[Clause] = []
        while clauses:
            clause = clauses.pop(0)
            of_its = clause.key in METER_KEYS or (not clause.key and clause.form is not Form.WORD)
            if clause.key == "meter" or (of_meter and of_its):
                of_meter.append(clause)
            elif clause.key in _VALUES:
                name, why = _VALUES[clause.key]
                self._put(name, reason.value(single(clause, HOW), why), clause)
            elif clause.key == "after":
                self._put("minutes", minutes(clause, clauses, HOW), clause)
            elif clause.form is Form.AMOUNT and not clause.key:
                self._figure(clause)
            elif clause.word:
                self._remark(clause)
            else:
                raise misfit(clause, HOW, (*_VALUES, "after", "meter"))
        if of_meter:
            self.values["meter"] = outside.meter(of_meter, Meter())

    def _put(self, name: str, value: float, clause: Clause) -> None:
        if name in self.values:
            raise InputError("this is said twice", remedy="Keep one.", place=clause.place)
        if name == "hertz" and self.quantity not in SIGNALS:
            raise InputError(
                "direct volts and ohms have no frequency",
                remedy="For a signal write level OUT 0.31 at 1 kHz.",
                place=clause.place,
            )
        self.values[name] = value

    def _figure(self, clause: Clause) -> None:
        if self.amount is not None:
            raise InputError(
                "two figures for one reading",
                remedy="Put a comma and a blank between readings: Q1.base 3.1, Q1.emitter 2.5",
                place=clause.place,
            )
        self.amount = clause.amounts[0]

    def _remark(self, clause: Clause) -> None:
        if clause.word in _STATED:
            if _STATED[clause.word] is not self.quantity:
                raise InputError(
                    f"'{clause.text}' does not fit here",
                    remedy="A level is stated rms, a ripple peak to peak.",
                    place=clause.place,
                )
            return
        if self.bench.index.find(clause.text) is not None:
            raise InputError(
                f"a comma is missing before {clause.text}",
                remedy="Write Q1.base 3.1, Q1.emitter 2.5 with a comma and a blank.",
                place=clause.place,
            )
        if clause.word in names.RESERVED:
            raise InputError(
                f"'{clause.text}' does not fit here",
                remedy=HOW_DONE if clause.word in DONE
                else "About and over stand directly before the figure; put a remark in quotes.",
                place=clause.place,
            )
        self.remarks.append(clause.text)

    def figure(self, entry: Entry) -> float:
        """The value read, or its lower bound where the meter showed more than it can."""
        if entry.over and self.quantity not in (Quantity.OHMS, Quantity.DROP):
            raise InputError(
                "'over' belongs to ohms and drop",
                remedy="Write the volts, or skip the node.",
                place=entry.place,
            )
        if self.amount is None and not entry.over:
            raise InputError(
                f"the figure of {entry.name.text} is missing",
                remedy="Write it like Q1.base 3.1.",
                place=entry.place,
            )
        if self.amount is None:
            meter = self.values.get("meter", self.bench.meter)
            assert isinstance(meter, Meter)
            if self.quantity is Quantity.DROP:
                return OVER_DROP
            return OVER_NEEDLE_OHMS if meter.needle else OVER_OHMS
        if self.quantity is Quantity.GAIN and (found := _DECIBELS.fullmatch(self.amount.text)):
            try:
                ratio = math.pow(10.0, parse_value(found[1], Unit.RATIO) / 20.0)
            except (ValueReadError, OverflowError):
                ratio = math.inf
            reason.check(ratio, self.amount, self.why)
            return ratio
        return reason.value(self.amount, self.why)

    def step(self, entry: Entry) -> float:
        """Worth of the last digit; unknown of a bound, and of a ratio."""
        if self.amount is None or entry.over or self.quantity is Quantity.GAIN:
            return 0.0
        return last_digit(self.amount.text, self.why.unit)


_VALUES = {
    "range": ("range_volts", reason.RANGE),
    "at": ("hertz", reason.HERTZ),
    "line": ("line_volts", reason.LINE_VOLTS),
    "temperature": ("celsius", reason.CELSIUS),
}


def minutes(clause: Clause, rest: list[Clause], how: str) -> float:
    """The time of `after 20 minutes` or `after 90 s`; takes the unit off `rest`."""
    amount = single(clause, how)
    if rest and rest[0].word in _MINUTES:
        rest.pop(0)
    elif re.search(r"[a-z]", amount.text, re.I):
        try:
            return parse_value(amount.text, Unit.SECOND) / 60.0
        except ValueReadError as problem:
            raise reason.misread(problem, amount.place) from None
    return reason.value(amount, reason.MINUTES)
