"""A diode whose current is faint drops less well known volts than one at its rated current."""

from __future__ import annotations

import math

import numpy as np
import pytest

from biaspredict.engine.batch import Batch
from biaspredict.model.circuit import SOUND
from biaspredict.predict.observe import Predictor
from biaspredict.predict.probe import Probe
from tests.infer.stages import stage

STAGE = """
stage "a diode fed through one resistor"
rail B+ 10 V 5%
B+ -- R1 {ohms} -- A -- D1> silicon -- ground
"""


def _doubt(ohms: str, meter: float = 1e12) -> tuple[float, float]:
    """(volts, their doubt) at the diode."""
    predictor = Predictor(stage(STAGE.format(ohms=ohms)), Batch())
    amounts = np.zeros((1, len(predictor.axes)))
    seen = predictor.observe([SOUND], amounts, [Probe("A", ohms=meter)])
    return float(seen.values[0, 0]), float(seen.doubt[0, 0])


def test_the_drop_is_doubtful_by_the_nepers_below_where_it_is_known() -> None:
    """Shockley with N times 25.7 mV: the drop falls by N per neper; N lies within 1 and 1.8."""
    at, well = _doubt("9.4K")  # about the milliampere at which the drop is known
    low, faint = _doubt("9.4M")
    assert well < 0.002
    nepers = math.log(1e3)
    assert at - low == pytest.approx(0.0257 * nepers, rel=0.03)
    assert faint == pytest.approx(0.45 * 0.0257 * nepers, rel=0.05)
    assert at - 1.8 * 0.0257 * nepers > low - 2.0 * faint


def test_a_diode_that_only_the_meter_feeds_is_as_doubtful() -> None:
    """As behind a transistor cut off: ten megohms draw less than a microampere through it."""
    text = (
        'stage "a diode that hangs in the air"\nrail B- -10 V 5%\n'
        "A -- D1> silicon -- B-\nA -- C1 0.1 MFD film -- ground\n"
    )
    predictor = Predictor(stage(text), Batch())
    amounts = np.zeros((1, len(predictor.axes)))
    seen = predictor.observe([SOUND], amounts, [Probe("A", ohms=10e6)])
    drop = float(seen.values[0, 0]) + 10.0
    nepers = (0.65 - drop) / 0.0257
    assert 0.4 < drop < 0.55
    assert float(seen.doubt[0, 0]) == pytest.approx(0.45 * 0.0257 * nepers, rel=0.1)
