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
    assert "1 lines after it are not read" in told
    assert page.every("span", "state")[0].text == "being read"
