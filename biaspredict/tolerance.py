"""Tolerances as sheets and parts state them: percent, IEC 60062 letters, bands."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from biaspredict.numerals import clean_text, number, plain, shown
from biaspredict.units import ValueReadError


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far a part may be off its printed value, as fractions: -10/+50 % is (0.1, 0.5).

    `minus` lies in 0..1 (1 excluded), `plus` in 0..10; otherwise ValueError.
    """

    minus: float
    plus: float

    def __post_init__(self) -> None:
        for side, top in ((self.minus, 1.0), (self.plus, 10.0)):
            if not (side == 0 or 1e-9 <= side <= top) or self.minus == 1:
                raise ValueError(f"no tolerance: -{self.minus} +{self.plus}")

    def text(self) -> str:
        """As sheets print it, `10%` or `-10/+50%`; parse_tolerance reads it back exactly."""
        minus, plus = (plain(Decimal(repr(float(s))).scaleb(2)) for s in (self.minus, self.plus))
        return f"{plus}%" if minus == plus else f"-{minus}/+{plus}%"


# IEC 60062, letter codes, in percent (from memory). Under 10 pF the same letters count picofarads;
# that use is not read.
_LETTERS = {
    "E": (0.005, 0.005), "L": (0.01, 0.01), "P": (0.02, 0.02), "W": (0.05, 0.05), "B": (0.1, 0.1),
    "C": (0.25, 0.25), "D": (0.5, 0.5), "F": (1, 1), "G": (2, 2), "H": (3, 3), "J": (5, 5),
    "K": (10, 10), "M": (20, 20), "N": (30, 30), "Q": (10, 30), "T": (10, 50), "S": (20, 50),
    "Z": (20, 80),
}  # fmt: skip
_BANDS = {"gold": (5, 5), "silver": (10, 10), "none": (20, 20), "no band": (20, 20)}
_PERCENT = r" ?(?:%|percent|per cent)"
_EVEN = re.compile(r"(?:\+/?-)? ?([0-9.,]+)" + _PERCENT, re.I)
_UNEVEN = re.compile(r"([+-]) ?([0-9.,]+) ?%? ?/? ?([+-]) ?([0-9.,]+)" + _PERCENT, re.I)


def parse_tolerance(text: str) -> Tolerance:
    """Read `10%`, `+-5%`, `-10/+50%`, an IEC 60062 letter, or a band: gold, silver, none.

    Raises ValueReadError.
    """
    clean = clean_text(text, "tolerance")
    try:
        return _read(clean)
    except ValueReadError as problem:
        near = next((guess for guess in (clean + "%", clean.upper()) if _reads(guess)), None)
        raise ValueReadError(f"{shown(text)} is not a tolerance: {problem}", near) from None


def _reads(guess: str) -> bool:
    try:
        _read(guess)
    except ValueReadError:
        return False
    return True


def _read(clean: str) -> Tolerance:
    if pair := _LETTERS.get(clean) or _BANDS.get(clean.lower().removesuffix(" band")):
        minus, plus = (Fraction(str(side)) for side in pair)
    elif match := _EVEN.fullmatch(clean):
        minus = plus = number(match[1], "%")
    elif (match := _UNEVEN.fullmatch(clean)) and match[1] != match[3]:
        sides = {match[1]: number(match[2], "%"), match[3]: number(match[4], "%")}
        minus, plus = sides["-"], sides["+"]
    else:
        raise ValueReadError("write it like 10%, -10/+50%, K, or gold, silver or none")
    try:
        return Tolerance(float(minus / 100), float(plus / 100))
    except ValueError:
        raise ValueReadError("a part cannot be off by so much, or so little") from None
