"""Printed charts beside their own circuit and beside today's readings."""

from __future__ import annotations

import pytest

from biaspredict.infer.charts import check_chart
from biaspredict.pipeline import ranker
from biaspredict.predict.observe import Predictor
from biaspredict.predict.spread import axes, rails_off
from tests.kinds.bench import LINE, LINE_OFF, SOUND, judged, stage_of

OHMS = """
chart ohms 20% meter 20 kohm/V battery 1.5 V mid-scale 20
"""


def checked(text: str, place: int = -1):  # type: ignore[no-untyped-def]
    stage = stage_of(text)
    predictor = Predictor(stage, ranker(), (*axes(stage), *rails_off(stage)))
    return check_chart(predictor, stage.charts[place])


def test_a_chart_that_fits() -> None:
    found = checked(LINE)
    assert not found.off
    assert found.agrees > 0.5
    assert found.law == ()


@pytest.mark.parametrize(
    ("printed", "wrong"),
    [("Q1.emitter 1.95", "Q1.emitter 5.95"), ("Q1.base 2.35", "Q1.base 5.32")],
)
def test_one_misprinted_figure_is_called_that(printed: str, wrong: str) -> None:
    found = checked(LINE.replace(printed, wrong))
    assert [entry.name for entry, _, _ in found.off] == [wrong.split()[0]]
    assert found.slips[0].words == f"the chart's figure for {wrong.split()[0]} is a misprint"


def test_a_slipped_decimal_and_a_misprint_are_both_named_where_both_explain() -> None:
    """14.2 V at the collector: printed wrong, or R3 of 470 ohms read as 4.7K."""
    words = [slip.words for slip in checked(LINE.replace("8.2", "14.2")).slips]
    assert "the chart's figure for Q1.collector is a misprint" in words
    assert any("R3" in said for said in words)


def test_a_chart_that_breaks_ohms_law_says_where() -> None:
    """5.95 V over 1K are 5.95 mA, where the collector's 4.7K carry 2."""
    wide = LINE.replace("Q1.emitter 1.95", "Q1.emitter 5.95, VA 17.5")
    found = checked(wide)
    assert "Q1.emitter" in {balance.node for balance in found.law}


def test_a_low_base_through_a_needle_meter_is_no_misprint() -> None:
    """V_BE of 0.40 V by the chart: the meter's doing, and the chart is right."""
    found = checked(LINE)
    base = next(line for line in found.lines if line.entry.name == "Q1.base")
    assert base.inside
    assert base.expected == pytest.approx(2.35, abs=0.02)


def test_an_ohms_chart_is_read_through_its_own_meter() -> None:
    fits = OHMS + "  Q1.base 12K, Q1.emitter 1K, VA 5.5K, Q1.collector 10K\n"
    found = checked(LINE_OFF + fits)
    assert not found.off, found.lines
    # the same figures by a digital meter: the junction stays shut and the base reads 38K
    digital = fits.replace("20 kohm/V battery 1.5 V mid-scale 20", "10 MEG test 0.3 V")
    assert [entry.name for entry, _, _ in checked(LINE_OFF + digital).off] == ["Q1.base"]


def test_an_ohms_chart_taken_with_the_leads_the_other_way_round() -> None:
    turned = checked(LINE_OFF + OHMS + "  Q1.base 39K, Q1.emitter 1K, VA 5.1K\n")
    assert turned.turned
    assert not turned.off


def test_a_printed_infinity() -> None:
    loose = LINE_OFF.replace("output OUT into 47K\n", "")
    assert not checked(loose + OHMS + "  OUT over, Q1.emitter 1K\n").off
    loaded = checked(LINE_OFF + OHMS + "  OUT over, Q1.emitter 1K\n")
    assert [entry.name for entry, _, _ in loaded.off] == ["OUT"]
    assert loaded.off[0][1] == pytest.approx(47e3, rel=0.01)  # in ohms, not in logarithms


def test_nothing_said_of_the_rail_leaves_the_chart_room() -> None:
    fits = OHMS + "  VA 50K, Q1.emitter 1K\n"
    assert not checked(LINE + fits).off
    assert checked(LINE_OFF + fits).off


def test_a_misprint_is_told_beside_todays_readings() -> None:
    verdict = judged(LINE.replace("Q1.emitter 1.95", "Q1.emitter 5.95"), SOUND)
    rows = {row.entry.name: row for row in verdict.charts}
    assert rows["Q1.emitter"].misprint
    assert not rows["Q1.base"].misprint
    assert verdict.sound


def test_a_fault_is_no_misprint() -> None:
    scratchy = SOUND.replace("8.44", "12.44").replace("2.63", "2.03").replace("1.96", "1.37")
    verdict = judged(LINE, scratchy.replace("17.58", "18.84"))
    rows = {row.entry.name: row for row in verdict.charts}
    assert not any(row.misprint for row in rows.values())
    assert not rows["Q1.emitter"].inside
