"""What is ordered for each capacitor: value, volts, polarity, what changes, what stays."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from biaspredict.engine.batch import Batch
from biaspredict.engine.ngspice import Ngspice
from biaspredict.model.parts import Kind, Part
from biaspredict.model.stage import Stage
from biaspredict.notation import read_stage
from biaspredict.predict.corners import corners
from biaspredict.predict.ordering import order
from biaspredict.predict.renew import Advice, Effect, Item, Renewal, renewal, totals
from biaspredict.predict.supply import supply
from biaspredict.quantities import Tolerance
from tests.circuits.files import ROOT, load
from tests.predict import supplies

OLD = Tolerance(0.10, 0.50)  # of electrolytics, as the sheets of the time have it


def written(text: str) -> Stage:
    return read_stage('stage "written"\n' + text, "written.stage")


def listed(text: str) -> dict[str, Item]:
    return by_ref(renewal(written(text), Ngspice(), Batch()))


def by_ref(found: Renewal) -> dict[str, Item]:
    return {item.ref: item for item in found.items}


def electrolytic(microfarads: float, volts: float | None = None) -> Part:
    return Part("C1", Kind.ELECTROLYTIC, ("A", "B"), printed=microfarads * 1e-6, volts=volts)


@pytest.mark.parametrize(
    ("sheet", "rated", "bought", "stands"),
    [
        # common practice, no source: old values and ratings, and what takes their place
        (50.0, 6.0, 47.0, 6.3),
        (5.0, 15.0, 4.7, 16.0),
        (8.0, 450.0, 10.0, 450.0),
        (16.0, 12.0, 15.0, 16.0),
        (30.0, 3.0, 33.0, 6.3),
        (100.0, 25.0, 100.0, 25.0),
        (250.0, 30.0, 330.0, 35.0),
        (500.0, 150.0, 470.0, 160.0),
        (2000.0, 40.0, 2200.0, 50.0),
    ],
)
def test_old_values_and_what_is_at_hand(
    sheet: float, rated: float, bought: float, stands: float
) -> None:
    found = order(electrolytic(sheet, rated), OLD, None, exact=False)
    assert found is not None
    assert found.farads == pytest.approx(bought * 1e-6)
    assert found.volts == stands


E6 = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)  # IEC 60063 (from memory)
VOLTS = (6.3, 10, 16, 25, 35, 50, 63, 80, 100, 160, 200, 250, 315, 350, 400, 450)


@given(
    sheet=st.floats(0.1, 9999.0),
    rated=st.one_of(st.none(), st.floats(1.5, 450.0)),
    needed=st.one_of(st.none(), st.floats(0.1, 449.0)),
    exact=st.booleans(),
)
def test_never_less_than_the_original_and_always_at_hand(
    sheet: float, rated: float | None, needed: float | None, exact: bool
) -> None:
    found = order(electrolytic(sheet, rated), OLD, needed, exact=exact)
    assert found is not None
    for farads in filter(None, (found.farads, found.beside)):
        decade = 10 ** math.floor(math.log10(farads * 1e6 * 1.0001))
        assert min(abs(farads * 1e6 / decade - number) for number in E6) < 1e-6
    if exact:
        assert found.total == pytest.approx(sheet * 1e-6, rel=0.101)
    else:
        assert sheet * 0.9 * (1 - 1e-6) <= found.farads * 1e6 <= sheet * 1.5
    if rated is None and needed is None:
        assert found.volts is None
    else:
        assert found.volts in VOLTS
        assert found.volts >= max(rated or 0.0, needed or 0.0)


def test_beyond_the_series_is_left_open() -> None:
    found = order(electrolytic(20.0, 500.0), OLD, None, exact=False)
    assert found is not None
    assert found.volts is None
    items = listed("rail B+ 400 V!\nB+ -- R1 10K -- A -- +C1 20 MFD 500V -- ground\n")
    assert "No standard working volts reach so high" in items["C1"].warnings[0]


def test_volts_follow_the_prediction_where_the_sheet_is_silent() -> None:
    # 12 V and 5 % of rail, 10 % of line: 13.7 V or so, and the next of the series is 16.
    items = listed("rail B+ 12 V 5%\nB+ -- R1 1K -- A -- +C1 10 MFD -- ground\n")
    found = items["C1"].order
    assert found is not None
    assert found.volts == 16
    # a rating that is too small for what the stage does is not kept
    items = listed("rail B+ 12 V 5%\nB+ -- R1 1K -- A -- +C1 10 MFD 6V -- ground\n")
    assert items["C1"].order is not None
    assert items["C1"].order.volts == 16
    assert "is rated 6.00 V" in items["C1"].warnings[0]


def test_a_measured_value_is_no_value_to_order_by() -> None:
    text = (
        "rail B+ 12 V\nB+ -- R1 1K -- A -- "
        "+C1 50 MFD 16V fitted 22 MFD measured 3 MFD -- ground\n"
    )
    item = listed(text)["C1"]
    assert item.farads == pytest.approx(50e-6)
    assert item.order is not None
    assert item.order.farads == pytest.approx(47e-6)
    assert any("fitted 22 uF" in remark for remark in item.remarks)
    assert any("measured 3 uF" in remark for remark in item.remarks)
    assert item.before == pytest.approx(1 / (2 * math.pi * 1e3 * 50e-6), rel=1e-3)


def test_corner_before_and_after_against_the_edited_stage() -> None:
    stage = load(ROOT / "demo" / "preamp.stage")
    items = by_ref(renewal(stage, Ngspice(), Batch()))
    parts = tuple(
        replace(part, printed=items[part.ref].order.total)  # type: ignore[union-attr]
        if part.ref in items
        else part
        for part in stage.parts
    )
    edited = {c.ref: c for c in corners(replace(stage, parts=parts), Ngspice()).corners}
    for ref, item in items.items():
        assert item.effect is Effect.CORNER
        assert item.after == pytest.approx(edited[ref].hertz, rel=1e-3)


def test_ripple_before_and_after_against_the_edited_stage() -> None:
    text = supplies.BRIDGE.replace("1000 MFD 35V", "800 MFD 35V")
    item = listed(text)["C1"]
    assert item.effect is Effect.RIPPLE
    assert item.order is not None
    assert item.order.farads == pytest.approx(1000e-6)
    edited = supply(supplies.stage(supplies.BRIDGE), Ngspice())
    assert item.after == pytest.approx(edited.capacitors[0].ripple, rel=0.01)
    assert item.does == "reservoir"
    assert item.most == pytest.approx(edited.capacitors[0].unloaded, rel=0.01)


def test_polarity_against_the_prediction() -> None:
    item = listed("rail B+ 12 V\nB+ -- R1 1K -- A -- C1+ 10 MFD 16V -- ground\n")["C1"]
    assert item.plus == "ground"
    assert "its + is the lower end, by 12.0 V" in item.warnings[0]
    negative = listed("rail V- -12 V\nV- -- R1 1K -- A -- C1+ 10 MFD 16V -- ground\n")["C1"]
    assert negative.warnings == ()


STAYS = """
rail B+ 12 V
Q1 npn germanium
B+ -- R1 100K -- Q1.base -- R2 15K -- ground
B+ -- R3 3.3K -- Q1.collector
Q1.emitter -- R4 470 -- ground
Q1.emitter -- +C1 100 MFD 6V -- ground
IN -- C2 0.1 MFD film -- Q1.base
Q1.collector -- C3 100 PF ceramic -- Q1.base
Q1.collector -- C4 0.05 MFD 200V paper -- OUT -- R5 47K -- ground
input IN from 1K
output OUT into 100K
"""


def test_what_is_left_alone() -> None:
    found = renewal(written(STAYS), Ngspice(), Batch())
    items = by_ref(found)
    assert {ref: item.advice for ref, item in items.items()} == {
        "C1": Advice.RENEW,
        "C2": Advice.LEAVE,
        "C3": Advice.KEEP_VALUE,
        "C4": Advice.RENEW,
    }
    assert items["C3"].does == "Miller"
    paper = items["C4"].order
    assert paper is not None
    assert (paper.farads, paper.volts, paper.make) == (pytest.approx(47e-9), 200, "film")
    assert found.germanium == ("Q1",)


def test_sections_of_a_can_and_the_other_channel() -> None:
    text = (
        "rail B+ 20 V\nB+ -- R1 1K -- A -- +C1A 40 MFD 25V can C1 -- ground\n"
        "A -- R2 1K -- D -- +C1B 20 MFD 25V can C1 -- ground\n"
        "other channel R1 = R101, C1A = C101A, C1B = C101B\n"
    )
    found = renewal(written(text), Ngspice(), Batch())
    items = by_ref(found)
    assert "with C1B: disconnect it" in " ".join(items["C1A"].remarks)
    assert [item.fellow for item in found.items] == ["C101A", "C101B"]
    both = totals([found])
    assert [(t.farads, t.count) for t in both] == [
        (pytest.approx(22e-6), 2),
        (pytest.approx(47e-6), 2),
    ]
    assert both[0].where == ((0, ("C1B", "C101B")),)
    alone = totals([renewal(written(text), Ngspice(), Batch(), fellows=False)])
    assert [t.count for t in alone] == [1, 1]


def test_totals_of_several_stages_add_up() -> None:
    one = renewal(written("rail B+ 9 V\nB+ -- R1 1K -- A -- +C1 50 MFD 12V -- ground\n"),
                  Ngspice(), Batch())
    lines = totals([one, one])
    assert len(lines) == 1
    assert lines[0].count == 2
    assert lines[0].where == ((0, ("C1",)), (1, ("C1",)))


@pytest.mark.parametrize(
    "text",
    [
        "rail B+ 9 V\nX -- R2 1K -- Y -- +C2 10 MFD 16V -- X\nB+ -- R1 1K -- ground\n",
        supplies.HALF_WAVE.replace("50 Hz ", ""),
    ],
    ids=["in the air", "no mains"],
)
def test_what_cannot_be_predicted_is_listed_by_the_sheet(text: str) -> None:
    found = renewal(written(text), Ngspice(), Batch())
    (item,) = found.items
    assert found.withheld
    assert item.order is not None
    assert item.level is None
    assert item.before is None


def test_leakage_that_this_circuit_does_not_stand() -> None:
    # 50 mV, which a meter shows beyond doubt, across 47 kilohms is about a microampere; a standard
    # part of 10 uF and 25 V may leak 3 (the style of IEC 60384-4, from memory).
    text = (
        "rail B+ 20 V\nB+ -- R1 10K -- A -- R2 10K -- ground\n"
        "A -- +C1 10 MFD 25V -- OUT -- R3 47K -- ground\n"
    )
    (remark,) = listed(text)["C1"].remarks
    assert remark.startswith("Low-leakage type: above 1.07 uA it moves OUT")
    assert listed(text.replace("47K", "1K"))["C1"].remarks == ()


def test_only_what_smooths_is_judged_by_its_ripple() -> None:
    text = supplies.HALF_WAVE + (
        "Q1 npn\nRAW -- R4 1K -- B+ -- +C4 470 MFD 25V -- ground\n"
        "B+ -- Q1.collector\nB+ -- R5 100K -- Q1.base -- R6 100K -- ground\n"
        "Q1.emitter -- R8 4.7K -- ground\nIN -- C6+ 1 MFD 16V -- Q1.base\n"
        "Q1.emitter -- +C5 10 MFD 25V -- OUT -- R7 100K -- ground\n"
        "input IN from 600\noutput OUT into 100K\n"
    )
    items = listed(text)
    assert {ref: item.effect for ref, item in items.items()} == {
        "C1": Effect.RIPPLE,
        "C4": Effect.RIPPLE,
        "C5": Effect.CORNER,
        "C6": Effect.CORNER,
    }
    # 100K and the load of 100K in parallel, beside which the emitter is nothing
    assert items["C5"].before == pytest.approx(1 / (2 * math.pi * 50e3 * 10e-6), rel=0.02)
