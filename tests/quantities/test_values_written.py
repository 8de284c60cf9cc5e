"""Values are written so that they read back exactly, and shown so that a bench can use them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from biaspredict.quantities import Unit, engineering, parse_value, spoken, value_text

SIGNED = (Unit.VOLT, Unit.AMPERE, Unit.RATIO)
sizes = st.floats(1e-24, 1e18) | st.just(0.0) | st.integers(0, 10**7).map(float)


@given(size=sizes, unit=st.sampled_from(Unit))
def test_written_values_read_back_exactly(size: float, unit: Unit) -> None:
    assert parse_value(value_text(size, unit), unit) == size


@given(size=sizes, unit=st.sampled_from(SIGNED))
def test_negative_values_read_back_exactly(size: float, unit: Unit) -> None:
    assert parse_value(value_text(-size, unit), unit) == -size


@given(celsius=st.floats(-273.15, 500).filter(lambda c: c == 0 or abs(c) > 1e-24))
def test_temperatures_read_back_exactly(celsius: float) -> None:
    assert parse_value(value_text(celsius, Unit.CELSIUS), Unit.CELSIUS) == celsius


@given(number=st.integers(10, 99), power=st.integers(-12, 6), unit=st.sampled_from(Unit))
def test_preferred_numbers_are_written_short(number: int, power: int, unit: Unit) -> None:
    digits = re.sub("[^0-9]", "", value_text(float(f"{number}e{power}"), unit)).strip("0")
    assert digits == str(number).rstrip("0")


@pytest.mark.parametrize(
    ("value", "unit", "sheet", "bench", "aloud"),
    [
        (6800.0, Unit.OHM, "6.8K", "6.8k", "6.8 kilohms (6800 ohms)"),
        (470.0, Unit.OHM, "470", "470", "470 ohms"),
        (2.2e6, Unit.OHM, "2.2M", "2.2M", "2.2 megohms (2200000 ohms)"),
        (1000.0, Unit.OHM, "1K", "1k", "1 kilohm (1000 ohms)"),
        (1.0, Unit.OHM, "1", "1", "1 ohm"),
        (0.47, Unit.OHM, "0.47", "0.47", "0.47 ohms"),
        (5e-6, Unit.FARAD, "5 uF", "5 uF", "5 microfarads"),
        (47e-6, Unit.FARAD, "47 uF", "47 uF", "47 microfarads"),
        (2000e-6, Unit.FARAD, "2000 uF", "2000 uF", "2000 microfarads"),
        (0.1e-6, Unit.FARAD, "0.1 uF", "0.1 uF", "0.1 microfarads"),
        (4.7e-9, Unit.FARAD, "4.7 nF", "4.7 nF", "4.7 nanofarads (0.0047 microfarads)"),
        (100e-12, Unit.FARAD, "100 pF", "100 pF", "100 picofarads"),
        (22.0, Unit.VOLT, "22 V", "22.0 V", "22 volts"),
        (3.1, Unit.VOLT, "3.1 V", "3.10 V", "3.1 volts"),
        (0.31, Unit.VOLT, "310 mV", "310 mV", "310 millivolts"),
        (-9.0, Unit.VOLT, "-9 V", "-9.00 V", "minus 9 volts"),
        (0.0, Unit.VOLT, "0 V", "0 V", "0 volts"),
        (-0.0, Unit.VOLT, "0 V", "0 V", "0 volts"),
        (1200.0, Unit.VOLT, "1200 V", "1200 V", "1200 volts"),
        (25.4e-6, Unit.AMPERE, "25.4 uA", "25.4 uA", "25.4 microamperes"),
        (1.2e-3, Unit.AMPERE, "1.2 mA", "1.2 mA", "1.2 milliamperes"),
        (10.0, Unit.HENRY, "10 H", "10 H", "10 henries"),
        (1e3, Unit.HERTZ, "1 kHz", "1 kHz", "1 kilohertz"),
        (25.0, Unit.CELSIUS, "25 C", "25 C", "25 degrees Celsius"),
        (75e-6, Unit.SECOND, "75 us", "75 us", "75 microseconds"),
        (0.25, Unit.WATT, "0.25 W", "0.25 W", "0.25 watts"),
        (80.0, Unit.RATIO, "80", "80", "80"),
    ],
)
def test_the_three_ways_of_saying_a_value(
    value: float, unit: Unit, sheet: str, bench: str, aloud: str
) -> None:
    assert value_text(value, unit) == sheet
    assert engineering(value, unit) == bench
    assert spoken(value, unit) == aloud


@pytest.mark.parametrize(
    ("value", "unit", "digits", "text"),
    [
        (3.14159, Unit.VOLT, 3, "3.14 V"),
        (0.9996, Unit.VOLT, 3, "1.00 V"),  # rounds up into the next prefix
        (999.6, Unit.OHM, 3, "1k"),
        (0.65432, Unit.VOLT, 2, "650 mV"),
        (12345.0, Unit.VOLT, 3, "12300 V"),
        (219.7, Unit.VOLT, 3, "220 V"),
        (1.2345e-3, Unit.AMPERE, 4, "1.234 mA"),
        (3e-15, Unit.VOLT, 3, "0 V"),  # a solver's residue is no reading
        (-3e-15, Unit.VOLT, 3, "0 V"),
        (4e-13, Unit.AMPERE, 3, "0 A"),
        (2.5e-4, Unit.VOLT, 3, "250 uV"),
    ],
)
def test_rounding_for_the_bench(value: float, unit: Unit, digits: int, text: str) -> None:
    assert engineering(value, unit, digits) == text


@given(size=st.floats(1e-9, 1e9), unit=st.sampled_from(Unit))
def test_bench_text_is_plain_and_within_half_a_digit(size: float, unit: Unit) -> None:
    text = engineering(size, unit)
    assert text.isascii()
    assert "e" not in text
    if unit is Unit.VOLT and size < 0.5e-6:
        assert text == "0 V"
    else:
        assert parse_value(text, unit) == pytest.approx(size, rel=0.00501)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_is_no_number_is_not_written(value: float) -> None:
    for write in (engineering, value_text, spoken):
        with pytest.raises(ValueError, match="cannot be written"):
            write(value, Unit.VOLT)


@pytest.mark.parametrize("value", [1e-25, 1e19])
def test_what_would_not_read_back_is_not_written(value: float) -> None:
    with pytest.raises(ValueError, match="lies outside"):
        value_text(value, Unit.OHM)
