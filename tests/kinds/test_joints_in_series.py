"""Joints in series with parts that have no drift to stand for them."""

from __future__ import annotations

from biaspredict.infer.faults import Fault
from biaspredict.infer.joints import joints_read
from biaspredict.infer.priors import standard_priors
from biaspredict.model.circuit import Variation
from tests.proving import adapter

STAGE = """stage "winding in the collector"
rail B+ 12 V
Q1 npn silicon gain 100..300
B+ -- R1 47K -- Q1.base -- R2 6.8K -- ground
B+ -- T1 winding 20 ohms -- Q1.collector
Q1.emitter -- R3 470 -- ground
"""


def test_a_winding_may_have_a_resistive_joint_from_volts_alone() -> None:
    from biaspredict.front import read_readings, suspect

    stage = adapter.parse(STAGE)
    # R1 and R2 alone give 1.52 V, so 0.88 V at the emitter and 1.9 mA: 3 kohm in the joint
    # take 5.6 V of the 12 V, by hand.
    taken = read_readings(
        'readings "volts"\nmeter 10 MEG\nrail B+ 12.0\n'
        "Q1.base 1.47\nQ1.emitter 0.85\nQ1.collector 6.6\n", stage)
    (found,) = [f for f in joints_read(stage, taken, standard_priors()) if f.part == "T1"]
    assert isinstance(found, Fault)
    assert found.act(3000.0) == Variation(settings=(("T1.ohms", 3020.0),))
    named = {part for s in suspect(stage, taken).ranking.suspects if s.group == 1
             for part in s.parts}
    assert "T1" in named
    assert not [f for f in joints_read(stage, taken, standard_priors()) if f.part == "R1"]
