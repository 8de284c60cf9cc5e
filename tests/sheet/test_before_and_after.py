"""The record of a repair: what was read, what was promised, what came."""

from __future__ import annotations

from pathlib import Path

import pytest

from biaspredict.model.circuit import Variation
from biaspredict.notation.load import load_readings
from biaspredict.quantities import Unit, parse_value
from tests.circuits.files import ENGINES, load, metered
from tests.circuits.test_demo import SPECIMEN
from tests.sheet.made import PREAMP, READINGS, SMALL, Made, made, written

STAGE = load(PREAMP)
READ = load_readings(READINGS, STAGE)
@pytest.fixture(scope="module")
def repaired(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """The demo's specimen, read again by ngspice once its C2 no longer leaks."""
    points = [(e.node, e.minus, READ.meter.ohms) for e in READ.entries]
    shown = metered(STAGE, ENGINES["ngspice"], points, SPECIMEN.plus(Variation()))
    lines = ['readings "channel 2, repaired"', "meter 10 MEG 1% + 2 digits", "after 15 minutes"]
    lines += [f"{e.name} {volts:.3g}" for e, volts in zip(READ.entries, shown, strict=True)]
    after = written(tmp_path_factory.mktemp("repaired"), "after.readings", lines)
    return made(PREAMP, READINGS, after)


def test_what_was_promised_before_the_repair_comes(repaired: Made) -> None:
    rows = repaired.page.section("Before and after").every("table")[0].rows()
    assert [row["Point"] for row in rows] == [e.name for e in READ.entries]
    for row, entry in zip(rows, READ.entries, strict=True):
        assert parse_value(row["Before"], Unit.VOLT) == pytest.approx(entry.value)
        low, _, high = row["95 % between"].partition(" to ")
        low = low if low[-1] == "V" else f"{low} V"
        after = parse_value(row["After"], Unit.VOLT)
        assert parse_value(low, Unit.VOLT) <= after <= parse_value(high, Unit.VOLT)
    state = repaired.page.every("span", "state")[0].text
    assert state == "rechecked"


def test_the_repair_is_told_as_done(repaired: Made) -> None:
    (sheet,) = repaired.sheets
    assert sheet.progress.state.value == "rechecked"
    handed = repaired.page.section("Hand back").every("li")[0]
    assert handed.every("span", "box")[0].attributes["aria-label"] == "done"


def test_before_the_repair_there_is_room_for_the_readings_after_it() -> None:
    rows = made(PREAMP, READINGS).page.section("Before and after").every("table")[0]
    for row in rows.every("tbody")[0].every("tr"):
        cells = {c.attributes.get("data-label"): c for c in row.every("td")}
        assert cells["After"].text == ""
        assert "write" in cells["After"].attributes["class"]
        assert row.every("span", "box")[0].attributes["aria-label"] == "to tick"


def test_two_readings_of_one_point_are_both_kept(tmp_path: Path) -> None:
    stage = written(tmp_path, "small.stage", ['stage "small"', *SMALL])
    twice = written(tmp_path, "twice.readings", [
        'readings "twice"', "meter 10 MEG 1% + 2 digits", "Q1.base 3.94", "Q1.base 3.1 drifting",
        "skip Q1.collector",
    ])
    page = made(stage, twice).page
    rows = page.section("Before and after").every("table")[0].rows()
    assert rows[0]["Before"] == "3.94 V and 3.10 V (drifting)"
    volts = {r["Point"]: r for r in page.section("Volts, in this order").every("table")[0].rows()}
    assert volts["Q1.base"]["Read"] == "3.94 V and 3.10 V (drifting)"


def test_nothing_that_was_said_is_lost(tmp_path: Path) -> None:
    """Points left out, the other channel's readings, signals, and what cannot be as written."""
    stage = written(tmp_path, "small.stage", [
        'stage "small"', *SMALL, "other channel offset 100",
    ])
    said = written(tmp_path, "small.readings", [
        'readings "all sorts"', "meter 10 MEG 1% + 2 digits", "line 121 V", "temperature 31 C",
        "Q1.base 3.7", "Q1.emitter 47", "Q101.base 3.66", "ohms Q1.emitter 1.52k",
        "drop Q1.base to Q1.emitter 0.65", "across R3 13.2", "skip Q1.collector",
    ])
    page = made(stage, said).page
    step = page.section("Volts, in this order")
    rows = {row["Point"]: row for row in step.every("table")[0].rows()}
    assert rows["Q1.base"]["Read"] == "3.70 V"
    assert rows["Q1.collector"]["Read"] == "left out"
    # 47 V where the rail has 22 V: kept, shown, and not reasoned with
    assert (rows["Q1.emitter"]["Read"], rows["Q1.emitter"]["Verdict"]) == ("47.0 V", "doubtful")
    others = {h.text: t for h, t in zip(step.every("h3"), step.every("table")[1:], strict=True)}
    assert others["Read besides"].rows()[0]["Point"] == "R3.1 to R3.2"
    assert others["Read besides"].rows()[0]["Read"] == "13.2 V"
    assert others["Read on the other channel"].rows() == [
        {"Point": "Q101.base", "Read": "3.66 V"}
    ]
    off = page.section("Power off: discharge, then ohms").every("table")
    ohms = {row["Point to ground"]: row["Read"] for row in off[0].rows()}
    assert ohms["Q1.emitter"] == "1.52k ohm"
    assert off[1].rows()[0]["Read"] == "650 mV"
    fields = step.every("div", "fields")[0].text
    assert "Line 121 V" in fields
    assert "Room 31 C" in fields


def test_a_damaged_log_is_told_on_the_sheet(tmp_path: Path) -> None:
    stage = written(tmp_path, "small.stage", ['stage "small"', *SMALL])
    log = written(tmp_path, "damaged.log", [
        'log "set" 2026-11-20', '2026-11-20 19:40:00 stage "small" in small.stage',
        "2026-11-20 19:42:07 read Q1.base 3.7", "2026-11-20 19:44:00 red Q1.emitter 3.1",
        "2026-11-20 19:45:00 read Q1.emitter 3.1",
    ])
    page = made(stage, log).page
    told = " ".join(p.text for p in page.every("p", "reason"))
    assert "damaged at line 4" in told
    assert "Lines after it that are not read: 1." in told
    assert page.every("span", "state")[0].text == "being read"
