"""Tolerances, and the capacitance-and-volts pairs printed beside electrolytics."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from biaspredict.quantities import (
    CapacitorReading,
    Tolerance,
    ValueReadError,
    parse_capacitance_and_volts,
    parse_tolerance,
)


@pytest.mark.parametrize(
    ("text", "minus", "plus", "written"),
    [
        ("10%", 0.1, 0.1, "10%"),
        ("10 %", 0.1, 0.1, "10%"),
        ("10 percent", 0.1, 0.1, "10%"),
        ("±5%", 0.05, 0.05, "5%"),
        ("+-5%", 0.05, 0.05, "5%"),
        ("+/-5 %", 0.05, 0.05, "5%"),
        ("2,5%", 0.025, 0.025, "2.5%"),
        ("-10/+50%", 0.1, 0.5, "-10/+50%"),
        ("+50/-10%", 0.1, 0.5, "-10/+50%"),
        ("-10% +50%", 0.1, 0.5, "-10/+50%"),
        ("+80/-20%", 0.2, 0.8, "-20/+80%"),
        ("-0/+100%", 0.0, 1.0, "-0/+100%"),
        # Bands: common practice, no source.
        ("none", 0.2, 0.2, "20%"),
        ("silver", 0.1, 0.1, "10%"),
        ("Gold band", 0.05, 0.05, "5%"),
        # IEC 60062 letters (from memory).
        ("B", 0.001, 0.001, "0.1%"),
        ("C", 0.0025, 0.0025, "0.25%"),
        ("D", 0.005, 0.005, "0.5%"),
        ("F", 0.01, 0.01, "1%"),
        ("G", 0.02, 0.02, "2%"),
        ("J", 0.05, 0.05, "5%"),
        ("K", 0.1, 0.1, "10%"),
        ("M", 0.2, 0.2, "20%"),
        ("N", 0.3, 0.3, "30%"),
        ("Q", 0.1, 0.3, "-10/+30%"),
        ("T", 0.1, 0.5, "-10/+50%"),
        ("S", 0.2, 0.5, "-20/+50%"),
        ("Z", 0.2, 0.8, "-20/+80%"),
    ],
)
def test_tolerances(text: str, minus: float, plus: float, written: str) -> None:
    assert parse_tolerance(text) == Tolerance(minus, plus)
    assert parse_tolerance(text).text() == written


@pytest.mark.parametrize(
    ("text", "near"),
    [
        ("10", "10%"),
        ("k", "K"),
        ("", None),
        ("%", None),
        ("100%", None),
        ("2000%", None),
        ("-10%", None),
        ("+5/+5%", None),
        ("-10/+50", "-10/+50%"),
        ("-10/50%", None),
        ("NaN%", None),
        ("1,000%", None),
        ("9" * 100_000 + "%", None),
    ],
)
def test_tolerances_refused(text: str, near: str | None) -> None:
    with pytest.raises(ValueReadError) as caught:
        parse_tolerance(text)
    assert caught.value.near == near


@given(minus=st.floats(1e-9, 0.999), plus=st.floats(1e-9, 10))
def test_tolerance_text_reads_back_exactly(minus: float, plus: float) -> None:
    for tolerance in (Tolerance(minus, plus), Tolerance(minus, minus), Tolerance(0.0, plus)):
        assert parse_tolerance(tolerance.text()) == tolerance


@pytest.mark.parametrize("sides", [(1.0, 0.1), (-0.1, 0.1), (0.1, 11.0), (float("nan"), 0.1)])
def test_impossible_tolerances(sides: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="no tolerance"):
        Tolerance(*sides)


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("25-25", [(25e-6, 25)]),
        ("10/16", [(10e-6, 16), (16e-6, 10)]),
        ("25 6", [(25e-6, 6), (6e-6, 25)]),
        ("2000/35 WV", [(2000e-6, 35)]),
        ("2000/35", [(2000e-6, 35)]),  # no electrolytic stands 2000 V
        ("35/2000", [(2000e-6, 35)]),
        ("50 MFD 6V", [(50e-6, 6)]),
        ("50 MFD. at 6 V", [(50e-6, 6)]),
        ("50 MFD - 6 V", [(50e-6, 6)]),
        ("6V/50", [(50e-6, 6)]),
        ("6 V 50 MFD", [(50e-6, 6)]),
        ("50 MFD/6", [(50e-6, 6)]),
        ("4u7 16V", [(4.7e-6, 16)]),
        ("0,47/6,3V", [(0.47e-6, 6.3)]),
    ],
)
def test_pairs(text: str, readings: list[tuple[float, float]]) -> None:
    assert parse_capacitance_and_volts(text) == tuple(
        CapacitorReading(pytest.approx(farads, rel=1e-15), volts) for farads, volts in readings
    )


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("50 MFD", "write it like"),
        ("", "is missing"),
        ("-", "write it like"),
        ("8-16 MFD", "two sections"),
        ("8 MFD 16 MFD", "two sections"),
        ("6V/12V", "write it like"),
        ("1,000 MFD 25V", "write 1000 MFD or 1 MFD"),
        ("50 MFD 6V 7", "write it like"),
        ("0/6V", "above zero"),
        ("1/" * 50_000, "longer than"),
    ],
)
def test_pairs_refused(text: str, reason: str) -> None:
    with pytest.raises(ValueReadError, match=reason):
        parse_capacitance_and_volts(text)


@given(text=st.text(alphabet="0123456789., -/@+MFDVuna%t", max_size=12))
def test_any_pair_is_read_or_refused(text: str) -> None:
    try:
        readings = parse_capacitance_and_volts(text)
    except ValueReadError:
        return
    assert len(readings) in (1, 2)
    assert all(reading.farads > 0 and reading.volts > 0 for reading in readings)
