"""Preferred numbers against IEC 60063, and working voltages (both from memory)."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from biaspredict.series import WORKING_VOLTS, nearest, neighbours, next_working_volts, series

# IEC 60063, E24 (from memory); those that rounding 10**(i/24) to two digits misses carry the mark.
E24 = [
    (1.0, ""), (1.1, ""), (1.2, ""), (1.3, ""), (1.5, ""), (1.6, ""), (1.8, ""), (2.0, ""),
    (2.2, ""), (2.4, ""), (2.7, "!"), (3.0, "!"), (3.3, "!"), (3.6, "!"), (3.9, "!"), (4.3, "!"),
    (4.7, "!"), (5.1, ""), (5.6, ""), (6.2, ""), (6.8, ""), (7.5, ""), (8.2, "!"), (9.1, ""),
]  # fmt: skip
# IEC 60063, E48 (from memory).
E48 = (
    1.00, 1.05, 1.10, 1.15, 1.21, 1.27, 1.33, 1.40, 1.47, 1.54, 1.62, 1.69, 1.78, 1.87, 1.96, 2.05,
    2.15, 2.26, 2.37, 2.49, 2.61, 2.74, 2.87, 3.01, 3.16, 3.32, 3.48, 3.65, 3.83, 4.02, 4.22, 4.42,
    4.64, 4.87, 5.11, 5.36, 5.62, 5.90, 6.19, 6.49, 6.81, 7.15, 7.50, 7.87, 8.25, 8.66, 9.09, 9.53,
)  # fmt: skip
NAMES = ["E3", "E6", "E12", "E24", "E48", "E96", "E192"]


def test_e24_and_where_it_departs_from_rounding() -> None:
    assert series("E24") == tuple(number for number, _ in E24)
    for i, (number, mark) in enumerate(E24):
        assert (round(10 ** (i / 24), 1) != number) == (mark == "!")


def test_coarser_series() -> None:
    assert series("E3") == (1.0, 2.2, 4.7)
    assert series("E6") == (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
    assert series("E12") == (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)


def test_finer_series() -> None:
    assert series("E48") == E48
    assert series("E96")[::2] == E48
    assert series("E192")[::2] == series("E96")
    # The one exception in E192, and its neighbours (IEC 60063, from memory).
    assert series("E192")[184:188] == (9.09, 9.2, 9.31, 9.42)


@pytest.mark.parametrize("name", NAMES)
def test_each_series_rises_through_one_decade(name: str) -> None:
    numbers = series(name)
    assert len(numbers) == int(name[1:])
    assert all(low < high for low, high in pairwise(numbers))
    assert numbers[0] == 1.0
    assert numbers[-1] < 10.0


@pytest.mark.parametrize("name", ["E7", "", "24", "E" * 100_000])
def test_unknown_series(name: str) -> None:
    with pytest.raises(ValueError, match="no series"):
        series(name)


@pytest.mark.parametrize(
    ("value", "name", "below", "above", "closest"),
    [
        (5000.0, "E12", 4700.0, 5600.0, 4700.0),
        (50e-6, "E6", 47e-6, 68e-6, 47e-6),
        (5e-6, "E6", 4.7e-6, 6.8e-6, 4.7e-6),
        (25e-6, "E6", 22e-6, 33e-6, 22e-6),
        (8e-6, "E6", 6.8e-6, 10e-6, 6.8e-6),
        (9.9, "E12", 8.2, 10.0, 10.0),
        (99.9e3, "E24", 91e3, 100e3, 100e3),
        (0.95, "E3", 0.47, 1.0, 1.0),
        (4700.0, "E12", 4700.0, 4700.0, 4700.0),
        (0.1 + 0.2, "E24", 0.3, 0.3, 0.3),
        (1000.0, "E3", 1000.0, 1000.0, 1000.0),
    ],
)
def test_neighbours(value: float, name: str, below: float, above: float, closest: float) -> None:
    assert neighbours(value, name) == (below, above)
    assert nearest(value, name) == closest


@given(value=st.floats(1e-13, 1e9), name=st.sampled_from(NAMES))
def test_neighbours_enclose(value: float, name: str) -> None:
    below, above = neighbours(value, name)
    assert below * (1 - 2e-9) <= value <= above * (1 + 2e-9)
    # The widest gap of each series bounds how far apart neighbours are.
    gap = max(b / a for a, b in zip(series(name), (*series(name)[1:], 10.0), strict=True))
    assert above / below <= gap * (1 + 1e-9)


@given(number=st.sampled_from(series("E192")), power=st.integers(-12, 8))
def test_members_are_their_own_neighbours(number: float, power: int) -> None:
    value = float(f"{number}e{power}")
    assert neighbours(value, "E192") == (value, value)


@pytest.mark.parametrize("value", [0.0, -4.7, math.nan, math.inf, 1e-300, 1e300])
def test_neighbours_of_no_value(value: float) -> None:
    with pytest.raises(ValueError, match="no part has the value"):
        neighbours(value, "E12")


def test_working_volts() -> None:
    assert next_working_volts(3) == 4
    assert next_working_volts(6) == 6.3
    assert next_working_volts(15) == 16
    assert next_working_volts(25) == 25
    assert next_working_volts(25.1) == 35
    assert next_working_volts(-12) == 16
    assert next_working_volts(451) is None
    assert next_working_volts(math.nan) is None
    assert list(WORKING_VOLTS) == sorted(WORKING_VOLTS)
