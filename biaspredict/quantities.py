"""Values as old sheets print them: reading, writing back, and saying aloud.

Reading is strict. Whatever two readers could take for two values is refused with both spellings,
never guessed: a comma before three digits, `4m7` on a resistor, `E` inside a number. All scaling is
exact, so the nearest float to the printed decimal is what comes out.
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from biaspredict.numerals import clean_text, number, plain, shown
from biaspredict.tolerance import Tolerance, parse_tolerance
from biaspredict.units import SPELLINGS, Spelling, Step, Unit, ValueReadError

__all__ = [
    "CapacitorReading",
    "Tolerance",
    "Unit",
    "ValueReadError",
    "engineering",
    "parse_capacitance_and_volts",
    "parse_tolerance",
    "parse_value",
    "spoken",
    "value_text",
]

# Nothing on a bench lies outside; arithmetic further out would only overflow later.
SMALLEST, LARGEST = Fraction(1, 10**24), Fraction(10**18)
COLDEST = Fraction("-273.15")
# No electrolytic is rated higher (common practice, no source).
HIGHEST_WORKING_VOLTS = 600.0

_PLAIN = re.compile(r"([+-]?) ?([0-9.,]+) ?((?:[A-Za-z%][A-Za-z%/. ]*)?)")
_INSIDE = re.compile(r"([+-]?) ?([0-9]*)([A-Za-z])([0-9]+) ?([A-Za-z. ]*)")
_PARTED = re.compile(r"([0-9]+)/([0-9]+) ?([A-Za-z. ]*)")
_POWER = re.compile(r"[+-]? ?[0-9.,]+[eE][+-]?[0-9]+.*")


def parse_value(text: str, unit: Unit, *, bare: float | None = None) -> float:
    """Read one value in base units (ohms, farads, volts ...).

    `bare` is what a number without a unit counts in (1e-6: microfarads). Without it such a number
    is taken in the base unit, but refused for capacitance and inductance. Raises ValueReadError.
    Source: IEC 60062 for letters in place of the point (from memory).
    """
    noun = SPELLINGS[unit].noun
    clean = clean_text(text, noun)
    try:
        return _read(clean, unit, bare)
    except ValueReadError as problem:
        near = next(_near(clean, unit, bare, problem.near), None)
        raise ValueReadError(f"{shown(text)} is not a {noun}: {problem}", near) from None


def _read(text: str, unit: Unit, bare: float | None) -> float:
    """The value of a cleaned text; its errors carry the reason only."""
    spelling = SPELLINGS[unit]
    sign, size = "", Fraction(0)
    if match := _PLAIN.fullmatch(text):
        sign, digits, mark = match.groups()
        size = number(digits, mark, sign) * _scale(digits, mark, unit, bare)
    elif match := _INSIDE.fullmatch(text):
        sign, head, letter, tail, rest = match.groups()
        power = _power(letter + rest, spelling)
        if letter not in spelling.inside or power is None or not (head or spelling.leading):
            raise _letter_refused(head, letter, tail, unit)
        size = Fraction(f"{head or 0}.{tail}") * Fraction(10) ** power
    elif spelling.fractions and (match := _PARTED.fullmatch(text)):
        above, below, mark = match.groups()
        if int(below) == 0:
            raise ValueReadError("nothing can be divided by 0")
        size = Fraction(int(above), int(below)) * _scale(above, mark, unit, bare)
    elif _POWER.fullmatch(text):
        raise ValueReadError(f"powers of ten are not read; write it like {spelling.examples}")
    else:
        raise ValueReadError(f"write it like {spelling.examples}")

    if sign == "-" and not spelling.signed:
        raise ValueReadError("it cannot be negative", text.lstrip("- "))
    if size and not SMALLEST <= size <= LARGEST:
        raise ValueReadError(f"no value so {'large' if size > 1 else 'small'} is met on a bench")
    if sign == "-":
        size = -size
    if unit is Unit.CELSIUS and size < COLDEST:
        raise ValueReadError("nothing is colder than -273.15 C")
    return float(size)


def _power(mark: str, spelling: Spelling) -> int | None:
    mark = re.sub("[ .]", "", mark)
    found = spelling.exact.get(mark)
    return spelling.folded.get(mark.lower()) if found is None else found


def _scale(digits: str, mark: str, unit: Unit, bare: float | None) -> Fraction:
    spelling = SPELLINGS[unit]
    if not mark:
        if bare is not None:
            return Fraction(repr(float(bare)))
        if spelling.bare:
            return Fraction(1)
        first, second = ("MFD", "pF") if unit is Unit.FARAD else ("H", "mH")
        raise ValueReadError(f"the unit is missing; write {digits} {first} or {digits} {second}")
    power = _power(mark, spelling)
    if power is not None:
        return Fraction(10) ** power
    if unit is Unit.OHM and mark == "m":
        raise _milli_or_meg(f"{digits}M", f"{digits} mohm")
    if unit is Unit.FARAD and mark in ("M", "m"):
        near = f"{digits} MFD"
        raise ValueReadError(f"M may be a tolerance; write {near} for microfarads", near)
    if unit is Unit.FARAD and mark in ("K", "k"):
        raise ValueReadError(
            f"K may be a tolerance; write {digits} nF for thousands of picofarads, "
            f"{digits} MFD for microfarads"
        )
    if unit is Unit.VOLT and mark.lower() in ("vac", "v ac", "acv", "vrms"):
        near = f"{digits} V"
        raise ValueReadError(f"alternating volts bear no mark here; write {near}", near)
    if unit is Unit.CELSIUS and mark.lower() in ("f", "degf"):
        raise ValueReadError("only degrees Celsius are read; convert it from Fahrenheit")
    raise ValueReadError(f"write it like {spelling.examples}")


def _milli_or_meg(meg: str, milli: str) -> ValueReadError:
    return ValueReadError(f"m may be milli or meg; write {meg} for meg or {milli} for milli", meg)


def _letter_refused(head: str, letter: str, tail: str, unit: Unit) -> ValueReadError:
    if unit is Unit.OHM and letter == "m":
        return _milli_or_meg(f"{head}M{tail}", f"{head or 0}.{tail} mohm")
    if unit is Unit.OHM and letter in "eE" and len(tail) < 3:
        near = f"{head}R{tail}"
        return ValueReadError(f"E may be a point or a power of ten; write {near} for a point", near)
    if unit is Unit.FARAD and letter in "mM":
        near = f"{head}u{tail}"
        return ValueReadError(f"write {near} for microfarads or {head}p{tail} for picofarads", near)
    if letter in "eE":
        return ValueReadError(
            f"powers of ten are not read; write it like {SPELLINGS[unit].examples}"
        )
    return ValueReadError(f"write it like {SPELLINGS[unit].examples}")


def _near(text: str, unit: Unit, bare: float | None, first: str | None) -> Iterator[str]:
    """Close spellings that read: foreign digits, letters taken for digits, a slip in the unit."""
    guesses = [
        *([first] if first else []),
        "".join(str(unicodedata.digit(c, c)) for c in text),
        re.sub(
            r"(?<=[0-9.,])[oOlI]+|[oOlI]+(?=[0-9.,])",
            lambda m: m[0].translate(str.maketrans("oOlI", "0011")),
            text,
        ),
    ]
    if (match := _PLAIN.fullmatch(text)) and match[3]:
        met = match[3].lower()
        guesses += [f"{match[1]}{match[2]} {mark}" for mark in _closest(met, SPELLINGS[unit].near)]
    for guess in guesses:
        try:
            _read(guess, unit, bare)
        except ValueReadError:
            continue
        yield guess


def _closest(met: str, marks: tuple[str, ...]) -> list[str]:
    """Marks like the one met; swapped letters first, so that MDF is never taken for MMF."""

    def distance(mark: str) -> tuple[bool, float]:
        likeness = difflib.SequenceMatcher(None, met, mark.lower()).ratio()
        return sorted(met) != sorted(mark.lower()), -likeness

    return [mark for mark in sorted(marks, key=distance) if distance(mark)[1] <= -0.5]


# --- capacitance and working volts ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CapacitorReading:
    """One way to read a capacitor's printed pair: farads and working volts."""

    farads: float
    volts: float


_JOIN = re.compile(r" ?[-/@] ?| (?:at )?(?=[0-9.,])")
_HOW_PAIR = "write it like 50 MFD 6V or 25/16"


def parse_capacitance_and_volts(text: str) -> tuple[CapacitorReading, ...]:
    """Read `50 MFD 6V`, `2000/35 WV`, `25-25`: capacitance and volts, in either order.

    Unit marks decide, then that no electrolytic stands more than 600 V. Where nothing decides, two
    readings come back, the one with capacitance first in front: more than one means ambiguous.
    Bare capacitance counts microfarads. Raises ValueReadError.
    """
    clean = clean_text(text, "capacitance with volts")
    problem = ValueReadError(_HOW_PAIR)
    for join in _JOIN.finditer(clean):
        try:
            return _pair_readings(clean[: join.start()], clean[join.end() :])
        except ValueReadError as failed:
            problem = failed
    message = f"{shown(text)} is not a capacitance with volts: {problem}"
    raise ValueReadError(message, problem.near)


def _pair_readings(first: str, second: str) -> tuple[CapacitorReading, ...]:
    kinds = _kind(first) + _kind(second)
    if kinds in ("NC", "CC"):
        raise ValueReadError(
            "two sections in one can? Enter each section as a part of its own, like 50 MFD 6V"
        )
    orders = []
    if kinds in ("CV", "CN", "NV", "NN"):
        orders.append((first, second))
    if kinds in ("VC", "VN", "NN"):
        orders.append((second, first))
    if not orders:
        raise ValueReadError(_HOW_PAIR)
    readings = [
        CapacitorReading(parse_value(farads, Unit.FARAD, bare=1e-6), parse_value(volts, Unit.VOLT))
        for farads, volts in orders
    ]
    if any(reading.farads <= 0 or reading.volts <= 0 for reading in readings):
        raise ValueReadError("both numbers must be above zero")
    likely = [reading for reading in readings if reading.volts <= HIGHEST_WORKING_VOLTS]
    return tuple(dict.fromkeys(likely or readings))


def _kind(half: str) -> str:
    """N for a number alone, C for a marked capacitance, V for marked volts, ? for neither."""
    if digits := re.match("[0-9.,]+", half):
        try:
            number(digits[0], half[digits.end() :])
        except ValueReadError as problem:
            # What is near this half is not near the whole.
            raise ValueReadError(str(problem)) from None
        if digits[0] == half:
            return "N"
    for kind, unit in (("C", Unit.FARAD), ("V", Unit.VOLT)):
        try:
            parse_value(half, unit)
        except ValueReadError:
            continue
        return kind
    return "?"


# --- writing -----------------------------------------------------------------------------------


def _step(size: Decimal, unit: Unit) -> Step:
    spelling = SPELLINGS[unit]
    if not size:
        return next(step for step in spelling.ladder if step.mark == spelling.home)
    return next(step for step in spelling.ladder if size >= step.floor)


def _finite(value: float) -> float:
    if not math.isfinite(value):
        raise ValueError(f"{value} cannot be written as a value")
    return float(value)


def engineering(value: float, unit: Unit, digits: int = 3) -> str:
    """The value for the bench, rounded: `6.8k`, `47 uF`, `3.10 V`, `310 mV`, `1.2 mA`.

    Volts keep their trailing zeros, since a reading has so many digits; others drop them. Less
    than half a microvolt or half a picoampere is no reading and shows as 0. ValueError if not
    finite.
    """
    value = _finite(value)
    idle = {Unit.VOLT: 0.5e-6, Unit.AMPERE: 0.5e-12}.get(unit, 0.0)
    if abs(value) < idle:
        value = 0.0
    rounded = Decimal(f"{abs(value):.{digits - 1}e}")
    step = _step(rounded, unit)
    scaled = rounded.scaleb(-step.power)
    text = format(scaled, "f") if unit is Unit.VOLT and value else plain(scaled)
    return ("-" if value < 0 else "") + text + step.mark.replace("K", "k")


def _exact(value: float, unit: Unit) -> tuple[str, Step]:
    value = _finite(value)
    size = Decimal(repr(abs(value)))
    if size and not SMALLEST <= Fraction(size) <= LARGEST:
        raise ValueError(f"{value} lies outside what a sheet can say")
    step = _step(size, unit)
    return plain(size.scaleb(-step.power)), step


def value_text(value: float, unit: Unit) -> str:
    """The value in sheet style, `6.8K`, `2.2M`, `5 uF`, `310 mV`; parse_value gives back `value`.

    ValueError if it is not finite or lies outside 1e-24..1e18.
    """
    digits, step = _exact(value, unit)
    return ("-" if value < 0 else "") + digits + step.mark


def spoken(value: float, unit: Unit) -> str:
    """The value in plain words, so that a misread shows: `6.8 kilohms (6800 ohms)`.

    ValueError as value_text.
    """
    digits, step = _exact(value, unit)
    words = f"{digits} {step.one if digits == '1' else step.many}".rstrip()
    size = Decimal(repr(abs(float(value))))
    if unit is Unit.OHM and step.power:
        words += f" ({plain(size)} ohms)"
    if unit is Unit.FARAD and step.power == -9:
        words += f" ({plain(size.scaleb(6))} microfarads)"
    return ("minus " if value < 0 else "") + words
