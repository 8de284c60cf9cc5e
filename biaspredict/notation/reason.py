"""Reading a value of a known kind, and asking back where it is out of reason."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from biaspredict.errors import InputError
from biaspredict.model.devices import Range
from biaspredict.notation.clauses import Amount, Clause, Form
from biaspredict.numerals import clean_text
from biaspredict.quantities import (
    Tolerance,
    Unit,
    ValueReadError,
    engineering,
    parse_tolerance,
    parse_value,
    value_text,
)
from biaspredict.span import Span
from biaspredict.units import SPELLINGS

_FRACTION = re.compile(r"[0-9]+/[0-9]+")
_MARKED = re.compile(r"[+-]?[0-9.,]*(?:/[0-9]+)? ?([A-Za-z%/]+)([0-9]*)([A-Za-z. ]*)")
NUMBER = re.compile(r"[+-]?[0-9.,]+")


@dataclass(frozen=True, slots=True)
class Reason:
    """What is usual for one kind of value, and what is possible at all.

    Limits hold for the size where `signed`. zero: 0 is usual, whatever the lower limits.
    All limits are common practice, no source.
    """

    what: str
    unit: Unit
    usual: tuple[float, float]
    possible: tuple[float, float]
    signed: bool = False
    zero: bool = False

    def is_usual(self, value: float) -> bool:
        return _within(value, self.usual, self.zero)

    def is_possible(self, value: float) -> bool:
        sign = self.signed or value >= 0
        return sign and math.isfinite(value) and _within(value, self.possible, self.zero)


def _within(value: float, limits: tuple[float, float], zero: bool) -> bool:
    # A lower limit below zero is a temperature's, which counts with its sign.
    size = value if limits[0] < 0 else abs(value)
    return (zero and value == 0) or limits[0] <= size <= limits[1]


RESISTOR = Reason("a resistor", Unit.OHM, (0.1, 33e6), (1e-3, 1e9))
POT = Reason("a pot or trimmer", Unit.OHM, (10, 10e6), (1, 1e8))
CAPACITOR = Reason("a film, paper or ceramic capacitor", Unit.FARAD, (1e-12, 10e-6), (1e-13, 0.01))
# A capacitor that shows no plus and names no dielectric may yet turn out to be an electrolytic.
UNMARKED = Reason("a capacitor", Unit.FARAD, (1e-12, 0.05), (1e-13, 1))
ELECTROLYTIC = Reason("an electrolytic", Unit.FARAD, (0.1e-6, 0.05), (1e-9, 1))
WORKING_VOLTS = Reason("working volts", Unit.VOLT, (1.5, 600), (0.5, 5000))
WATTS = Reason("the watts of a resistor", Unit.WATT, (0.05, 50), (1e-3, 1000))
HENRIES = Reason("the henries of a coil", Unit.HENRY, (1e-6, 100), (1e-9, 1e4))
COIL_OHMS = Reason("the ohms of a coil or winding", Unit.OHM, (0.01, 20e3), (1e-4, 1e6), zero=True)
WINDING_VOLTS = Reason("the volts of a winding", Unit.VOLT, (0.1, 150), (1e-3, 1000))
WINDING_AMPS = Reason("the amps of a winding", Unit.AMPERE, (1e-3, 20), (1e-6, 1000))
MAINS_HERTZ = Reason("the hertz of a winding", Unit.HERTZ, (15, 500), (1, 1e5))
DROP = Reason("a drop or vbe", Unit.VOLT, (0.05, 1.5), (0.01, 5))
DROP_AMPS = Reason("the amps at a drop or vbe", Unit.AMPERE, (1e-7, 10), (1e-12, 100))
JUNCTIONS = Reason("the junctions in one body", Unit.RATIO, (1, 6), (1, 50))
ZENER_VOLTS = Reason("the volts of a zener", Unit.VOLT, (2, 200), (1, 1000))
ZENER_AMPS = Reason("the test current of a zener", Unit.AMPERE, (1e-5, 1), (1e-7, 10))
ZENER_OHMS = Reason("the slope of a zener", Unit.OHM, (0.1, 2000), (1e-3, 1e5))
GAIN = Reason("a gain", Unit.RATIO, (2, 2000), (0.1, 1e5))
REVERSE_GAIN = Reason("a reverse gain", Unit.RATIO, (0.05, 100), (1e-3, 1e4))
ICBO = Reason("icbo", Unit.AMPERE, (1e-12, 5e-3), (1e-15, 1), zero=True)
EARLY = Reason("early volts", Unit.VOLT, (5, 1000), (1, 1e6))
IDSS = Reason("idss", Unit.AMPERE, (0.1e-3, 0.1), (1e-6, 10))
PINCH_OFF = Reason("pinch-off", Unit.VOLT, (0.2, 12), (0.05, 100), signed=True)
LAMP_VOLTS = Reason("the volts of a lamp", Unit.VOLT, (1, 250), (0.1, 1000))
LAMP_AMPS = Reason("the amps of a lamp", Unit.AMPERE, (0.01, 5), (1e-4, 100))
FUSE_AMPS = Reason("the amps of a fuse", Unit.AMPERE, (0.02, 30), (1e-3, 1000))
JOINT_OHMS = Reason(
    "the ohms of a fuse, switch or contact", Unit.OHM, (1e-4, 50), (1e-6, 1e12), zero=True
)
THERMISTOR = Reason("a thermistor", Unit.OHM, (1, 1e6), (0.01, 1e8))
BETA = Reason("beta", Unit.RATIO, (1500, 6000), (100, 20000))
RAIL_VOLTS = Reason("a rail", Unit.VOLT, (0.5, 100), (0.01, 1000), signed=True)
SOURCE_OHMS = Reason(
    "ohms behind a rail, pin or port", Unit.OHM, (0.01, 10e6), (1e-6, 1e12), zero=True
)
PIN_VOLTS = Reason(
    "the volts of a pin", Unit.VOLT, (0.001, 100), (1e-6, 1000), signed=True, zero=True
)
PIN_AMPS = Reason(
    "the current of a pin", Unit.AMPERE, (1e-7, 1), (1e-12, 100), signed=True, zero=True
)
LOAD_OHMS = Reason("a load", Unit.OHM, (1, 10e6), (0.01, 1e12))
CELSIUS = Reason("a temperature", Unit.CELSIUS, (-20, 80), (-55, 150), signed=True)
YEARS = Reason("an age in years", Unit.RATIO, (0, 100), (0, 200), zero=True)
LINE_VOLTS = Reason("line volts", Unit.VOLT, (80, 260), (10, 500))
METER_OHMS = Reason("the ohms of a meter", Unit.OHM, (1e5, 1e9), (100, 1e15))
PER_VOLT = Reason("ohms per volt", Unit.OHM, (100, 1e7), (100, 1e7))
RANGE = Reason("the range of a meter", Unit.VOLT, (0.01, 1500), (1e-4, 1e5))
BATTERY = Reason("a meter's ohms battery", Unit.VOLT, (0.05, 30), (1e-3, 1000))
MID_SCALE = Reason("ohms at mid-scale", Unit.OHM, (1, 1e6), (0.01, 1e9))
VOLTS = Reason("volts in a circuit", Unit.VOLT, (1e-6, 150), (1e-9, 1000), signed=True, zero=True)
OHMS = Reason("ohms in a circuit", Unit.OHM, (0.01, 1e8), (1e-4, 1e12), zero=True)
DROP_READ = Reason("a drop as read", Unit.VOLT, (1e-3, 3), (1e-6, 30), signed=True, zero=True)
GAIN_READ = Reason("a gain as read", Unit.RATIO, (1e-5, 1e5), (1e-9, 1e9), zero=True)
SIGNAL = Reason("signal volts", Unit.VOLT, (1e-6, 100), (1e-9, 1000), zero=True)
HERTZ = Reason("a signal frequency", Unit.HERTZ, (5, 200e3), (0.01, 1e8))
MINUTES = Reason("minutes", Unit.RATIO, (0, 600), (0, 1e6), zero=True)


def written(value: float, reason: Reason) -> str:
    """The value as a file states it, with the ! that an unusual one needs."""
    return value_text(value, reason.unit) + ("" if reason.is_usual(value) else "!")


def value(amount: Amount, reason: Reason, *, bare: float | None = None) -> float:
    """Read an amount; `bare` as parse_value. InputError where it cannot be, or is not meant so."""
    try:
        number = parse_value(amount.text, reason.unit, bare=bare)
    except ValueReadError as problem:
        raise misread(problem, amount.place) from None
    check(number, amount, reason)
    return number


def check(number: float, amount: Amount, reason: Reason) -> None:
    """InputError where the value is out of reason and not confirmed."""
    if number == 0 and reason is RESISTOR:
        raise InputError(
            "no resistor has no resistance",
            remedy="A wire link is written with the word: R5 link.",
            place=amount.place,
        )
    if not reason.is_possible(number):
        sign = reason.signed or number >= 0
        raise InputError(
            f"{amount.text.strip()} is not possible for {reason.what}",
            remedy=_limits("Possible", reason, reason.possible)
            if sign
            else "It cannot be negative.",
            place=amount.place,
        )
    if not reason.is_usual(number) and not amount.sure:
        raise InputError(
            f"{amount.text.strip()} is unusual for {reason.what}",
            remedy=_limits("Usual", reason, reason.usual)
            + f" If it is meant, write {amount.text.strip()}!",
            place=amount.place,
        )


def _limits(word: str, reason: Reason, limits: tuple[float, float]) -> str:
    low, high = (engineering(limit, reason.unit) for limit in limits)
    return f"{word}: {low} to {high}."


def fits(text: str, unit: Unit) -> bool:
    """Whether the letters of a value are those of this unit; a number alone has none.

    Quicker than reading the value, which on failure looks for near misses.
    """
    spelling = SPELLINGS[unit]
    try:
        clean = clean_text(text, spelling.noun)
    except ValueReadError:
        return False
    if _FRACTION.fullmatch(clean):
        return spelling.fractions
    match = _MARKED.fullmatch(clean)
    if match is None:
        return False
    mark, tail, rest = match[1], match[2], match[3]
    if tail and (mark not in spelling.inside or not mark):
        return False
    letters = re.sub("[ .]", "", mark + rest)
    return letters in spelling.exact or letters.lower() in spelling.folded


def tolerance(text: str, place: Span) -> Tolerance:
    """Read a tolerance. InputError where it cannot be."""
    try:
        return parse_tolerance(text)
    except ValueReadError as problem:
        raise misread(problem, place) from None


def even(text: str, place: Span) -> float:
    """Read a percentage that is the same both ways, as a fraction."""
    both = tolerance(text, place)
    if both.minus != both.plus:
        raise InputError(
            "one percentage for both directions is wanted here",
            remedy="Write it like 20%.",
            place=place,
        )
    return both.plus


def wants(key: str, what: str, how: str, place: Span) -> InputError:
    """The error for a keyword with something else behind it than it needs."""
    return InputError(f"behind '{key}' stands {what}", remedy=f"Write it like {how}.", place=place)


def limits(clause: Clause, why: Reason) -> Range:
    """A quantity between two limits, sizes only; a single value is both of them."""
    if clause.form not in (Form.AMOUNT, Form.SPAN):
        raise wants(clause.key, "a value or two limits", f"{clause.key} 80..300", clause.place)
    first, last = clause.amounts[0], clause.amounts[-1]
    if dashed := re.fullmatch(r"([\d.,]+)-([\d.,]+.*)", first.text):
        raise InputError(
            f"{first.text}: limits are written with two points between them",
            remedy=f"Did you mean {dashed[1]}..{dashed[2]}?",
            place=first.place,
        )
    if NUMBER.fullmatch(first.text) and not NUMBER.fullmatch(last.text):
        unit = re.sub(r"^[+-]?[0-9.,]+", "", last.text)
        first = first._replace(text=first.text + unit)
    low, high = (abs(value(amount, why)) for amount in (first, last))
    if low > high and why is not PINCH_OFF:
        raise InputError(
            "the lower limit comes first",
            remedy=f"Write {last.text}..{first.text}.",
            place=clause.place,
        )
    return Range(min(low, high), max(low, high))


def misread(problem: ValueReadError, place: Span) -> InputError:
    """What the reader of values found, with its near miss as the remedy."""
    remedy = f"Did you mean {problem.near}?" if problem.near else ""
    return InputError(str(problem), remedy=remedy, place=place)
