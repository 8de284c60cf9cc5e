"""One net, two voltages: the joint between them is named, and only then."""

from __future__ import annotations

from biaspredict.pipeline import suspect

from .stages import DIVIDER, readings, stage


def test_two_voltages_on_one_net_name_the_joint_between() -> None:
    """With the joint at R3.2 open no current flows in R3, so its lead stands at the rail; base and
    emitter are a diode: (3.51 - 0.63 V) / (8.25k + 1k) is 0.31 mA, 0.31 V at the emitter, 0.94 V
    at the base, and the idle collector rests on the emitter. Worked by hand."""
    of = stage(DIVIDER)
    read = readings("B+ 20.0\nQ1.base 0.94\nQ1.emitter 0.31\nQ1.collector 0.32\nR3.2 20.0", of)
    found = suspect(of, read).ranking
    first = {s.faults[0].part.split(".")[0] for s in found.suspects if s.group == 1}
    # either of the two leads that were touched may be the one that hangs
    assert first == {"R3", "Q1"}
    assert any(s.faults[0].part == "R3.2" and s.weight > 0.3 for s in found.suspects)
    assert found.explained


def test_agreeing_places_of_one_net_leave_the_joint_alone() -> None:
    of = stage(DIVIDER)
    read = readings(
        "B+ 20.0\nQ1.base 3.38\nQ1.emitter 2.72\nQ1.collector 7.4\nR3.2 7.41", of
    )
    found = suspect(of, read).ranking
    assert found.sound > 0.8
