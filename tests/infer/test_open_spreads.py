"""A reading that the tolerances leave wide open: no outcome lies beyond all numbers."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from biaspredict import pipeline
from biaspredict.notation import read_readings
from biaspredict.predict.meters import unlogged

PUSH_PULL = Path(__file__).parents[2] / "circuits" / "germanium-push-pull.stage"
# Of a specimen of richer devices with two small faults (tests/proving).
SHEET = '''readings "bench"
meter 10 MEG 1% + 2 digits

rail B- -9.07
Q1.collector -8.57
Q1.base -1.56
Q1.emitter -1.41
Q2.collector about -9.1
Q2.base -0.15
Q2.emitter -0.023
Q3.collector -9.05
Q3.base -0.15
'''


def test_the_advice_ends_where_numbers_do() -> None:
    stage = pipeline.load_stage(PUSH_PULL)
    verdict = pipeline.suspect(stage, read_readings(SHEET, "bench", stage))
    ends = [end for split in verdict.splits for o in split.outcomes for end in (o.low, o.high)]
    assert ends
    assert all(math.isfinite(end) for end in ends)


def test_a_logarithm_beyond_all_numbers() -> None:
    assert unlogged(math.log(47e3)) == pytest.approx(47e3)
    assert unlogged(1e4) == pytest.approx(1e15)
    assert unlogged(-1e4) == pytest.approx(1e-15)
