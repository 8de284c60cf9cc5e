"""Figures and sentences as the bench says them: three digits, 80 columns, plain words."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Sequence

from biaspredict.findings import Gravity
from biaspredict.model.readings import Quantity
from biaspredict.quantities import Unit, engineering

WIDTH = 80
OHM = " ohm"
TIE = "\u00a0"  # a space at which no line breaks
PERCENT = re.compile(r"(\d) %")
GRAVITIES = {Gravity.STOP: "STOP", Gravity.CHECK: "check", Gravity.NOTE: "note"}


def volts(value: float) -> str:
    return engineering(value, Unit.VOLT)


def amps(value: float) -> str:
    return engineering(value, Unit.AMPERE)


def ohms(value: float) -> str:
    """Ohms with the unit, since a bare number could be volts."""
    return "open" if value > 5e8 else f"{engineering(value, Unit.OHM)}{OHM}"


def ratio(value: float) -> str:
    """A gain: three digits, never a power of ten."""
    return f"{float(f'{value:.3g}'):f}".rstrip("0").rstrip(".") if value >= 1e-3 else f"{value:.1g}"


def percent(share: float) -> str:
    """A weight as a person says it: never 0 or 100 % of belief."""
    if share >= 0.995:
        return "over 99 %"
    if share < 0.01:
        return "under 1 %"
    return f"{share * 100:.0f} %"


def measured(value: float, quantity: Quantity) -> str:
    """A value in the unit of its quantity."""
    if quantity is Quantity.OHMS:
        return ohms(value)
    if quantity is Quantity.GAIN:
        return f"{value:.3g}"
    return volts(value)


def span(low: float, high: float, quantity: Quantity = Quantity.VOLTS) -> str:
    """From low to high, a unit that both share said once."""
    ends = [measured(low, quantity), measured(high, quantity)]
    if ends[0] == ends[1]:
        return ends[0]
    if all(end.endswith(OHM) for end in ends):
        ends[0] = ends[0].removesuffix(OHM)
    return " to ".join(ends)


def severity(value: float, unit: str) -> str:
    """A fault's degree: ohms of a leak, or a factor."""
    if unit == "ohm":
        return ohms(value)
    return f"{value:.2g} times" if value < 10 else f"{value:.0f} times"


def wrapped(text: str, indent: str = "", hang: str | None = None) -> str:
    """Text within 80 columns; a number and its percent sign stay on one line."""
    return textwrap.fill(
        PERCENT.sub(rf"\1{TIE}%", text), WIDTH, initial_indent=indent,
        subsequent_indent=indent if hang is None else hang,
        break_long_words=True, break_on_hyphens=False,
    ).replace(TIE, " ")


def listed(items: Sequence[str], last: str = "and") -> str:
    """a, b and c"""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def table(rows: Iterable[Sequence[str]], *, right: Iterable[int] = (), gap: int = 2,
          indent: str = "  ") -> list[str]:
    """Rows in columns as wide as their widest cell; columns in `right` are right-aligned."""
    lines = [list(row) for row in rows]
    if not lines:
        return []
    widths = [max(len(row[i]) for row in lines) for i in range(len(lines[0]))]
    flush = set(right)
    space = " " * gap
    return [
        (indent + space.join(
            cell.rjust(w) if i in flush else cell.ljust(w)
            for i, (cell, w) in enumerate(zip(row, widths, strict=True))
        )).rstrip()
        for row in lines
    ]


def severity_span(low: float, high: float, unit: str) -> str:
    """Both ends of a fault's degree, the unit said once."""
    ends = [severity(low, unit), severity(high, unit)]
    shared = OHM if unit == "ohm" else " times"
    return f"{ends[0].removesuffix(shared)} to {ends[1]}"
