"""Several stages in one document: what is done, what is next, what to order."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.sheet.made import LINE, PREAMP, READINGS, SMALL, Made, made, written

LOG = [
    'log "hall mixer" 2026-11-20',
    '2026-11-20 19:40:00 stage "hall mixer, microphone channel 2" in preamp.stage',
    "2026-11-20 19:40:10 with meter 10 MEG 1% + 2 digits",
    "2026-11-20 19:42:07 read rail B+ 19.7",
    "2026-11-20 19:42:17 read Q1.emitter 1.51",
    "2026-11-20 19:42:18 read Q1.emitter 9.9",
    "2026-11-20 19:42:19 undo 6",
    "2026-11-20 19:42:27 read Q1.collector 7.19",
    "2026-11-20 19:42:37 read Q2.base 3.94",
    "2026-11-20 19:42:47 read Q2.emitter 3.26",
    "2026-11-20 19:43:07 read Q2.collector 8.73",
    "2026-11-20 19:43:08 found suspect: C2 60 %, R7 29 %",
    "2026-11-20 19:50:00 promised Q2.base is 2.85 V from 2.52 V to 3.17 V",
    "2026-11-20 19:51:00 fitted C2 10 uF 25V",
    "2026-11-20 19:58:00 read Q2.base 2.81",
    "2026-11-20 19:58:20 kept Q2.base 2.81 V",
]


@pytest.fixture(scope="module")
def both() -> Made:
    return made(PREAMP, READINGS, LINE)


def test_each_stage_has_a_sheet_and_the_front_page_leads_to_it(both: Made) -> None:
    sheets = both.page.every("article")
    assert [a.attributes["id"] for a in sheets] == ["sheet0", "sheet1", "sheet2"]
    links = sheets[0].every("a")
    titles = {a.attributes["id"]: a.every("h1")[0].text for a in sheets}
    assert [(a.text, a.attributes["href"]) for a in links] == [
        (titles["sheet1"], "#sheet1"), (titles["sheet2"], "#sheet2"),
    ]


def test_the_front_page_says_what_is_done_and_what_is_next(both: Made) -> None:
    front = both.page.every("article")[0]
    rows = front.section("The stages").every("table")[0].rows()
    assert [row["State"] for row in rows] == ["suspect", "unread"]
    assert rows[0]["Done so far"].endswith("6 readings before")
    assert rows[1]["Done so far"] == "nothing yet"
    assert "0 of 2 stages are done" in front.text
    # ohms before power for what has not been powered yet (common practice, no source)
    assert "ohms at the rails of line stage after the volume control" in front.text


def test_the_order_adds_up(both: Made) -> None:
    front = both.page.every("article")[0]
    (order,) = [s for s in front.every("section") if s.every("h2")[0].text.startswith("To order")]
    counts = [int(row["How many"].removesuffix(" x")) for row in order.every("table")[0].rows()]
    listed = sum(
        len(sheet.section("Renew").every("table")[0].rows())
        for sheet in both.page.every("article")[1:]
    )
    assert sum(counts) == listed == 10
    assert order.every("h2")[0].text == "To order for all: 10 parts"


def test_a_log_holds_for_every_stage_and_tells_before_from_after(tmp_path: Path) -> None:
    log = written(tmp_path, "set.log", LOG)
    small = written(tmp_path, "small.stage", ['stage "small"', *SMALL])
    found = made(log, PREAMP, small)
    front, repaired, _ = found.page.every("article")
    rows = front.section("The stages").every("table")[0].rows()
    assert [row["State"] for row in rows] == ["rechecked", "unread"]
    assert "fitted C2 10 uF 25V" in rows[0]["Done so far"]
    assert "1 of 2 stages are done" in front.text
    boxes = front.section("The stages").every("span", "box")
    assert [b.attributes["aria-label"] for b in boxes] == ["done", "to tick"]

    done, record = repaired.section("Before and after").every("table")
    told = [[c.text for c in row.every("td")] for row in done.every("tbody")[0].every("tr")]
    assert [row[1] for row in told] == ["promised", "fitted", "as promised"]
    assert told[1] == ["2026-11-20 19:51", "fitted", "C2 10 uF 25V"]
    points = {row["Point"]: row for row in record.rows()}
    assert points["Q2.base"]["Before"] == "3.94 V"
    assert points["Q2.base"]["After"] == "2.81 V"
    # the reading that was taken back is not there
    assert points["Q1.emitter"]["Before"] == "1.51 V"
    assert repaired.every("span", "state")[0].text == "rechecked"
    fitted = {
        row.every("td")[1].text: row.every("span", "box")[0].attributes["aria-label"]
        for row in repaired.section("Renew").every("table")[0].every("tbody")[0].every("tr")
    }
    assert fitted["C2"] == "done"
    assert fitted["C1"] == "to tick"
    # what is fitted is not ordered again
    (order,) = [s for s in front.every("section") if s.every("h2")[0].text.startswith("To order")]
    assert "C2" not in order.every("table")[0].text


def test_one_stage_has_no_front_page() -> None:
    assert len(made(LINE).page.every("article")) == 1
