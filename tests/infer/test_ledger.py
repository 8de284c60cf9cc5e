"""Currents by hand: the leaky coupling capacitor leaves its mark before any model is trusted."""

from __future__ import annotations

import pytest

from biaspredict.infer.ledger import ledger

from .stages import DIVIDER, readings, stage


def test_currents_are_ohms_law() -> None:
    of = stage(DIVIDER)
    found = ledger(of, readings("B+ 20.0\nQ1.base 3.4\nQ1.collector 7.3\nQ1.emitter 2.7", of))
    amps = {c.part: c.amps for c in found.currents}
    assert amps["R3"] == pytest.approx((20.0 - 7.3) / 4700)
    assert amps["R4"] == pytest.approx(2.7 / 1000)
    assert amps["R1"] == pytest.approx((20.0 - 3.4) / 47000)
    assert found.junctions[0].volts == pytest.approx(0.7)
    assert found.junctions[0].usual
    assert found.balances == ()


def test_current_that_goes_nowhere_known_is_told_with_its_way() -> None:
    """C2 takes 60 uA out of the base: (20-2.5)/47k - 2.5/10k leaves 122 uA where 6 to 24 should."""
    of = stage(DIVIDER)
    found = ledger(of, readings("B+ 20.0\nQ1.base 2.5\nQ1.collector 11.6\nQ1.emitter 1.83", of))
    balance = next(b for b in found.balances if b.node == "Q1.base")
    assert balance.amps == pytest.approx(17.5 / 47000 - 2.5 / 10000)
    assert balance.needed[1] < 30e-6
    assert "C2" in balance.through


def test_what_the_meter_takes_is_not_missed_elsewhere() -> None:
    """By hand: (20-1.9)/47k - 1.9/10k are 195 uA into the base, far more than it takes; a meter
    of 1.05 kohm/V on its 10 V range takes 181 uA of them."""
    of = stage(DIVIDER)
    text = "B+ 20.0\nQ1.collector 11.6\nQ1.emitter 1.2\nQ1.base 1.9"
    plain = ledger(of, readings(text, of))
    balance = next(b for b in plain.balances if b.node == "Q1.base")
    assert balance.amps == pytest.approx(18.1 / 47000 - 1.9 / 10000)
    needle = ledger(of, readings(f"{text} meter 1.05 kohm/V range 10 V", of))
    assert not any(b.node == "Q1.base" for b in needle.balances)


def test_two_readings_of_one_node_that_clash_point_at_the_joint() -> None:
    of = stage(DIVIDER)
    found = ledger(of, readings("Q1.collector 7.3\nR3.2 9.9", of))
    assert [c.node for c in found.clashes] == ["Q1.collector"]
    assert ledger(of, readings("Q1.collector 7.30\nR3.2 7.35", of)).clashes == ()
