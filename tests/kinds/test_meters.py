"""Meters load what they read: textbook figures, and what `suspect` makes of it."""

from __future__ import annotations

import pytest

from biaspredict.infer.tasks import task_of
from biaspredict.model.circuit import SOUND as AS_DRAWN
from biaspredict.pipeline import ranker
from biaspredict.predict.observe import Predictor
from tests.kinds.bench import LINE, first, judged, readings_of, stage_of

HUNDRED = 'stage "100 V"\nrail B+ 100 V\nB+ -- R1 10K -- A -- R2 10K -- ground\n'
THIRTY = 'stage "30 V"\nrail B+ 30 V\nB+ -- R1 25K -- A -- R2 5K -- ground\n'


@pytest.mark.parametrize(
    ("stage", "meter", "scale", "published"),
    [
        # Kalsi, Electronic Instrumentation, 3rd ed., examples 4.11 and 4.12, by a transcription
        (HUNDRED, "1 kohm/V", 50, 45.45),
        (HUNDRED, "20 kohm/V", 50, 49.75),
        (THIRTY, "1 kohm/V", 10, 3.53),
        (THIRTY, "20 kohm/V", 10, 4.9),
    ],
)
def test_a_needle_meter_takes_the_point_down(
    stage: str, meter: str, scale: int, published: float
) -> None:
    of = stage_of(stage)
    read = readings_of(f"A {published} meter {meter} range {scale} V\n", of)
    predictor = Predictor(of, ranker())
    seen = predictor.observe(
        [AS_DRAWN], predictor.sigmas[None] * 0.0, task_of(read, of).probes
    )
    assert seen.values[0, 0] == pytest.approx(published, rel=2e-3)


def test_your_base_reading_is_your_meter() -> None:
    """200 kohm on the 10 V range: the base falls from 2.63 to 2.35 V (bench case 3)."""
    verdict = judged(LINE, """meter 20 kohm/V
rail B+ 22.0 range 30 V
Q1.collector 8.2 range 10 V
Q1.base 2.35 range 10 V
Q1.emitter 1.95 range 10 V
""")
    assert verdict.sound
    (found,) = verdict.loading
    assert found.reading.name == "Q1.base"
    assert found.ohms == 200e3
    assert found.alone == pytest.approx(2.63, abs=0.01)
    assert found.shown == pytest.approx(2.35, abs=0.02)


def test_a_digital_meter_explains_no_low_base() -> None:
    verdict = judged(LINE, """meter 10 MEG
rail B+ 22.0
Q1.collector 12.44
Q1.base 2.03
Q1.emitter 1.37
""")
    assert verdict.loading == ()
    assert not verdict.sound


def test_a_loaded_base_that_is_too_low_even_so_is_not_the_meters_doing() -> None:
    verdict = judged(LINE, """meter 20 kohm/V
rail B+ 22.0 range 30 V
Q1.base 1.2 range 10 V
Q1.emitter 0.8 range 3 V
Q1.collector 15.5 range 30 V
""")
    assert "Q1.base" not in [found.reading.name for found in verdict.loading]


def test_each_reading_through_its_own_meter() -> None:
    """The same base by a valve voltmeter and by a 20 kohm/V meter: 2.63 and 2.35 V agree."""
    both = """rail B+ 22.0
Q1.base 2.63 meter 11 MEG 3% of range range 3 V
Q1.base 2.35 meter 20 kohm/V range 10 V
Q1.emitter 1.96
Q1.collector 8.44
"""
    verdict = judged(LINE, both)
    assert verdict.sound
    assert all(entry.inside for entry in verdict.compared)


def test_the_chart_has_a_meter_of_its_own() -> None:
    """Bench case 3: everything seems high, but the chart was read with 20 kohm/V at 22 V."""
    verdict = judged(LINE, """meter 10 MEG 1% + 2 digits
rail B+ 23.3
VA 18.56
Q1.collector 8.78
Q1.base 2.77
Q1.emitter 2.10
""")
    rows = {row.entry.name: row for row in verdict.charts}
    assert verdict.sound
    assert all(row.inside for row in rows.values())
    # 2.35 V through 200 kohm at 22 V is 2.77 V through 10 Mohm at 23.3 V, by ngspice apart
    assert rows["Q1.base"].means == pytest.approx(2.77, abs=0.02)
    assert rows["Q1.base"].meters
    assert not rows["Q1.emitter"].meters
    # a band of its own each: the collector's is wide, the emitter's is not a flat 10 %
    widths = {name: (row.high - row.low) / row.means for name, row in rows.items()}
    assert widths["Q1.collector"] > 1.5 * widths["Q1.emitter"]


def test_a_meter_that_turns_the_transistor_off_does_not_hide_the_fault() -> None:
    """The emitter capacitor is short; 20 kohm on the base takes it from 0.6 to 0.25 V."""
    stage = """stage "fed by megohms"
rail B+ 30 V 5%
assume resistors 10%
Q1 npn silicon gain 150..450
Q1.emitter -- R1 15K -- ground
B+ -- R2 120K -- Q1.collector
B+ -- R3 2.2M -- Q1.base
Q1.base -- R4 330K -- ground
ground -- C2+ 25 MFD 6V -- Q1.emitter
"""
    found = judged(stage, """meter 20 kohm/V 2.5% of range
rail B+ 28.2 range 30 V
Q1.collector 0.36 range 1 V
Q1.base 0.23 range 1 V
Q1.emitter 0 range 0.3 V
""")
    group = {s.faults[0].key for s in found.ranking.suspects if s.group == 1}
    assert {("C2", "short"), ("R1", "short")} <= group
    assert first(found) == ("C2", "short")


def test_a_valve_voltmeter_is_read_off_a_scale() -> None:
    """Its accuracy is a share of the range wherever the needle stands (common practice, no
    source; IEC 60051 calls it the class by fiducial value, from memory): 3 % of 30 V and half a
    division of fifty are 0.9 V and 0.3 V either way. Its ohms are those of the meter all the same.
    """
    of = stage_of(LINE)
    for value in (0.6, 27.0):
        line = f"Q1.collector {value} meter 11 MEG 3% of range range 30 V\n"
        task = task_of(readings_of(line, of), of)
        assert task.sigmas[0] == pytest.approx((0.9 + 0.3) / 3**0.5, rel=1e-6)
        assert task.probes[0].ohms == 11e6
    # a display of so many digits that is promised by the range has no divisions
    line = "Q1.collector 0.600 meter 10 MEG 0.1% of range 2 digits range 20 V\n"
    task = task_of(readings_of(line, of), of)
    assert task.sigmas[0] < 0.03 / 3**0.5
