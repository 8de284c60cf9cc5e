"""Ohms with the power off: against a solve by hand, a needle's scale, facts of the trade."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from biaspredict.engine.batch import Batch
from biaspredict.engine.ngspice import Ngspice
from biaspredict.errors import InputError
from biaspredict.model.readings import Quantity, Reading
from biaspredict.model.stage import Meter, Stage
from biaspredict.notation import read_stage
from biaspredict.notation.typed import read_meter, read_place
from biaspredict.predict.meters import (
    ohmmeter,
    ohms_middle,
    ohms_shown,
    ohms_sigma,
    reading_sigma,
)
from biaspredict.predict.ohms import opened, predict_ohms
from biaspredict.predict.ohms_records import Ohms, OhmsAt, Place
from biaspredict.report.measuring import page
from tests.predict.by_scipy import NODES, TEXT, Leads, after, settled

STAGE = read_stage(TEXT, "off.stage")
DIGITAL = Meter()
NEEDLE = read_meter("20 kohm/V battery 1.5 V mid-scale 20")


def taken(stage: Stage, meter: Meter, *places: Place, seconds: float = 10.0) -> Ohms:
    return predict_ohms(stage, Ngspice(), Batch(), meter, places or None, seconds)


@pytest.fixture(scope="module", params=["digital", "needle"])
def both(request: pytest.FixtureRequest) -> tuple[Meter, Ohms]:
    meter = DIGITAL if request.param == "digital" else NEEDLE
    return meter, taken(STAGE, meter, seconds=1.0)


def range_of(meter: Meter, at: OhmsAt, red: bool) -> tuple[float, float]:
    return ohmmeter(meter, (at.red if red else at.black).ohms)


def test_every_node_both_ways_round_is_what_scipy_finds(both: tuple[Meter, Ohms]) -> None:
    meter, found = both
    assert [at.place.node for at in found.places] == [n for n in STAGE.nodes if n != "ground"]
    assert {at.place.node for at in found.places} == set(NODES)
    for at in found.places:
        for red, way in ((True, at.red), (False, at.black)):
            ohms, volts = range_of(meter, at, red)
            node = at.place.node
            leads = Leads(node, None, ohms, volts) if red else Leads(None, node, ohms, volts)
            assert way.ohms == pytest.approx(settled(leads), rel=1e-3), (node, red)
            assert way.low < way.ohms < way.high


def test_junctions_conduct_for_a_needle_and_not_for_a_digital_meter() -> None:
    base = Place("Q1.base", "Q1.base")
    low = taken(STAGE, DIGITAL, base).places[0]
    high = taken(STAGE, NEEDLE, base).places[0]
    assert low.same
    # 1.5 V at the leads open the base-emitter junction: its resistor and the collector's join in
    assert high.red.ohms < 0.6 * high.black.ohms


def test_between_two_points(both: tuple[Meter, Ohms]) -> None:
    meter, _ = both
    at = taken(STAGE, meter, Place("VA", "VA", "Q1.base", "Q1.base")).places[0]
    for red, way in ((True, at.red), (False, at.black)):
        ohms, volts = range_of(meter, at, red)
        pair = ("VA", "Q1.base") if red else ("Q1.base", "VA")
        assert way.ohms == pytest.approx(settled(Leads(*pair, ohms, volts)), rel=1e-3)


def test_charging_is_what_scipy_integrates(both: tuple[Meter, Ohms]) -> None:
    meter, found = both
    for at in found.places:
        if at.place.node in ("VA", "Q1.collector"):
            climb = at.red.climb
            assert climb is not None
            assert "C4" in climb.capacitors
            ohms, volts = range_of(meter, at, True)
            leads = Leads(at.place.node, None, ohms, volts)
            assert climb.after == pytest.approx(after(leads, 1.0), rel=0.01)
            assert climb.starts < climb.after


def test_one_resistor_and_one_capacitor_by_hand() -> None:
    """1K beside 50 uF on the 2K range: 0.5 V behind 3K, time constant 750 ohm x 50 uF."""
    at = taken(STAGE, DIGITAL, Place("Q1.emitter", "Q1.emitter")).places[0]
    assert at.red.ohms == pytest.approx(1e3, rel=1e-3)
    climb = at.red.climb
    assert climb is not None
    assert climb.capacitors == ("C3",)
    # 950 ohm show at 0.1203 V of the final 0.125 V
    across = 0.5 * 950.0 / (3e3 + 950.0)
    wanted = -750.0 * 50e-6 * math.log(1.0 - across / 0.125)
    assert climb.seconds == pytest.approx(wanted, rel=0.05)


def test_a_slow_capacitor_is_told_as_still_climbing() -> None:
    slow = read_stage(
        'stage "slow"\nrail B+ 22 V off 100K\nB+ -- R1 10K -- A -- R2 470K -- ground\n'
        "A -- +C1 1000 MFD 25V -- ground\n", "slow.stage")
    climb = taken(slow, DIGITAL, Place("A", "A")).places[0].red.climb
    assert climb is not None
    assert climb.after < 0.95 * taken(slow, DIGITAL, Place("A", "A")).places[0].red.ohms
    # 200K range: 300K in parallel with 470K and 110K, times 1000 uF; about 3 time constants
    constant = 1e-3 / (1 / 300e3 + 1 / 470e3 + 1 / 110e3)
    assert climb.seconds is not None
    assert 2.0 * constant < climb.seconds < 4.0 * constant


def test_bands_hold_95_percent_of_drawn_specimens() -> None:
    """Drawn here by Ohm's law, resistors and what is said of the rail evenly within 10 %; the
    meter adds 2 %."""
    random = np.random.default_rng(5)
    at = taken(STAGE, DIGITAL, Place("VA", "VA")).places[0]
    plain = []
    for _ in range(2000):
        r1, r2, r5, off = (
            random.uniform(0.9, 1.1) * r for r in (220e3, 47e3, 2.2e3, 3.3e3))
        meter = random.uniform(0.98, 1.02)
        plain.append(meter / (1 / (r5 + off) + 1 / (r1 + r2)))
    low, high = np.quantile(plain, (0.025, 0.975))
    assert at.red.low == pytest.approx(low, rel=0.02)
    assert at.red.high == pytest.approx(high, rel=0.02)


def test_a_rail_of_which_nothing_is_said_leaves_the_reading_open() -> None:
    unknown = read_stage(TEXT.replace(" off 3.3K", ""), "off.stage")
    found = taken(unknown, DIGITAL, Place("B+", "B+"))
    assert found.unknown == ("B+",)
    assert found.places[0].red.low < 60.0
    assert found.places[0].red.high > 100e3
    # what does not hang on the rail is as well known as ever
    emitter = taken(unknown, DIGITAL, Place("Q1.emitter", "Q1.emitter")).places[0]
    assert emitter.red.high / emitter.red.low < 1.3


def test_the_diode_range_tells_the_junctions() -> None:
    drops = {d.legs: d for d in taken(STAGE, DIGITAL).drops}
    # 1 mA less what the base resistors take: a little under the 0.655 V at 1 mA
    assert drops["base to emitter"].forward == pytest.approx(0.65, abs=0.01)
    assert drops["base to emitter"].backward is None
    assert drops["base to collector"].forward is not None


def test_a_pnp_is_the_other_way_round() -> None:
    pnp = read_stage(
        'stage "pnp"\nrail B- -12 V off 10K\nQ1 pnp germanium\n'
        "B- -- R1 22K -- Q1.base -- R2 4.7K -- ground\nB- -- R3 1.5K -- Q1.collector\n"
        "Q1.emitter -- R4 680 -- ground\n", "pnp.stage")
    base = taken(pnp, NEEDLE, Place("Q1.base", "Q1.base")).places[0]
    assert base.black.ohms < 0.7 * base.red.ohms  # black lead positive side away: conducts


def test_an_open_point_reads_over() -> None:
    loose = read_stage(
        'stage "loose"\nrail B+ 10 V off 1K\nB+ -- R1 1K -- A -- C1 1 uF film -- OUT\n'
        "A -- R2 1K -- ground\n", "loose.stage")
    at = taken(loose, DIGITAL, Place("OUT", "OUT")).places[0]
    assert opened(at.red.ohms)


def test_a_needle_shows_its_mid_scale_at_half_deflection() -> None:
    """Series ohmmeter: half the open-circuit volts at its leads with its own resistance there."""
    assert ohms_shown(np.array([0.75]), 20.0, 1.5)[0] == pytest.approx(20.0)
    inner, volts = ohmmeter(NEEDLE, 25.0)
    assert (inner, volts) == (20.0, 1.5)
    assert ohms_middle(NEEDLE, 15e3) == 20e3
    assert ohms_middle(NEEDLE, 1e12) == 20e4 * 1.0


def test_a_needle_is_worst_at_the_ends_of_its_scale() -> None:
    """Error of deflection d is d (1 + r)^2 / r of the ohms: fourfold at mid-scale."""
    share = NEEDLE.accuracy + 0.01
    assert ohms_sigma(20.0, NEEDLE) == pytest.approx(4.0 * share / math.sqrt(3.0))
    assert ohms_sigma(2.0, NEEDLE) > 2.5 * ohms_sigma(20.0, NEEDLE)
    assert ohms_sigma(20.0, DIGITAL) < 0.02


def test_leads_count_in_a_low_reading() -> None:
    short = Reading("A", "A", 0.2, Quantity.OHMS)
    assert reading_sigma(short, DIGITAL) > 0.2


def test_places_and_meters_as_typed() -> None:
    place = read_place("q1.base to Q1.emitter", STAGE)
    assert (place.node, place.minus) == ("Q1.base", "Q1.emitter")
    across = read_place("across R3", STAGE)
    assert (across.node, across.minus) == ("VA", "Q1.collector")
    assert NEEDLE.open_volts == 1.5
    assert read_meter("10 MEG test 0.4 V").test_volts == 0.4
    with pytest.raises(InputError, match=r"Q1\.bse"):
        read_place("Q1.bse", STAGE)
    with pytest.raises(InputError, match="the meter 'foo'"):
        read_meter("foo")
    with pytest.raises(InputError):
        read_meter("")


def test_a_point_all_but_open_is_told_in_figures_a_person_can_use() -> None:
    """Behind two junctions the wrong way round: the drawn specimens' band, not a slope's, and
    what the meter cannot show is `over`."""
    stage = read_stage(
        'stage "blocked"\nrail B+ 12 V off 1K\nB+ -- R1 10K -- A\nA -- D1> silicon -- TOP\n'
        "TOP -- R2 220K -- B -- <D2 silicon -- ground\nB -- R3 1MEG -- OUT\n", "blocked.stage")
    found = taken(stage, DIGITAL, Place("OUT", "OUT"), Place("TOP", "TOP"), Place("A", "A"))
    for at in found.places:
        for way in (at.red, at.black):
            assert way.low <= way.ohms <= way.high
            assert way.low > 1e3  # nothing here joins a point to ground by less
    text = page(found, ())
    assert not re.search(r"\d{2,}M ohm to|\b0\.\d+ ohm to", text)
    blocked = next(line for line in text.split("\n") if line.startswith("  TOP"))
    assert "over" in blocked
    assert "over: beyond the meter's 20M ohm." in text
    assert found.places[2].red.ohms == pytest.approx(11e3, rel=0.01)
