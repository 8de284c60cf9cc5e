"""What a sheet says, against solves of the same stage by both engines and facts of the trade."""

from __future__ import annotations

import pytest

from biaspredict.infer.touches import DISCHARGE, NEVER_BRIDGE, ONE_HAND
from biaspredict.quantities import Unit, parse_value
from tests.circuits.files import ENGINES, load, metered
from tests.sheet.made import LINE, PREAMP, READINGS, made

STEPS = [
    "At the desk", "Power off: discharge, then ohms", "First power", "Volts, in this order",
    "What the readings say", "Renew", "Before and after", "Hand back",
]


def test_steps_come_in_the_order_of_the_job() -> None:
    """Ohms before power, power before volts, hand-back last (common practice, no source)."""
    titles = [h.text for h in made(PREAMP, READINGS).page.every("h2")]
    assert titles == STEPS
    unread = [h.text for h in made(LINE).page.every("h2")]
    assert unread == [s for s in STEPS if s not in ("What the readings say", "Before and after")]


@pytest.mark.parametrize(
    ("step", "said"),
    [
        ("Power off: discharge, then ohms", DISCHARGE),
        ("Power off: discharge, then ohms", "pull the plug"),
        ("Power off: discharge, then ohms", "screwdriver"),
        ("First power", "does not isolate"),
        ("First power", "Speakers off, dummy load on"),
        ("Volts, in this order", ONE_HAND),
        ("Volts, in this order", NEVER_BRIDGE),
        ("Volts, in this order", "earthed instrument"),
        ("Renew", "mind the plus"),
        ("Hand back", "by someone competent, by the local rules"),
    ],
)
def test_each_caution_stands_at_its_step(step: str, said: str) -> None:
    """Which caution belongs to which step: common practice, no source."""
    page = made(LINE).page
    assert said in page.section(step).text


def test_cautions_stand_before_the_readings_they_are_for() -> None:
    page = made(LINE).page
    for title in ("Power off: discharge, then ohms", "Volts, in this order"):
        step = page.section(title)
        names = [piece.name for piece in step.inside if not isinstance(piece, str)]
        caution = next(i for i, p in enumerate(names) if p == "p")
        assert caution < names.index("table")


@pytest.mark.parametrize("engine", ENGINES)
def test_expected_volts_are_what_a_meter_shows_there(engine: str) -> None:
    stage = load(LINE)
    rows = made(LINE).page.section("Volts, in this order").every("table")[0].rows()
    points = []
    for row in rows:
        red, _, black = row["Point"].partition(" to ")
        points.append((red, black or None, 10e6))
    shown = metered(stage, ENGINES[engine], points)
    assert len(rows) == 9
    for row, volts in zip(rows, shown, strict=True):
        expected = parse_value(row["Expect"], Unit.VOLT)
        # printed to three digits
        assert expected == pytest.approx(volts, rel=0.006, abs=2e-5), row["Point"]


def test_the_worked_case_of_the_line_stage() -> None:
    """Figures of a run of ngspice by itself, the transistor with gain 150 and IS 1e-14; the sheet
    takes a generic one, hence 2 %."""
    rows = made(LINE).page.section("Volts, in this order").every("table")[0].rows()
    seen = {row["Point"]: parse_value(row["Expect"], Unit.VOLT) for row in rows}
    told = {"VA": 17.58, "Q1.collector": 8.44, "Q1.base": 2.63, "Q1.emitter": 1.96}
    for point, volts in told.items():
        assert seen[point] == pytest.approx(volts, rel=0.02)


def test_rails_are_touched_first_and_every_point_once() -> None:
    rows = made(PREAMP, READINGS).page.section("Volts, in this order").every("table")[0].rows()
    points = [row["Point"] for row in rows]
    assert points[0] == "B+"
    assert len(points) == len(set(points))
    assert set(load(PREAMP).nodes) - {"ground"} <= set(points)


def test_every_check_has_a_box_and_every_reading_its_room() -> None:
    page = made(LINE).page
    for item in page.every("ul", "checks"):
        for line in item.every("li"):
            assert len(line.every("span", "box")) == 1
    for title in ("Power off: discharge, then ohms", "Volts, in this order", "Renew"):
        for table in page.section(title).every("table"):
            for row in table.every("tbody")[0].every("tr"):
                cells = row.every("td")
                if len(cells) > 1:
                    assert row.every("span", "box")
                    assert title == "Renew" or row.every("td", "write")


def test_the_printed_chart_stands_beside_the_prediction() -> None:
    rows = made(LINE).page.section("At the desk").every("table")[0].rows()
    stage = load(LINE)
    printed = {e.name: e.value for e in stage.charts[0].entries}
    assert {r["Point"]: parse_value(r["Printed"], Unit.VOLT) for r in rows} == printed
    shown = metered(stage, ENGINES["ngspice"], [(r["Point"], None, 11e6) for r in rows])
    for row, volts in zip(rows, shown, strict=True):
        assert parse_value(row["Predicted"], Unit.VOLT) == pytest.approx(volts, rel=0.006)
        assert row["Verdict"] == "agrees"


def test_readings_stand_beside_their_bands() -> None:
    """The demo's readings are high at Q2's base and emitter, low at its collector, by hand."""
    rows = made(PREAMP, READINGS).page.section("Volts, in this order").every("table")[0].rows()
    judged = {row["Point"]: (row["Read"], row["Verdict"]) for row in rows if row["Read"]}
    assert judged == {
        "B+": ("19.7 V", "ok"), "Q1.emitter": ("1.51 V", "ok"), "Q1.collector": ("7.19 V", "ok"),
        "Q2.base": ("3.94 V", "HIGH"), "Q2.emitter": ("3.26 V", "HIGH"),
        "Q2.collector": ("8.73 V", "LOW"),
    }


def test_the_drawing_is_there_and_marked() -> None:
    drawn = made(PREAMP, READINGS).page.every("svg")
    whole = [svg for svg in drawn if svg.every("g", "part")]
    assert len(whole) == 1
    assert {g.attributes["data-ref"] for g in whole[0].every("g", "part")} == {
        part.ref for part in load(PREAMP).parts
    }
    marked = {
        g.attributes["data-node"]: g.attributes["data-verdict"]
        for g in whole[0].every("g", "reading")
    }
    assert marked["Q2.base"] == marked["Q2.collector"] == "outside"
    assert marked["Q1.emitter"] == "inside"


def test_a_box_is_ticked_where_a_point_was_read() -> None:
    table = made(PREAMP, READINGS).page.section("Volts, in this order").every("table")[0]
    for row in table.every("tbody")[0].every("tr"):
        cells = {c.attributes.get("data-label"): c for c in row.every("td")}
        if "Read" in cells:
            (box,) = row.every("span", "box")
            assert (box.attributes["aria-label"] == "done") == bool(cells["Read"].text)
