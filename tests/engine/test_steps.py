"""How far one step may move a junction."""

from __future__ import annotations

import math

import numpy as np
import pytest

from biaspredict.engine.junctions import critical, exponential, limited
from biaspredict.engine.network import Network
from biaspredict.engine.newton import newton
from biaspredict.engine.plan import lot, plan_of
from biaspredict.model.circuit import SOUND
from tests.engine import hand

SATURATION = hand.saturation(1e-3, 0.62)


def _steps(amps: float, start: float, *, bold: bool, most: int = 60) -> tuple[int, float]:
    """Newton steps of a junction that is fed a current, beside 1 Gohm, from `start` volts."""
    thermal = np.array([hand.VT25])
    bend = critical(thermal, np.array([SATURATION]))
    at = old = np.array([start])
    for step in range(1, most + 1):
        rise, slope = exponential(at / thermal)
        by = SATURATION / thermal * slope + 1e-9
        new = at - (SATURATION * rise + 1e-9 * at - amps) / by
        old, (at, held) = at, limited(new, at, thermal, bend, bold)
        if not held.any() and abs(at[0] - old[0]) < 1e-9:
            return step, float(at[0])
    raise AssertionError("no end")


@pytest.mark.parametrize("amps", [1e-3, 1e-5, 1e-7, 1e-8])
@pytest.mark.parametrize("start", [0.3, 0.45, 0.62, 0.66])
def test_a_fed_junction_takes_few_steps(amps: float, start: float) -> None:
    """By the diode law v = VT ln(1 + i/Is): from far above and far below."""
    steps, volts = _steps(amps, start, bold=True)
    assert volts == pytest.approx(hand.VT25 * math.log1p(amps / SATURATION), abs=2e-3)
    assert steps <= 10
    assert _steps(amps, start, bold=False)[1] == pytest.approx(volts, abs=1e-9)


def test_a_starved_junction_falls_by_several_nepers_at_once() -> None:
    """From 1 mA to 10 nA are 11.5 nepers: plain steps are of one thermal volt, bold ones of 2.66
    (a share of 0.07 is left), and either way a few more to the last digit."""
    plain, bold = (_steps(1e-8, 0.62, bold=bold)[0] for bold in (False, True))
    assert plain >= 11
    assert bold <= math.ceil(11.5 / 2.66) + 5


def test_a_step_that_falls_lower_by_itself_is_left() -> None:
    thermal = np.full(3, hand.VT25)
    old = np.full(3, 0.5)
    new = old - thermal * np.array([3.0, 0.9, 0.3])
    at, held = limited(new, old, thermal, critical(thermal, np.full(3, SATURATION)), True)
    assert held.tolist() == [False, True, False]
    assert at[[0, 2]].tolist() == new[[0, 2]].tolist()
    assert at[1] == pytest.approx(0.5 + hand.VT25 * math.log(0.1), abs=1e-12)
    assert not limited(new, old, thermal, np.full(3, 0.7), False)[1].any()


@pytest.mark.parametrize("bold", [False, True])
def test_both_ways_end_at_one_point(bold: bool) -> None:
    """A transistor that a high base resistor starves, from where a low one had it."""
    circuit = hand.circuit(
        hand.source("B+", 20.0), hand.resistor("RC", "B+", "c", 4.7e3),
        hand.resistor("RB", "B+", "b", 220e6), hand.silicon("Q", "c", "b", "ground"),
    )
    plan = plan_of(circuit)
    network = Network(plan, lot(plan, [SOUND]))
    nodes = np.zeros((plan.size + 1, 1))
    for name, volts in (("B+", 20.0), ("c", 0.1), ("b", 0.7)):
        nodes[plan.node[name]] = volts
    network.start(nodes, bold=bold)
    found = newton(network, nodes, 40)
    assert found.solved.all()
    base = (20.0 - float(found.nodes[plan.node["b"], 0])) / 220e6
    drop = 20.0 - float(found.nodes[plan.node["c"], 0])
    # gain 150, raised by the Early effect at some 20 V over 80 V; ICBO of 10 nA comes on top
    assert 150.0 < drop / 4.7e3 / base < 150.0 * 1.25 * 1.2
