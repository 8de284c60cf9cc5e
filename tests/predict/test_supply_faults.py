"""Failed rectifiers and dried reservoirs, and the rail that a supply amounts to."""

from __future__ import annotations

import pytest

from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.errors import InputError
from biaspredict.model.circuit import SOUND
from biaspredict.model.readings import Reading, Readings
from biaspredict.predict.raw_rail import must_be_direct, on_rails
from biaspredict.predict.supply import supply
from biaspredict.predict.supply_faults import SupplyFault, supply_faults
from tests.predict import supplies
from tests.predict.supplies import stage


def faults(text: str) -> dict[tuple[str, str, float | None], SupplyFault]:
    found = supply(stage(text), Ngspice())
    return {
        (part, fault.mode, fault.severity): fault
        for fault in supply_faults(found, Ngspice())
        for part in fault.parts
    }


@pytest.fixture(scope="module")
def both() -> dict[tuple[str, str, float | None], SupplyFault]:
    return faults(supplies.BOTH_WAYS)


@pytest.fixture(scope="module")
def half() -> dict[tuple[str, str, float | None], SupplyFault]:
    return faults(supplies.NEGATIVE)


def test_an_open_rectifier_shows_on_its_own_rail(
    both: dict[tuple[str, str, float | None], SupplyFault],
) -> None:
    plus, minus = both["D1", "open", None].reads
    assert (plus.hertz, minus.hertz) == (50.0, 100.0)
    plus, minus = both["D4", "open", None].reads
    assert (plus.hertz, minus.hertz) == (100.0, 50.0)
    assert both["D1", "open", None].parts == ("D1", "D2")


def test_half_a_winding_open_shows_on_both_rails(
    both: dict[tuple[str, str, float | None], SupplyFault],
) -> None:
    fault = both["T1A", "open", None]
    assert [reads.hertz for reads in fault.reads] == [50.0, 50.0]
    assert fault.parts == ("T1A", "T1B")
    assert [w.ref for w in fault.windings] == ["T1B"]


def test_a_shorted_rectifier_overheats_the_winding(
    both: dict[tuple[str, str, float | None], SupplyFault],
) -> None:
    fault = both["D1", "short", None]
    assert fault.overheats == ("T1A", "T1B")
    # both windings in series through two rectifiers for half of the time: 40 V over 2 ohms
    assert 10.0 < max(w.rms for w in fault.windings) < 40.0 / 2.0


def test_a_lone_rectifier_open_leaves_nothing(
    half: dict[tuple[str, str, float | None], SupplyFault],
) -> None:
    (reads,) = half["D1", "open", None].reads
    assert abs(reads.volts) < 1e-3
    assert reads.hertz is None


def test_a_lone_rectifier_short_blows_the_fuse_and_reverses_the_reservoir(
    half: dict[tuple[str, str, float | None], SupplyFault],
) -> None:
    fault = half["D1", "short", None]
    (reads,) = fault.reads
    assert abs(reads.volts) < 0.1
    assert reads.hertz == 50.0
    assert fault.blown == ("F1",)
    assert fault.backwards == ("C1",)


def test_less_reservoir_more_ripple_less_volts(
    half: dict[tuple[str, str, float | None], SupplyFault],
) -> None:
    (tenth,), (least,) = half["C1", "dry", 0.1].reads, half["C1", "dry", 0.02].reads
    assert 0.0 > least.volts > tenth.volts
    assert least.ripple > tenth.ripple
    # with next to no reservoir the mean is that of half sine waves: crest over pi (textbook)
    drop = 0.7
    assert -least.volts == pytest.approx((12.0 * 2**0.5 - drop) / 3.1416, rel=0.25)
    resistive = [f for (ref, mode, _), f in half.items() if (ref, mode) == ("C1", "resistive")]
    assert len(resistive) == 2
    assert resistive[1].reads[0].ripple > resistive[0].reads[0].ripple


REGULATED = """
T1 winding 24 V 50 Hz 2 ohms
Q1 npn power
A -- T1 -- B
A -- D1> rectifier medium -- RAW
B -- D2> rectifier medium -- RAW
ground -- D3> rectifier medium -- A
ground -- D4> rectifier medium -- B
RAW -- +C1 1000 MFD 50V -- ground
RAW -- Q1.collector
RAW -- R1 1K -- Q1.base
ground -- Z1> 12 V 5% at 5 mA -- Q1.base
Q1.emitter -- OUT -- R2 220 1 W -- ground
A -- C9 0.1 MFD film -- ground
test point 1 = A
output OUT
chart volts 10%
  RAW 31, OUT 11.5, A 16
"""


def test_a_fed_stage_at_dc_agrees_with_the_run() -> None:
    of = stage(REGULATED)
    fed = on_rails(of, Ngspice())
    (source,) = fed.sources
    assert fed.bent == ()
    assert fed.swinging == {"A", "B"}
    assert fed.parts == {"T1", "D1", "D2", "D3", "D4", "C9"}
    circuit = flatten(fed.stage)
    found = Ngspice().solve(circuit, [SOUND])
    volts = dict(zip(circuit.nodes, found.volts[0].tolist(), strict=True))
    run = supply(of, Ngspice()).steady.means
    for node in ("RAW", "OUT", "Q1.base"):
        assert volts[node] == pytest.approx(run[node], rel=2e-3)
    assert source.amps == pytest.approx(
        (run["RAW"] - run["Q1.base"]) / 1e3 + run["OUT"] / 220, rel=0.02
    )


def test_what_swings_is_gone_from_the_fed_stage() -> None:
    fed = on_rails(stage(REGULATED), Ngspice()).stage
    assert "A" not in fed.nodes
    assert fed.points == ()
    assert [e.node for e in fed.charts[0].entries] == ["RAW", "OUT"]
    assert [rail.name for rail in fed.rails] == ["RAW"]


def test_a_stage_without_a_winding_stays_as_it_is() -> None:
    of = stage("rail B+ 9 V\nB+ -- R1 1K -- ground\n")
    assert on_rails(of, Ngspice()).stage is of


def test_a_reading_where_the_mains_swings_is_refused() -> None:
    fed = on_rails(stage(REGULATED), Ngspice())
    direct = Readings("today", (Reading("OUT", "OUT", 11.4),))
    must_be_direct(fed, direct)
    for swinging in (Reading("TP1", "A", 15.0), Reading("OUT", "OUT", 1.0, minus="B")):
        with pytest.raises(InputError, match="swings with the mains"):
            must_be_direct(fed, Readings("today", (swinging,)))


def test_a_fed_node_without_a_name_is_asked_for_one() -> None:
    text = REGULATED.replace("RAW", "Q1.collector", 4).replace("RAW -- Q1.collector\n", "")
    text = text.replace("RAW", "Q1.collector")
    with pytest.raises(InputError, match=r"Q1\.collector, has no name of its own"):
        on_rails(stage(text.replace("Q1.collector -- Q1.collector\n", "")), Ngspice())


def test_ripple_that_bends_the_dc_is_said() -> None:
    """A clipped node behind a feed without a reservoir: its mean is not its DC."""
    text = (
        "T1 winding 24 V 50 Hz 2 ohms\nground -- T1 -- A -- D1> rectifier -- RAW\n"
        "RAW -- R1 1K 2 W -- X\nground -- Z1> 5 V at 5 mA -- X\nX -- R2 10K -- ground\n"
    )
    fed = on_rails(stage(text), Ngspice())
    told = {node: (mean, direct) for node, mean, direct in fed.bent}
    mean, direct = told["X"]
    assert mean < 0.8 * direct
