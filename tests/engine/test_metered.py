"""What a meter shows by the linear stage, against solves with it connected and Ohm's law."""

from __future__ import annotations

import numpy as np
import pytest

from biaspredict.engine.batch import Batch
from biaspredict.engine.elimination import Dense, sparse
from biaspredict.engine.linear import Linear, linearise
from biaspredict.engine.metered import Meters
from biaspredict.engine.plan import plan_of
from biaspredict.model.circuit import SOUND, Axis, Circuit, Load, Variation
from tests.engine import hand
from tests.engine.test_linear import CIRCUITS, every_axis


def _read(
    circuit: Circuit, ohms: float, axes: list[Axis] | None = None, own: float = 0.0,
    nearby: Variation | None = None,
) -> Linear:
    """Every node to ground with a meter of its own."""
    n = len(circuit.nodes)
    volts = Batch().solve(circuit, [SOUND]).volts
    meters = Meters(np.full((1, n), ohms), np.full((1, n), own))
    beside = [] if nearby is None else [[nearby]]
    return linearise(
        circuit, [SOUND], axes or [], None, volts, [(k, -1) for k in range(n)], beside, meters
    )


@pytest.mark.parametrize("own", [0.0, 1.5])
def test_a_loaded_divider(own: float) -> None:
    """A divider of R1 over R2 with a meter of 20 kohm across R2, by Ohm's law: also the slopes
    along both resistors, which the meter changes."""
    e, r1, r2, meter = 30.0, 47e3, 33e3, 20e3

    def shown(one: float, two: float) -> float:
        return (e / one + own / meter) / (1 / one + 1 / two + 1 / meter)

    circuit = hand.circuit(
        hand.source("S", e, 1e-3), hand.resistor("R1", "S", "x", r1),
        hand.resistor("R2", "x", "ground", r2),
    )
    axes = [Axis((f"{ref}.ohms",), 0.1) for ref in ("R1", "R2")]
    near = Variation(settings=(("R2.ohms", r2 * 1.001),))
    linear = _read(circuit, meter, axes, own, near)
    x = circuit.nodes.index("x")
    assert linear.shown[0, x] == pytest.approx(shown(r1, r2), rel=1e-7)
    assert linear.bent[0, x] == pytest.approx(0.0, abs=1e-12)
    step = 1e-5
    for k, sides in enumerate([((r1 * (1 + step), r2), (r1 * (1 - step), r2)),
                               ((r1, r2 * (1 + step)), (r1, r2 * (1 - step)))]):
        slope = (shown(*sides[0]) - shown(*sides[1])) / (2 * step)
        assert linear.slopes[0, x, k] == pytest.approx(slope, rel=1e-5)
    rise = shown(r1, r2 * 1.001) - shown(r1, r2)
    assert linear.rises[0, x, 0] == pytest.approx(rise, rel=2e-3)


@pytest.mark.parametrize("ohms", [10e6, 1e6, 200e3])
@pytest.mark.parametrize("circuit", CIRCUITS.values(), ids=CIRCUITS.keys())
def test_what_it_shows_is_the_solve_with_it_connected(circuit: Circuit, ohms: float) -> None:
    """Where it says that it is nearly straight; of every device, along every axis."""
    axes = every_axis(circuit, additive=False)
    sigmas = np.array([axis.sigma for axis in axes])
    linear = _read(circuit, ohms, axes)
    loaded = [Variation(loads=(Load(node, "ground", ohms, 0.0),)) for node in circuit.nodes]
    found = Batch().solve(circuit, loaded)
    assert found.solved.all()
    near = 0
    for k, variation in enumerate(loaded):
        if not abs(linear.bent[0, k]) < 1e-3:
            continue
        near += 1
        told = linear.shown[0, k] + linear.bent[0, k]
        assert told == pytest.approx(found.volts[k, k], abs=2e-4, rel=2e-4), circuit.nodes[k]
        there = linearise(circuit, [variation], axes, None, found.volts[k : k + 1], [(k, -1)])
        off = np.abs((linear.slopes[0, k] - there.slopes[0, 0]) * sigmas)
        size = np.sqrt(((there.slopes[0, 0] * sigmas) ** 2).sum())
        assert off.max() <= 0.03 * size + 1e-4, (circuit.nodes[k], axes[int(off.argmax())])
    assert near >= len(circuit.nodes) // 2


def test_one_that_turns_a_transistor_off_is_beyond_any_step() -> None:
    """30 V through 2.2 Mohm feed a base 13 uA; 5 kohm from there to ground take all of it."""
    circuit = hand.circuit(
        hand.source("S", 30.0, 1.0), hand.resistor("R1", "S", "b", 2.2e6),
        hand.silicon("Q1", "c", "b", "ground"), hand.resistor("R2", "S", "c", 3.3e3),
    )
    base = circuit.nodes.index("b")
    assert np.isinf(_read(circuit, 5e3).bent[0, base])
    assert abs(_read(circuit, 100e6).bent[0, base]) < 1e-4


def test_where_slopes_differ_by_either_form() -> None:
    circuit = hand.divider_stage()
    plan = plan_of(circuit)
    nodes = plan.size + 1
    rng = np.random.default_rng(3)
    wired = sparse(plan, frozenset(), 0)
    i, j = wired.coupled
    here = rng.normal(size=(len(i), 4))
    there = here.copy()
    there[2, 1] += 0.25
    told = []
    for form in (wired, Dense(nodes)):
        laid = [np.zeros((form.places, 4)) for _ in range(2)]
        for slopes, weights in zip(laid, (here, there), strict=True):
            np.add.at(slopes, form.place(i, j), weights)
        told.append([part.tolist() for part in form.apart(*laid)])
    assert told[0] == told[1]
    assert told[0][:3] == [[i[2]], [j[2]], [1]]
    assert told[0][3] == pytest.approx([0.25])
