"""What a readings file and a line at the bench say, and what they cannot mean."""

from __future__ import annotations

from datetime import date

import pytest

from biaspredict.errors import InputError, Mistakes
from biaspredict.model.readings import Quantity, Reading, Readings
from biaspredict.model.stage import Meter, Stage
from biaspredict.notation import parse_entry, read_readings, read_stage

STAGE = read_stage(
    """
stage "line amplifier, channel A"
rail B+ 22 V
Q1 npn
P1 pot 5K
B+ -- R1 100K -- Q1.base -- R2 22K -- ground
B+ -- R3 6K8 -- Q1.collector
Q1.emitter -- R4 1.5K -- ground
Q1.emitter -- +C2 50 MFD 6V -- ground
IN -- C1 100 nF -- Q1.base
Q1.collector -- C3 100 nF -- P1.top
P1.wiper -- OUT
P1.bottom -- ground
wire yellow = Q1.emitter
test point 3 = Q1.collector
"""
)


def read(*lines: str, stage: Stage = STAGE) -> Readings:
    return read_readings("\n".join(['readings "x"', *lines]), "x.readings", stage)


def one(line: str) -> Reading:
    (entry,) = read(line).entries
    assert parse_entry(line, STAGE) == entry
    return entry


def mistakes(*lines: str) -> tuple[InputError, ...]:
    with pytest.raises(Mistakes) as caught:
        read(*lines)
    return caught.value.mistakes


@pytest.mark.parametrize(
    ("line", "name", "node", "value"),
    [
        ("Q1.base 1.90", "Q1.base", "Q1.base", 1.9),
        ("Q1.base 1,90", "Q1.base", "Q1.base", 1.9),
        ("q1.B 310m", "Q1.base", "Q1.base", 0.31),
        ("rail B+ 22.4", "B+", "B+", 22.4),
        ("B+ 22.4 V", "B+", "B+", 22.4),
        ("volts B+ 22.4", "B+", "B+", 22.4),
        ("yellow -1.2", "wire yellow", "Q1.emitter", -1.2),
        ("test point 3 9", "TP3", "TP3", 9.0),
        ("TP3 9", "TP3", "TP3", 9.0),
        ("Q1.collector 9", "Q1.collector", "TP3", 9.0),
        ("R2/R1 9", "R1/R2", "Q1.base", 9.0),
        ("C2.plus 0", "C2.plus", "Q1.emitter", 0.0),
        ("OUT 160 V!", "OUT", "OUT", 160.0),
    ],
)
def test_volts_to_ground(line: str, name: str, node: str, value: float) -> None:
    entry = one(line)
    assert (entry.name, entry.node, entry.value) == (name, node, value)
    assert (entry.quantity, entry.minus, entry.about) == (Quantity.VOLTS, None, False)


def test_between_two_nodes() -> None:
    entry = one("Q1.base to Q1.emitter 0.62")
    assert (entry.node, entry.minus_name, entry.minus) == ("Q1.base", "Q1.emitter", "Q1.emitter")
    across = one("across R3 8.9")
    assert (across.name, across.node) == ("R3.1", "B+")
    assert (across.minus_name, across.minus) == ("R3.2", "TP3")
    assert one("ohms across C2 1.5K").node == "Q1.emitter"


@pytest.mark.parametrize("line", ["Q1.collector about 20.9", "Q1.collector ~20.9"])
def test_about(line: str) -> None:
    assert one(line).about


@pytest.mark.parametrize(
    ("line", "quantity", "value", "over"),
    [
        ("ohms Q1.base 42.4k", Quantity.OHMS, 42.4e3, False),
        ("ohms Q1.base to ground over", Quantity.OHMS, 10e6, True),
        ("ohms Q1.base over meter 20 kohm/V", Quantity.OHMS, 1e6, True),
        ("ohms Q1.base over 20M", Quantity.OHMS, 20e6, True),
        ("drop Q1.base to Q1.emitter 0.655", Quantity.DROP, 0.655, False),
        ("drop Q1.base to Q1.emitter over", Quantity.DROP, 1.5, True),
        ("gain OUT over IN 12", Quantity.GAIN, 12.0, False),
        ("gain at 1 kHz OUT over IN 12", Quantity.GAIN, 12.0, False),
        ("gain OUT over IN 20 dB", Quantity.GAIN, 10.0, False),
        ("gain OUT over IN -20dB at 1 kHz", Quantity.GAIN, 0.1, False),
        ("level OUT 310 mV rms at 1 kHz", Quantity.LEVEL, 0.31, False),
        ("ripple B+ 20 mV pp", Quantity.RIPPLE, 0.02, False),
    ],
)
def test_other_quantities(line: str, quantity: Quantity, value: float, over: bool) -> None:
    entry = one(line)
    assert (entry.quantity, entry.over) == (quantity, over)
    assert entry.value == pytest.approx(value)
    assert entry.hertz == (1000.0 if "kHz" in line else None)


def test_conditions_of_one_reading() -> None:
    entry = one(
        'Q1.base 4.1 range 10 V line 121 V temperature 31 C after 90 s meter 20 kohm/V 3% "warm" '
    )
    assert (entry.range_volts, entry.line_volts, entry.celsius) == (10, 121, 31)
    assert entry.minutes == 1.5
    assert entry.remark == "warm"
    assert entry.meter is not None
    assert (entry.meter.ohms_per_volt, entry.meter.accuracy) == (20e3, 0.03)
    assert one("Q1.base 4.1 drifting slowly").remark == "drifting slowly"


def test_a_whole_file() -> None:
    book = read_readings(
        'readings "channel A" 2026-11-20\nfor "Line Amplifier,  channel A"\n'
        "meter 10 MEG 1% + 3 digits\nline 121 V\ntemperature 31 C\nafter 20 min\n"
        "generator 10 mV from 600 at IN\n"
        "Q1.base 1,9, Q1.base 2,1,Q1.emitter 1,3\nskip OUT, q1.c",
        "a.readings",
        STAGE,
    )
    assert (book.title, book.day) == ("channel A", date(2026, 11, 20))
    given = frozenset({"ohms", "accuracy", "digits"})
    assert book.meter == Meter(ohms=10e6, accuracy=0.01, digits=3, given=given)
    assert (book.line_volts, book.celsius, book.minutes) == (121, 31, 20)
    assert book.drive == (0.01, 600, "IN")
    assert [e.value for e in book.entries] == [1.9, 2.1, 1.3]
    assert [e.name for e in book.entries] == ["Q1.base", "Q1.base", "Q1.emitter"]
    assert book.skipped == ("OUT", "Q1.collector")


# (line, fact, part of the remedy); [[ ]] around what the caret marks
SLIPS = [
    ("[[Q1.bse]] 3", "Q1 has no leg 'bse'", "Did you mean Q1.base?"),
    ("[[OTU]] 3", "no node is called 'OTU'", "Did you mean OUT?"),
    ("[[R1]] 3", "no node is called 'R1'", "across R1"),
    ("across [[R9]] 3", "no part is called R9", "across R3"),
    ("[[across P1 3]]", "P1 has three legs", "`to` between"),
    ("[[Q1.base]]", "the figure of Q1.base is missing", "Q1.base 3.1"),
    ("[[Q1.base to R1/R2 3]]", "Q1.base and R1/R2 are one node", "two nodes"),
    ("Q1.base 3 [[4]]", "two figures for one reading", "comma"),
    ("Q1.base 3 [[Q1.emitter]] 4", "a comma is missing before Q1.emitter", "comma"),
    ("Q1.base [[3 ohms]]", "'3 ohms' is not a voltage", ""),
    ("Q1.base [[3 kV]]", "3 kV is not possible for volts", "1000 V"),
    ("Q1.base [[310]]", "310 is unusual for volts", "310!"),
    ("Q1.base 3 [[1%]]", "'1%' does not belong here", "written like"),
    ("Q1.base 3 [[about]] 4", "'about' does not fit here", "before the figure"),
    ("Q1.base 3 [[at 1 kHz]]", "direct volts and ohms have no frequency", "level"),
    ("Q1.base 3 range 10 V [[range 3 V]]", "this is said twice", "Keep one"),
    ("[[Q1.base over]]", "'over' belongs to ohms and drop", "skip"),
    ("ripple B+ 20 mV [[rms]]", "'rms' does not fit here", "peak to peak"),
    ("ohms Q1.base [[-5]]", "'-5' is not a resistance", "5"),
    ("line 121 V\n[[line 122 V]]", "this is said twice", "behind the reading"),
    ("meter 1 MEG\n[[meter 2 MEG]]", "a second meter", "Q1.base 3.1 meter"),
    ("meter [[0.1 ohms]]", "0.1 ohms is not possible for the ohms of a meter", ""),
    ("line [[5 kV]]", "5 kV is not possible for line volts", "500 V"),
    ("temperature 31 C [[wet]]", "'wet' does not belong here", "line 121 V"),
    ("after [[20 V]]", "'20 V' is not a time", ""),
    ("[[generator 10 mV from 600]]", "a generator is given by volts, ohms", "at IN"),
    ("generator 10 mV at [[Q9.base]]", "no node is called 'Q9.base'", "Q1.base?"),
    ("skip [[Q9.base]]", "no node is called 'Q9.base'", "Q1.base?"),
    ('[[readings "y"]]', "a second set of readings", "a file of its own"),
    ("gain OUT over IN [[999999 dB]]", "999999 dB is not possible for a gain", ""),
]


@pytest.mark.parametrize(("marked", "fact", "remedy"), SLIPS, ids=[slip[0][:40] for slip in SLIPS])
def test_mistake(marked: str, fact: str, remedy: str) -> None:
    before, _, rest = marked.partition("[[")
    inside, _, _ = rest.partition("]]")
    found = mistakes(*marked.replace("[[", "").replace("]]", "").split("\n"))
    assert len(found) == 1, [str(m) for m in found]
    assert found[0].fact.startswith(fact)
    assert remedy in found[0].remedy
    place = found[0].place
    assert place is not None
    assert place.line == 2 + before.count("\n")
    assert place.text[place.column - 1 : place.end_column - 1] == inside


@pytest.mark.parametrize("day", ["2026-13-40", "2026-02-30", "0000-01-01"])
def test_a_day_that_is_none(day: str) -> None:
    with pytest.raises(Mistakes, match=f"{day} is no day"):
        read_readings(f'readings "x" {day}', "x", STAGE)


def test_all_mistakes_come_together() -> None:
    found = mistakes("Q1.base 3 4", "Q1.emitter (3)", "line 5 kV", "B+ 22", "Q1.bse 3")
    assert [m.place.line for m in found if m.place] == [2, 3, 4, 6]


def test_readings_of_another_stage_get_one_message() -> None:
    found = mistakes(*(f"Q{n}.base 3" for n in range(5, 30)), "Q1.base 3")
    assert len(found) == 1
    assert found[0].fact == '25 of 26 names are not in the stage "line amplifier, channel A"'
    assert "another stage" in found[0].remedy
    # Two unknown names among few are slips of their own.
    assert len(mistakes("Q8.base 3", "Q9.base 3", "Q1.base 2")) == 2


def test_readings_that_name_another_stage_get_one_message() -> None:
    found = mistakes('for "power amplifier"', "Q8.base 3", "Q9.base (")
    assert len(found) == 1
    assert found[0].fact == (
        'these readings are for "power amplifier", and the stage is "line amplifier, channel A"'
    )


@pytest.mark.parametrize(
    ("text", "fact"),
    [
        ("", "the file says nothing"),
        ('stage "x"\nA -- R1 1K -- B', "this is a stage, not readings"),
        ("Q1.base 3", "the file does not begin with the title of the readings"),
    ],
)
def test_what_is_no_file_of_readings(text: str, fact: str) -> None:
    with pytest.raises(Mistakes) as caught:
        read_readings(text, "x.readings", STAGE)
    assert [m.fact for m in caught.value.mistakes] == [fact]


@pytest.mark.parametrize(
    "text",
    ["", "  # nothing", "Q1.base 3, Q1.emitter 2", "skip Q1.base", "line 121 V", "Q1.base 3\nB+ 4",
     "Q9.base 3", "Q1.base", "(", "\x1b[31m", "Q1.base 3 4", 'for "x"', "R1 3"],
)  # fmt: skip
def test_a_line_at_the_bench_that_is_no_reading(text: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_entry(text, STAGE)
    assert caught.value.fact
