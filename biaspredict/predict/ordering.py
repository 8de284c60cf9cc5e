"""The value and the working volts to buy for a capacitor of the sheet.

Values: IEC 60063, working volts: the standard series (see `series`). A new part is never smaller
than what the old one was allowed to be, and never stands fewer volts.
"""

from __future__ import annotations

from dataclasses import dataclass

from biaspredict.model.parts import Kind, Part
from biaspredict.quantities import Tolerance
from biaspredict.series import (
    ELECTROLYTIC_SERIES,
    nearest,
    neighbours,
    next_working_volts,
)

FILM_SERIES = "E6"
FILM_UP_TO = 1e-6  # farads up to which a film part of the size can be had
FILM_VOLTS = 63.0  # the usual least of film parts (common practice, no source)
LEAST_VOLTS = 6.3  # the usual least of electrolytics (common practice, no source)
NON_POLAR = frozenset({"non-polar"})
LEAKY_WITH_AGE = frozenset({"paper", "oil"})  # (common practice, no source)
CLOSE = 0.10  # by which a value that shapes the response may be off (common practice, no source)


@dataclass(frozen=True, slots=True)
class Order:
    """farads, volts: of the part to buy; volts None where no standard part stands that many.

    beside: farads of a second part in parallel, where one alone would be too far off; or None.
    make: "electrolytic", "non-polar electrolytic", "film".
    """

    farads: float
    volts: float | None
    make: str
    beside: float | None = None

    @property
    def total(self) -> float:
        return self.farads + (self.beside or 0.0)


def sheet_value(part: Part) -> float | None:
    """What the maker chose: printed, else fitted; a measured value only where nothing else is."""
    for value in (part.printed, part.fitted, part.measured):
        if value:
            return value
    return None


def order(part: Part, tolerance: Tolerance, needed: float | None, *, exact: bool) -> Order | None:
    """What to buy for a capacitor; None where the sheet gives no value.

    needed: volts that it must stand, None where not known. exact: its value shapes the response.
    """
    farads = sheet_value(part)
    if farads is None:
        return None
    make = _make(part)
    rating = max(part.volts or 0.0, needed or 0.0)
    least = FILM_VOLTS if make == "film" else LEAST_VOLTS
    volts: float | None = None
    if rating > 0.0:
        volts = next_working_volts(max(rating, least))
    if exact:
        return _exactly(farads, volts, make)
    return Order(_at_hand(farads, tolerance, make), volts, make)


def _make(part: Part) -> str:
    if part.dielectric in NON_POLAR:
        return "non-polar electrolytic"
    return "electrolytic" if part.kind is Kind.ELECTROLYTIC else "film"


def _series(make: str) -> str:
    return FILM_SERIES if make == "film" else ELECTROLYTIC_SERIES


def _at_hand(farads: float, tolerance: Tolerance, make: str) -> float:
    """The nearest series value that is not below what the old part was allowed to be."""
    name = _series(make)
    least = farads * (1.0 - tolerance.minus)
    close = nearest(farads, name)
    return close if close >= least * (1.0 - 1e-9) else neighbours(farads, name)[1]


def _exactly(farads: float, volts: float | None, make: str) -> Order:
    """The nearest series value, with a second part beside it where it is too far off."""
    name = _series(make)
    close = nearest(farads, name)
    if abs(close / farads - 1.0) <= CLOSE:
        return Order(close, volts, make)
    below = neighbours(farads, name)[0]
    return Order(below, volts, make, nearest(farads - below, name))
