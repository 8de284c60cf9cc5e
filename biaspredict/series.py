"""Values one can buy: preferred numbers and capacitor working voltages.

Sources: IEC 60063 for preferred numbers, IEC 60384-4 for rated voltages (both from memory).
Electrolytics are mostly stocked in E3 or E6 values (common practice, no source).
"""

from __future__ import annotations

import math
from bisect import bisect_left
from functools import cache

ELECTROLYTIC_SERIES = "E6"

WORKING_VOLTS: tuple[float, ...] = (
    4, 6.3, 10, 16, 25, 35, 50, 63, 80, 100, 160, 200, 250, 315, 350, 400, 450,
)  # fmt: skip

# Rounding 10**(i/24) would miss the standard at 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7 and 8.2.
_E24: tuple[float, ...] = (
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
    3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1,
)  # fmt: skip
# Two values closer than this are the same printed value, whatever arithmetic they came from.
_SAME = 1e-9


@cache
def series(name: str) -> tuple[float, ...]:
    """The numbers of one decade, from 1 up, of E3, E6, E12, E24, E48, E96 or E192.

    Raises ValueError for another name.
    """
    sizes = {f"E{size}": size for size in (3, 6, 12, 24, 48, 96, 192)}
    size = sizes.get(name.upper())
    if size is None:
        raise ValueError(f"no series {name[:12]!r}; there are {', '.join(sizes)}")
    if size <= 24:
        return _E24[:: 24 // size]
    # Three digits follow the rounding, but for 9.20, which rounds to 9.19.
    rounded = (round(10 ** (i / size), 2) for i in range(size))
    return tuple(9.2 if value == 9.19 else value for value in rounded)


def neighbours(value: float, name: str) -> tuple[float, float]:
    """The nearest series values not above and not below `value`; twice itself if it is one.

    Raises ValueError unless `value` is positive and finite.
    """
    if not (math.isfinite(value) and 1e-24 <= value <= 1e24):
        raise ValueError(f"no part has the value {value}")
    decade = math.floor(math.log10(value))
    # float of the printed decimal, so that 4.7 in the third decade is exactly 4700.
    ladder = [
        float(f"{number:.2f}e{power}")
        for power in (decade - 1, decade, decade + 1)
        for number in series(name)
    ]
    place = bisect_left(ladder, value * (1 - _SAME))
    above = ladder[place]
    return (above, above) if above <= value * (1 + _SAME) else (ladder[place - 1], above)


def nearest(value: float, name: str) -> float:
    """The series value with the smallest ratio to `value`; ValueError as neighbours."""
    below, above = neighbours(value, name)
    return below if value / below <= above / value else above


def next_working_volts(volts: float) -> float | None:
    """The lowest standard working voltage that stands `volts`, or None above the highest."""
    return next((rated for rated in WORKING_VOLTS if rated >= abs(volts)), None)
