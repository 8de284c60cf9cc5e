"""Printed values are read as the trade and IEC 60062 mean them, or refused."""

from __future__ import annotations

import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from biaspredict.quantities import Unit, ValueReadError, parse_value

# IEC 60062, letter in place of the decimal point: the standard's own ladder of examples
# (from memory).
IEC_60062_RESISTANCE = {
    "R10": 0.1, "R332": 0.332, "1R0": 1.0, "3R32": 3.32, "10R": 10.0, "33R2": 33.2,
    "100R": 100.0, "332R": 332.0, "1K0": 1e3, "3K32": 3320.0, "10K": 10e3, "33K2": 33200.0,
    "100K": 100e3, "332K": 332e3, "1M0": 1e6, "3M32": 3.32e6, "10M": 10e6, "33M2": 33.2e6,
    "100M": 100e6, "332M": 332e6, "1G0": 1e9, "3G32": 3.32e9, "10G": 10e9,
}  # fmt: skip
IEC_60062_CAPACITANCE = {
    "p10": 0.1e-12, "p332": 0.332e-12, "1p0": 1e-12, "3p32": 3.32e-12, "10p": 10e-12,
    "33p2": 33.2e-12, "100p": 100e-12, "332p": 332e-12, "1n0": 1e-9, "3n32": 3.32e-9,
    "10n": 10e-9, "33n2": 33.2e-9, "100n": 100e-9, "332n": 332e-9, "1u0": 1e-6,
    "3u32": 3.32e-6, "10u": 10e-6, "33µ2": 33.2e-6, "100μ": 100e-6, "332u": 332e-6,
}  # fmt: skip
# Spellings on sheets of the 1950s to 1970s (common practice, no source).
OLD_SHEETS = [
    (Unit.OHM, {
        "100K": 1e5, "100k": 1e5, "6K8": 6800.0, "4R7": 4.7, "R47": 0.47, "0R1": 0.1,
        "1.5K": 1500.0, "1,5K": 1500.0, "470": 470.0, ".47": 0.47, ",47": 0.47, "2M2": 2.2e6,
        "2.2M": 2.2e6, "2.2 MEG": 2.2e6, "1MEG": 1e6, "470R": 470.0, "470 ohms": 470.0,
        "470 Ω": 470.0, "10 kohm": 1e4, "10 kΩ": 1e4, "2.2 megohms": 2.2e6, "1 Mohm": 1e6,
        "22 mohm": 0.022, "22 milliohm": 0.022, "0": 0.0, "0,047": 0.047, "\u00a010K ": 1e4,
    }),
    (Unit.FARAD, {
        "5 MFD": 5e-6, "5MF": 5e-6, "5 mF": 5e-6, "5 mfd": 5e-6, "5 mfd.": 5e-6,
        "5 m.f.d.": 5e-6, "5 uF": 5e-6, "5 µF": 5e-6, "5 μF": 5e-6, "5u": 5e-6,
        "4u7": 4.7e-6, "4u7F": 4.7e-6, "4n7": 4.7e-9, "n47": 0.47e-9, "47n": 47e-9,
        "100 PF": 1e-10, "100 MMF": 1e-10, "100 MMFD": 1e-10, "100 uuF": 1e-10,
        "100 µµF": 1e-10, "p47": 0.47e-12, ".05 MFD": 0.05e-6, "0,05 uF": 0.05e-6,
    }),
    (Unit.HENRY, {"10 H": 10.0, "10 HY": 10.0, "4.7 mH": 4.7e-3, "4.7 MH": 4.7e-3, "33 uH": 33e-6}),
    (Unit.VOLT, {
        "22 V": 22.0, "6V": 6.0, "310m": 0.31, "310 mV": 0.31, "310 MV": 0.31, "15 WV": 15.0,
        "15 VDC": 15.0, "15 V.D.C.": 15.0, "0,32": 0.32, "5V6": 5.6, "-9": -9.0, "−9 V": -9.0,
        "+12": 12.0, "1.000": 1.0,
    }),
    (Unit.AMPERE, {"5 uA": 5e-6, "1 mA": 1e-3, "1 MA": 1e-3, "0.5 A": 0.5, "10 nA": 1e-8}),
    (Unit.HERTZ, {"50": 50.0, "50 c/s": 50.0, "20 kHz": 2e4, "455 kc": 455e3, "10.7 MHz": 10.7e6}),
    (Unit.CELSIUS, {"25": 25.0, "25 °C": 25.0, "-5 C": -5.0}),
    (Unit.SECOND, {"75 us": 75e-6, "3180 µs": 3180e-6, "2 s": 2.0}),
    (Unit.WATT, {"1/2 W": 0.5, "1/4W": 0.25, "0.5": 0.5, "100 mW": 0.1, "2 watts": 2.0}),
    (Unit.RATIO, {"80": 80.0, "5%": 0.05, "0,5": 0.5}),
]  # fmt: skip


@pytest.mark.parametrize(("text", "ohms"), IEC_60062_RESISTANCE.items())
def test_iec_60062_resistance(text: str, ohms: float) -> None:
    assert parse_value(text, Unit.OHM) == ohms


@pytest.mark.parametrize(("text", "farads"), IEC_60062_CAPACITANCE.items())
def test_iec_60062_capacitance(text: str, farads: float) -> None:
    assert parse_value(text, Unit.FARAD) == pytest.approx(farads, rel=1e-15)


@pytest.mark.parametrize(
    ("unit", "text", "value"),
    [(unit, text, value) for unit, rows in OLD_SHEETS for text, value in rows.items()],
)
def test_old_sheets(unit: Unit, text: str, value: float) -> None:
    # Two ulp: the literal 47e-9 and the product of a literal may differ by rounding.
    assert parse_value(text, unit) == pytest.approx(value, rel=5e-16)


def test_known_traps_of_general_readers() -> None:
    # General engineering-notation readers are known to take 4k7 for 4 and 2R2 for 2e27; IEC 60062
    # (from memory) says:
    assert parse_value("4k7", Unit.OHM) == 4700.0
    assert parse_value("2R2", Unit.OHM) == 2.2
    assert parse_value("1M", Unit.OHM) == 1e6


def test_bare_capacitance_takes_the_unit_it_is_given() -> None:
    # Exactly the float of the printed decimal: 5 * 1e-6 would come out one ulp low.
    assert parse_value("5", Unit.FARAD, bare=1e-6) == 5e-6
    assert parse_value("47", Unit.FARAD, bare=1e-12) == 47e-12
    assert parse_value("5 nF", Unit.FARAD, bare=1e-6) == 5e-9


@pytest.mark.parametrize(
    ("unit", "text", "reason", "near"),
    [
        (Unit.OHM, "4m7", "write 4M7 for meg or 4.7 mohm for milli", "4M7"),
        (Unit.OHM, "10m", "write 10M for meg or 10 mohm for milli", "10M"),
        (Unit.OHM, "1,000", "write 1000 or 1", "1000"),
        (Unit.OHM, "4,700K", "write 4700K or 4.7K", "4700K"),
        (Unit.OHM, "1,000Q", "write 1000Q or 1Q", None),
        (Unit.VOLT, "-1,000 V", "write -1000V or -1V", "-1000V"),
        (Unit.OHM, "1.000.000", "one decimal point at most", None),
        (Unit.OHM, "1,000,000", "one decimal point at most", None),
        (Unit.OHM, "1,234.5", "one decimal point at most", None),
        (Unit.OHM, "4E7", "write 4R7 for a point", "4R7"),
        (Unit.OHM, "1e400", "powers of ten", None),
        (Unit.OHM, "1.5e3", "powers of ten", None),
        (Unit.OHM, "-5", "cannot be negative", "5"),
        (Unit.OHM, "-0", "cannot be negative", "0"),
        (Unit.OHM, "1O0K", "write it like", "100K"),
        (Unit.OHM, "l00K", "write it like", "100K"),
        (Unit.OHM, "10 kohn", "write it like", "10 kohm"),
        (Unit.OHM, "\uff14\uff17\uff10", "write it like", "470"),
        (Unit.OHM, "\u0661\u0662", "write it like", "12"),
        (Unit.OHM, "", "is missing", None),
        (Unit.OHM, " \t ", "is missing", None),
        (Unit.OHM, "nan", "write it like", None),
        (Unit.OHM, "inf", "write it like", None),
        (Unit.OHM, "4 7K", "write it like", None),
        (Unit.OHM, "4K7K", "write it like", None),
        (Unit.OHM, "4.7K5", "write it like", None),
        (Unit.OHM, "5,", "may not end in a comma", None),
        (Unit.OHM, ".", "a mark alone", None),
        (Unit.OHM, "5 MFD", "write it like", None),
        (Unit.OHM, "9" * 40, "no value so large", None),
        (Unit.OHM, "0." + "0" * 40 + "1", "no value so small", None),
        (Unit.OHM, "4\x0070", "write it like", None),
        (Unit.FARAD, "5", "the unit is missing; write 5 MFD or 5 pF", None),
        (Unit.FARAD, "5 M", "M may be a tolerance", "5 MFD"),
        (Unit.FARAD, ".05 K", "K may be a tolerance", None),
        (Unit.FARAD, "4M7", "write 4u7 for microfarads", "4u7"),
        # A million times apart: the swap must not be taken for MMF.
        (Unit.FARAD, "5 MDF", "write it like", "5 MFD"),
        (Unit.FARAD, "-5 uF", "cannot be negative", "5 uF"),
        (Unit.HENRY, "-1 H", "cannot be negative", "1 H"),
        (Unit.HENRY, "10", "the unit is missing", None),
        (Unit.VOLT, "22 volst", "write it like", "22 volts"),
        (Unit.VOLT, "6.3 VAC", "alternating", "6.3 V"),
        (Unit.VOLT, "V6", "write it like", None),
        (Unit.HERTZ, "10 mhz", "write it like", "10 MHz"),
        (Unit.CELSIUS, "-300", "colder", None),
        (Unit.CELSIUS, "77 F", "convert it from Fahrenheit", None),
        (Unit.WATT, "1/0", "divided by 0", None),
    ],
)
def test_refusals(unit: Unit, text: str, reason: str, near: str | None) -> None:
    with pytest.raises(ValueReadError) as caught:
        parse_value(text, unit)
    assert reason in str(caught.value)
    assert caught.value.near == near


def test_a_hundred_thousand_characters_are_refused_at_once() -> None:
    started = time.perf_counter()
    for text in ("9" * 100_000, "1," * 50_000, "M" * 100_000, " " * 100_000, "1e" * 50_000):
        with pytest.raises(ValueReadError, match="longer than 64 characters") as caught:
            parse_value(text, Unit.FARAD)
        assert len(str(caught.value)) < 120
    assert time.perf_counter() - started < 0.5


@given(text=st.text(max_size=70), unit=st.sampled_from(Unit))
def test_any_text_is_read_or_refused(text: str, unit: Unit) -> None:
    check_read_or_refused(text, unit)


@given(text=st.text(alphabet="0123456789.,-+/ eErRkKmMuUpPnNfFdDvVwW%gG", max_size=9),
       unit=st.sampled_from(Unit))  # fmt: skip
def test_any_almost_value_is_read_or_refused(text: str, unit: Unit) -> None:
    check_read_or_refused(text, unit)


def check_read_or_refused(text: str, unit: Unit) -> None:
    try:
        value = parse_value(text, unit)
    except ValueReadError as problem:
        refused, near = str(problem), problem.near
    else:
        assert value == 0 or 1e-24 <= abs(value) <= 1e18
        assert value >= 0 or unit in (Unit.VOLT, Unit.AMPERE, Unit.CELSIUS, Unit.RATIO)
        return
    assert refused.isprintable()
    if near is not None:
        parse_value(near, unit)  # what is offered must itself read


@given(whole=st.integers(1, 999), part=st.integers(0, 99), letter=st.sampled_from("RKM"))
def test_point_comma_and_letter_agree(whole: int, part: int, letter: str) -> None:
    inside = parse_value(f"{whole}{letter}{part:02d}", Unit.OHM)
    assert inside == parse_value(f"{whole}.{part:02d}{letter}", Unit.OHM)
    assert inside == parse_value(f"{whole},{part:02d} {letter}", Unit.OHM)
