"""A meter that takes more current than feeds a base turns the transistor off."""

from __future__ import annotations

import numpy as np
import pytest

from biaspredict.engine.batch import Batch
from biaspredict.model.circuit import SOUND, Variation
from biaspredict.notation.build import read_stage
from biaspredict.predict.observe import Predictor
from biaspredict.predict.probe import Probe

NEEDLE, DIGITAL = 20e3, 10e6  # ohms on the 1 V range of 20 kohm/V; of a digital meter


def _stage(polarity: str = "npn", rail: int = 30, *, stiff: bool = False) -> Predictor:
    upper, lower, emitter = ("220K", "33K", "4.7K") if stiff else ("2.2M", "330K", "10")
    lines = f"""stage "fed by megohms"
rail SUPPLY {rail} V 5%
assume resistors 10%
Q1 {polarity} silicon gain 150..450
Q1.emitter -- R1 {emitter} -- ground
SUPPLY -- R2 {"10K" if stiff else "120K"} -- Q1.collector
SUPPLY -- R3 {upper} -- Q1.base
Q1.base -- R4 {lower} -- ground
"""
    return Predictor(read_stage(lines), Batch())


def _both(predictor: Predictor, ohms: float) -> tuple[float, float, float]:
    """What the meter shows at the base, what a first look says, and its doubt."""
    probes = [Probe("Q1.base", ohms=ohms, name="Q1.base")]
    amounts = np.zeros((1, len(predictor.axes)))
    exact = predictor.observe([SOUND], amounts, probes)
    rough = predictor.observe([SOUND], amounts, probes, solved=predictor.middle([SOUND]))
    return float(exact.values[0, 0]), float(rough.values[0, 0]), float(rough.doubt[0, 0])


@pytest.mark.parametrize(("polarity", "rail"), [("npn", 30), ("pnp", -30)])
def test_a_needle_turns_a_transistor_off(polarity: str, rail: int) -> None:
    """Off, the base is a divider of R3 over R4 and the meter (Ohm's law)."""
    exact, rough, doubt = _both(_stage(polarity, rail), NEEDLE)
    below = 1 / (1 / 330e3 + 1 / NEEDLE)
    assert exact == pytest.approx(rail * below / (2.2e6 + below), abs=2e-3)
    assert abs(rough - exact) > 0.3, "the first look is expected to be wrong here"
    assert abs(rough - exact) < 2 * doubt


def test_a_digital_meter_leaves_it_on() -> None:
    exact, rough, doubt = _both(_stage(), DIGITAL)
    assert 0.55 < exact < 0.7
    assert rough == pytest.approx(exact, abs=1e-3)
    assert doubt < 1e-4


def test_what_the_feed_gives_up_is_not_the_base_s_loss() -> None:
    """With ohms in the emitter the base follows its divider: the linear stage is right about."""
    exact, rough, doubt = _both(_stage(stiff=True), 200e3)
    assert rough == pytest.approx(exact, rel=0.03)
    assert abs(rough - exact) < 2 * doubt < 0.2 * exact


def test_what_leaks_unwritten_counts_where_ohms_are_high() -> None:
    """5 nA through what the meter and the stage leave: 10 Mohm beside 11 Mohm make 26 mV."""
    text = 'stage "high"\nrail SUPPLY 30 V 5%\nSUPPLY -- R1 22M -- HALF -- R2 22M -- ground\n'
    predictor = Predictor(read_stage(text), Batch())
    probes = [Probe(node, ohms=DIGITAL, name=node) for node in ("HALF", "SUPPLY")]
    seen = predictor.observe([SOUND], np.zeros((1, len(predictor.axes))), probes)
    assert seen.doubt[0] == pytest.approx([5e-9 / (1 / 11e6 + 1 / 10e6), 0.0], abs=1e-6)


def test_a_point_that_only_the_meter_discharges_is_no_matter_of_doubt() -> None:
    """Behind a sound capacitor the meter reads nothing, however rough the look; behind one that
    leaks, what a divider of leak over meter gives (Ohm's law)."""
    text = 'stage "out"\nrail SUPPLY 30 V 5%\nSUPPLY -- R1 1K -- C1 1 MFD film -- OUT\n'
    predictor = Predictor(read_stage(text), Batch())
    probes = [Probe("OUT", ohms=DIGITAL, name="OUT")]
    leaking = Variation(settings=(("C1.leak", 2e6),))
    amounts = np.zeros((2, len(predictor.axes)))
    for solved in (None, predictor.middle([SOUND, leaking])):
        seen = predictor.observe([SOUND, leaking], amounts, probes, solved=solved)
        assert seen.values[:, 0] == pytest.approx([0.0, 30 * 10 / 12.001], abs=0.01)
        assert seen.doubt[:, 0] == pytest.approx([0.05, 5e-9 / (1 / 2e6 + 1 / 10e6)], rel=0.05)
