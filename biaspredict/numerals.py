"""Printed numbers: what a reader may type, cleaned, and a decimal without idle zeros."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

from biaspredict.units import ValueReadError

LONGEST = 64

_LOOKALIKES = str.maketrans(
    {
        "\u00b5": "u", "\u03bc": "u", "\u03a9": "ohm", "\u2126": "ohm", "\u2212": "-",
        "\u00b0": "deg", "\u00ba": "deg", "\u00b1": "+-", "\t": " ",
        "\u00a0": " ", "\u2009": " ", "\u202f": " ",
    }
)  # fmt: skip
_NUMBER = re.compile(r"[0-9]+\.?|[0-9]*[.,][0-9]+")
_GROUPED = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")


def clean_text(text: str, noun: str) -> str:
    """The text with look-alike signs and spacing evened out; ValueReadError if unusable."""
    if len(text) > LONGEST:
        raise ValueReadError(f"{shown(text)} is not a {noun}: longer than {LONGEST} characters")
    clean = re.sub(" +", " ", text.translate(_LOOKALIKES)).strip(" ")
    if not clean:
        raise ValueReadError(f"a {noun} is missing here")
    return clean


def shown(text: str) -> str:
    """The text as met, short and harmless, for use inside a message."""
    short = text if len(text) <= 24 else text[:21] + "..."
    return "'" + "".join(c if c.isprintable() else "?" for c in short) + "'"


def number(digits: str, mark: str = "", sign: str = "") -> Fraction:
    """A printed decimal; point and comma mean the same where only one meaning is possible.

    `mark` and `sign` stand round it, for the spellings that a refusal proposes.
    """
    if _GROUPED.fullmatch(digits):
        whole = sign + digits.replace(",", "") + mark
        broken = sign + digits.replace(",", ".").rstrip("0").rstrip(".") + mark
        message = f"the comma may mark thousands or decimals; write {whole} or {broken}"
        raise ValueReadError(message, whole)
    if not _NUMBER.fullmatch(digits):
        several = digits.count(".") + digits.count(",") > 1
        raise ValueReadError(
            "one decimal point at most, and no marks between thousands"
            if several
            else "a number may not end in a comma or be a mark alone"
        )
    return Fraction(digits.replace(",", ".").rstrip("."))


def plain(size: Decimal) -> str:
    """Digits without exponent and without idle zeros behind the point."""
    text = format(size, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
