"""Readings that cannot be as written: named, kept, never silently dropped or averaged."""

from __future__ import annotations

import pytest

from biaspredict.errors import InputError
from biaspredict.infer.doubts import Doubt, sorted_out
from biaspredict.infer.ledger import ledger
from biaspredict.model.readings import Readings
from tests.circuits.files import ROOT
from tests.kinds.bench import LINE, LINE_OFF, judged, readings_of, stage_of

PNP = (ROOT / "tests" / "cases" / "germanium-line-stage.stage").read_text("utf-8")
SPEAKER = (ROOT / "tests" / "cases" / "output-capacitor.stage").read_text("utf-8")
SPLIT = """stage "split rails"
rail V+ 15 V
rail V- -15 V
Q1 npn silicon
V+ -- R1 10K -- Q1.collector
Q1.emitter -- R2 10K -- V-
Q1.base -- R3 10K -- ground
"""


def doubted(stage: str, text: str) -> tuple[Readings, tuple[Doubt, ...]]:
    of = stage_of(stage)
    return sorted_out(of, readings_of(text, of))


def codes(stage: str, text: str) -> list[str]:
    return [doubt.finding.code for doubt in doubted(stage, text)[1]]


def test_above_the_rail_is_set_aside_with_its_value() -> None:
    usable, doubts = doubted(LINE, "rail B+ 22.0\nQ1.collector 84.4\nQ1.base 2.6\n")
    (doubt,) = doubts
    assert doubt.finding.code == "beyond-the-rails"
    assert "84.4 V" in doubt.finding.fact
    assert "22.0 V" in doubt.finding.fact
    assert [r.name for r in doubt.aside] == ["Q1.collector"]
    assert [r.name for r in usable.entries] == ["B+", "Q1.base"]


def test_a_little_above_the_rail_is_the_meters_error() -> None:
    assert codes(LINE, "rail B+ 22.0\nQ1.collector 22.3\n") == []


def test_a_high_rail_is_not_beyond_itself() -> None:
    assert codes(LINE, "rail B+ 31\nVA 28\n") == []


@pytest.mark.parametrize(
    ("stage", "text"), [(LINE, "Q1.base -2.63\n"), (PNP, "Q1.base 2.02\n")], ids=["npn", "pnp"]
)
def test_the_wrong_sign_offers_the_right_one(stage: str, text: str) -> None:
    _, doubts = doubted(stage, text)
    assert [d.finding.code for d in doubts] == ["wrong-sign"]
    right = "2.63 V" if stage is LINE else "-2.02 V"
    assert right in doubts[0].finding.remedy


def test_either_sign_is_right_between_two_rails() -> None:
    assert codes(SPLIT, "Q1.base -0.1, Q1.collector 5, Q1.emitter -0.7\n") == []


def test_between_two_points_the_span_is_wider() -> None:
    assert codes(LINE, "Q1.emitter to Q1.collector -6.5\n") == []
    assert codes(LINE, "Q1.emitter to Q1.collector -65\n") == ["wrong-sign"] or codes(
        LINE, "Q1.emitter to Q1.collector -65\n") == ["beyond-the-rails"]


@pytest.mark.parametrize(
    "text", ["Q1.base 6.0, Q1.emitter 2.0\n", "Q1.base to Q1.emitter 4.0\n"],
    ids=["two readings", "one reading"],
)
def test_a_junction_of_four_volts_is_named_and_kept(text: str) -> None:
    usable, doubts = doubted(LINE, text)
    assert [d.finding.code for d in doubts] == ["junction-volts"]
    assert "4.00 V" in doubts[0].finding.fact
    assert not doubts[0].aside
    assert len(usable.entries) == text.count(",") + 1


def test_a_junction_far_the_wrong_way_round() -> None:
    assert codes(LINE, "Q1.base 1.0, Q1.emitter 14\n") == ["junction-volts"]


def test_a_range_too_small_is_taken_as_the_next() -> None:
    usable, doubts = doubted(LINE, "meter 20 kohm/V\nQ1.collector 12.4 range 10 V\n")
    assert [d.finding.code for d in doubts] == ["beyond-the-range"]
    assert usable.entries[0].range_volts == 30.0
    assert not doubts[0].aside


def test_ohms_that_no_meter_shows() -> None:
    assert codes(LINE, "ohms Q1.base 900M!\n") == ["beyond-the-range"]
    assert codes(LINE, "ohms Q1.base over\n") == []
    assert codes(LINE, "meter 20 kohm/V battery 1.5 V mid-scale 20\nohms Q1.base 400M!\n") == [
        "beyond-the-range"]
    assert codes(LINE, "meter 20 kohm/V\ndrop Q1.base to Q1.emitter 0.65\n") == ["no-diode-range"]


def test_two_readings_of_one_node_are_both_kept_and_not_averaged() -> None:
    text = "VA 17.6\nR3.2 8.4, Q1.collector 6.0\nQ1.emitter 1.96\n"
    usable, _ = doubted(LINE, text)
    assert [r.value for r in usable.entries] == [17.6, 8.4, 6.0, 1.96]
    found = ledger(stage_of(LINE), usable)
    assert [(c.first.value, c.second.value) for c in found.clashes] == [(8.4, 6.0)]
    # the current of R3 would need the collector's volts: neither is taken, nor their middle
    assert "R3" not in {current.part for current in found.currents}
    assert "R4" in {current.part for current in found.currents}


def test_two_readings_that_agree_are_one_node_still() -> None:
    usable, _ = doubted(LINE, "VA 17.6\nR3.2 8.44, Q1.collector 8.45\n")
    found = ledger(stage_of(LINE), usable)
    assert found.clashes == ()
    assert "R3" in {current.part for current in found.currents}


def test_a_difference_that_is_not_the_difference() -> None:
    text = "Q1.collector 8.4, Q1.emitter 1.96, Q1.collector to Q1.emitter 3.0\n"
    usable, doubts = doubted(LINE, text)
    assert [d.finding.code for d in doubts] == ["contradiction"]
    assert "6.44 V" in doubts[0].finding.fact
    assert len(usable.entries) == 3


def test_ohms_twice() -> None:
    usable, doubts = doubted(LINE, "ohms Q1.base 38k\nohms Q1.base 52k\n")
    assert [d.finding.code for d in doubts] == ["contradiction"]
    assert len(usable.entries) == 2


def test_what_no_generator_drives() -> None:
    silent = LINE.replace("input  IN from 600\n", "")
    assert codes(LINE, "level OUT 0.2 at 1 kHz\n") == ["no-generator"]
    assert codes(silent, "gain at 1 kHz OUT over IN 20\n") == []  # IN itself is driven then
    assert codes(LINE, "gain OUT over IN 20\n") == ["no-frequency"]
    assert codes(LINE, "ripple B+ 20 mV\n") == ["ripple"]
    drive = "generator 10 mV from 600 at IN\n"
    assert codes(LINE, drive + "level OUT 0.2 at 1 kHz\n") == []


def test_only_the_meter_discharges_the_loudspeaker_terminal() -> None:
    """Bench case 5: 10 Mohm x 1000 uF are 2.8 hours, so 19.6 V after 3 minutes say nothing."""
    usable, doubts = doubted(SPEAKER, "meter 10 MEG\nafter 3 minutes\nMID 20.0\nOUT 19.6\n")
    (doubt,) = doubts
    assert doubt.finding.code == "still-charging"
    assert "2.8 hours" in doubt.finding.fact
    assert "100 ohms" in doubt.finding.remedy
    assert [r.name for r in usable.entries] == ["MID"]


def test_after_a_day_it_has_settled() -> None:
    assert codes(SPEAKER, "meter 10 MEG\nafter 1440! minutes\nOUT 0.0\n") == []


def test_a_node_that_the_stage_lacks_is_named_with_the_near_miss() -> None:
    of = stage_of(LINE)
    with pytest.raises(InputError) as caught:
        readings_of("Q1.colector 8.4\nVA 17.6\nQ1.base 2.6\n", of)
    assert "Q1.collector" in str(caught.value)


def test_a_rail_that_reads_more_ohms_than_the_sheet_says_accuses_nobody() -> None:
    """Nothing across a rail can raise its ohms: 6k where the stage file says 3.3k is the file's
    slip. Less than that may be a leak, and stays evidence."""
    found = judged(LINE_OFF, "ohms B+ 6k\n")
    assert found.sound
    assert [d.finding.code for d in found.doubts] == ["rail-off"]
    assert not found.doubts[0].aside
    assert not any(d.finding.code == "rail-off" for d in judged(LINE_OFF, "ohms B+ 1k\n").doubts)
