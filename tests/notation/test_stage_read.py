"""What a stage file says arrives in the records. Spellings as sheets print them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from biaspredict.model.devices import (
    Bipolar,
    Diode,
    Fet,
    Lamp,
    Material,
    Polarity,
    Range,
    Size,
    Thermistor,
    Zener,
    generic_bipolar,
)
from biaspredict.model.parts import Kind, Part
from biaspredict.model.stage import Chart, Meter, Pin, Port, Rail, Stage, Twin
from biaspredict.notation import read_stage
from biaspredict.quantities import Tolerance


def read(*lines: str) -> Stage:
    return read_stage("\n".join(['stage "x"', *lines]), "x.stage")


def part(words: str, *before: str) -> Part:
    """The part that these words describe, in a path from A to B."""
    stage = read(*before, f"A -- {words} -- B", "A -- R99 1K -- B")
    return stage.parts[0]


@pytest.mark.parametrize(
    ("words", "ohms"),
    [
        ("R1 470", 470.0),
        ("R1 4R7", 4.7),
        ("R1 R47", 0.47),
        ("R1 6K8", 6800.0),
        ("R1 2.2M", 2.2e6),
        ("R1 2,2 MEG", 2.2e6),
        ("R1 10 kohm", 10e3),
        ("R1 .47", 0.47),
        ("R1 1.5K carbon 1/2 W", 1500.0),
        ("R1 1/2 W 1.5K", 1500.0),
        ("R1 68M!", 68e6),
        ("R1 link", 0.0),
        ("R1 220 ohms", 220.0),
        ("R1 220 \u03a9", 220.0),
    ],
)
def test_resistors(words: str, ohms: float) -> None:
    assert part(words).printed == ohms
    assert part(words).kind is Kind.RESISTOR


@pytest.mark.parametrize(
    ("words", "farads", "volts"),
    [
        ("+C1 50 MFD 6V", 50e-6, 6.0),
        ("+C1 50MFD 6V", 50e-6, 6.0),
        ("+C1 15 WV 5 uF", 5e-6, 15.0),
        ("+C1 2000/35 WV", 2000e-6, 35.0),
        ("+C1 25-25", 25e-6, 25.0),
        ("C1 100 MMF", 100e-12, None),
        ("C1 4n7", 4.7e-9, None),
        ("C1 0,047 uF 400 V paper", 47e-9, 400.0),
        ("C1 22 uF non-polar", 22e-6, None),
        ("C1 5 uF!", 5e-6, None),
    ],
)
def test_capacitors(words: str, farads: float, volts: float | None) -> None:
    found = part(words)
    assert found.printed == pytest.approx(farads, rel=1e-12)
    assert found.volts == volts
    assert found.kind is (Kind.ELECTROLYTIC if "+" in words else Kind.CAPACITOR)


def test_a_bare_capacitor_follows_the_note_of_the_sheet() -> None:
    found = part("C1 .047 fitted .1", "assume bare capacitors in MFD")
    assert (found.printed, found.fitted) == (47e-9, 100e-9)
    assert part("C1 100", "assume bare capacitors in MMF").printed == pytest.approx(100e-12)


@pytest.mark.parametrize(
    ("words", "nodes"),
    [
        ("+C1 50 MFD", ("A", "B")),
        ("C1+ 50 MFD", ("B", "A")),
        ("C1 + 50 MFD", ("B", "A")),
        ("C1 1 uF film", ("A", "B")),
        ("D1>", ("A", "B")),
        ("<D1", ("B", "A")),
        ("D1> germanium", ("A", "B")),
        ("<D1 silicon power", ("B", "A")),
        ("Z1> 12 V", ("A", "B")),
        ("R1 1K", ("A", "B")),
    ],
)
def test_marks_turn_parts(words: str, nodes: tuple[str, str]) -> None:
    """Plus and anode are the first terminals; the arrow points from anode to cathode."""
    assert part(words).nodes == nodes


def test_marks_count_where_the_part_stands_however_it_is_described() -> None:
    stage = read("C1 50 MFD 6V tantalum", "D1 germanium", "A -- C1+ -- B", "A -- <D1 -- B")
    assert [(p.kind, p.nodes) for p in stage.parts] == [
        (Kind.ELECTROLYTIC, ("B", "A")),
        (Kind.DIODE, ("B", "A")),
    ]


def test_printed_fitted_measured_and_one_can() -> None:
    found = part("R1 100K 5% fitted 120K measured 131K")
    assert (found.printed, found.fitted, found.measured) == (100e3, 120e3, 131e3)
    assert found.tolerance == Tolerance(0.05, 0.05)
    assert found.now == 131e3
    assert part("+C4A 40 MFD 25V can C4").can == "C4"
    assert part("R1 100K silver").tolerance == Tolerance(0.1, 0.1)
    assert part("R1 100K no band").tolerance == Tolerance(0.2, 0.2)
    assert part("+C1 5 MFD -10/+50%").tolerance == Tolerance(0.1, 0.5)


def test_other_kinds() -> None:
    assert part("L1 10 mH 120 ohms").ohms == 120
    assert part("L1 10 mH 120 ohms").printed == 10e-3
    winding = part("T1A 20 V 50 Hz 3 ohms")
    assert (winding.volts, winding.hertz, winding.ohms) == (20, 50, 3)
    assert part("LA1 6.3 V 150 mA").device == Lamp(6.3, 0.15)
    assert part("F1 500 mA 0.3 ohms").amps == 0.5
    assert part("F1 500 mA 0.3 ohms").printed == 0.3
    assert part("S1 open").closed is False
    assert part("S1 closed").closed is True
    assert part("J3 socket").kind is Kind.CONTACT
    thermistor = part("TH1 4.7K beta 3400")
    assert (thermistor.printed, thermistor.device) == (4700, Thermistor(3400))
    assert part("driver resistor 1K").ref == "driver"


def test_regulation_gives_open_volts_and_ohms() -> None:
    """Regulation is the rise without load over the volts under load (textbook definition).

    18 V under 0.5 A with 15 %: 18 * 1.15 = 20.7 V open; 2.7 V over 0.5 A is 5.4 ohms.
    """
    winding = part("T1A winding 18 V at 500 mA regulation 15% 50 Hz")
    assert winding.volts == pytest.approx(20.7)
    assert winding.ohms == pytest.approx(5.4)
    assert winding.hertz == 50


@pytest.mark.parametrize(
    ("words", "turn"),
    [("at 0.5", 0.5), ("at 50%", 0.5), ("at top", 1.0), ("at bottom", 0.0), ("at middle", 0.5),
     ("at unknown", None), ("", None), ("log at 0,25", 0.25)],
)  # fmt: skip
def test_pots(words: str, turn: float | None) -> None:
    stage = read(
        f"P1 pot 50K {words}", "A -- P1.top", "P1.wiper -- R1 1K -- P1.b", "P1.b -- ground"
    )
    assert stage.parts[0].turn == turn
    assert stage.parts[0].nodes == ("A", "P1.wiper", "ground")
    assert stage.parts[0].printed == 50e3


def test_transistors_keep_what_the_sheet_says() -> None:
    stage = read(
        "Q1 unknown small silicon npn",
        "Q2 pnp germanium gain 80 vbe 0.2 at 2 mA icbo 5 uA early 40 V reverse gain 8",
        "Q3 n-channel idss 2..12 mA pinch-off -1..-5 V",
        "Q4 power npn early none",
        "A -- Q1.b -- Q2.base -- Q3.g -- Q4.base",
    )
    q1, q2, q3, q4 = (one.device for one in stage.parts)
    generic = generic_bipolar(Polarity.NPN)
    assert q1 == replace(generic, given=frozenset({"material", "size"}))
    assert isinstance(q2, Bipolar)
    assert (q2.polarity, q2.material, q2.size) == (Polarity.PNP, Material.GERMANIUM, Size.SMALL)
    assert (q2.gain, q2.vbe, q2.vbe_amps, q2.icbo) == (Range(80, 80), 0.2, 2e-3, 5e-6)
    assert (q2.early, q2.reverse_gain) == (40, 8)
    assert q2.given == {"material", "gain", "vbe", "vbe_amps", "icbo", "early", "reverse_gain"}
    assert isinstance(q3, Fet)
    assert (q3.idss, q3.pinch_off) == (Range(2e-3, 12e-3), Range(1, 5))
    assert isinstance(q4, Bipolar)
    assert (q4.size, q4.early) == (Size.POWER, None)


def test_diodes_keep_what_the_sheet_says() -> None:
    diode = part("D1> germanium drop 0.3 at 5 mA junctions 2").device
    assert isinstance(diode, Diode)
    assert (diode.drop, diode.drop_amps, diode.junctions) == (0.3, 5e-3, 2)
    assert diode.given == {"material", "drop", "drop_amps", "junctions"}
    zener = part("Z1> 12 V at 20 mA slope 7 ohms").device
    assert zener == Zener(12, 20e-3, 7, frozenset({"volts", "amps", "ohms"}))
    assert part("D1> zener 5,1 V").kind is Kind.ZENER


def test_outside_the_parts() -> None:
    stage = read(
        "rail B+ 22 V 5% via 470 off 1.2K",
        "rail -12V -12 V",
        "B+ -- R1 1K -- U1.5",
        "-12V -- R2 1K -- U1.7",
        "pin U1.5 holds 3.2 V via 10K",
        "pin U1.7 gives 2 mA",
        "input U1.5 from 600 blocked",
        "output R2.2 into 8",
    )
    assert stage.rails == (
        Rail("B+", 22, Tolerance(0.05, 0.05), 470, 1200),
        Rail("-12V", -12),
    )
    assert stage.pins == (
        Pin("U1.5", "U1.5", 3.2, 10e3),
        Pin("U1.7", "U1.7", amps=-2e-3),
    )
    assert stage.inputs == (Port("U1.5", 600, True),)
    assert stage.outputs == (Port("U1.7", 8),)
    assert stage.nodes == ("ground", "B+", "-12V", "U1.5", "U1.7")


def test_charts() -> None:
    stage = read(
        "A -- R1 1K -- B -- R2 1K -- ground",
        "chart volts 20% meter 20 kohm/V range 10 V line 117 V",
        "  A 3,1, B 2,5,",
        "",
        "  A to B about -0.6   # behind an empty line",
        "chart ohms",
        "\tB 15K,R1.2 over",
    )
    volts, ohms = stage.charts
    assert [(e.name, e.node, e.value) for e in volts.entries] == [
        ("A", "A", 3.1),
        ("B", "B", 2.5),
        ("A", "A", -0.6),
    ]
    assert (volts.entries[2].minus, volts.entries[2].about) == ("B", True)
    assert volts.line_volts == 117
    assert volts.meter.input_ohms(3.0) == 200e3
    assert volts.meter.given == {"ohms_per_volt", "range_volts"}
    assert [(e.name, e.node, e.value) for e in ohms.entries] == [
        ("B", "B", 15e3),
        ("R1.2", "B", float("inf")),
    ]
    assert ohms.tolerance == Chart("ohms", ()).tolerance
    assert ohms.meter == Meter(ohms=11e6, accuracy=0.03, digits=0)


def test_assumptions_and_twins() -> None:
    stage = read(
        "assume resistor 5%, electrolytics -20/+80%, temperature 31 C",
        "assume age 50 years",
        "Q101 npn",
        "A -- R101 1K -- Q101.base",
        "other channel offset 100",
        "other channel R101 = R205",
    )
    assumed = stage.assumptions
    assert (assumed.resistors, assumed.temperature) == (Tolerance(0.05, 0.05), 31)
    assert assumed.electrolytics == Tolerance(0.2, 0.8)
    assert assumed.given == {"resistors", "electrolytics", "temperature", "age_years"}
    assert set(stage.twins) == {Twin("R101", "R205"), Twin("Q101", "Q201")}


def test_layout_is_free() -> None:
    """Tabs, CRLF, a byte order mark, dashes as editors make them, lines cut anywhere at --."""
    plain = read("B+ -- R1 1K -- Q1.base -- R2 2K -- ground", "Q1 npn")
    text = (
        "\ufeffSTAGE \u201cx\u201d\r\nB+ \u2014 R1\t1K --   # first half\r\n"
        "# a comment between\r\n   -- q1.Base\r\n-- R2 2K -- GND\r\n\r\nQ1 NPN\r\n"
    )
    assert read_stage(text, "y.stage") == plain


def test_comments_and_quotes() -> None:
    stage = read('note "R7 #3, ""hard"" to read" # really', "A -- R1 1K -- B # -- R2")
    assert stage.notes == ('R7 #3, "hard" to read',)
    assert len(stage.parts) == 1


def test_places_point_into_the_source() -> None:
    stage = read("A --  R1 1K  --   # cut here", "   -- R2 2K -- B")
    first, second = (one.origin for one in stage.parts)
    assert first is not None
    assert second is not None
    assert (first.line, first.column, first.end_column) == (2, 7, 12)
    assert (second.line, second.column, second.end_column) == (3, 7, 12)
    assert second.text == "   -- R2 2K -- B"
