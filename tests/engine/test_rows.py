"""Where the elements of many variations stand, and where what they carry is added."""

from __future__ import annotations

import random

import numpy as np
import pytest

from biaspredict.engine.elimination import Dense, Form, sparse
from biaspredict.engine.legs import Legs, standing
from biaspredict.engine.network import SHUNT, Network
from biaspredict.engine.plan import lot, plan_of
from biaspredict.engine.solver import Floats
from biaspredict.engine.values import applied, leads, rewired
from biaspredict.model.circuit import SOUND, Circuit, Device, Element, Variation
from tests.engine import chance, hand


def _wild(seed: int) -> tuple[Circuit, list[Variation]]:
    rng = random.Random(seed)
    circuit = chance.circuit(rng)
    return circuit, [SOUND, *(chance.fault(circuit, rng) for _ in range(12))]


def _alone(circuit: Circuit, variation: Variation, volts: dict[str, float]) -> dict[str, float]:
    """What leaves each node, each variation by itself: its leads where they are, its joints and
    loads as resistors of their own."""
    wired = rewired(applied(circuit, variation), variation)
    loads = [
        Element(f"load {k}", Device.RESISTOR, (load.a, load.b), (load.ohms,))
        for k, load in enumerate(variation.loads)
    ]
    wired = Circuit(wired.nodes, (*wired.elements, *loads), wired.celsius)
    plan = plan_of(wired)
    nodes = np.array([[0.0], *([volts[name]] for name in wired.nodes)])
    leaving, _, _ = Network(plan, lot(plan, [SOUND])).balance(nodes)
    found = dict(zip(wired.nodes, leaving[1:, 0].tolist(), strict=True))
    for load in variation.loads:  # a resistor has no volts of its own
        for node, sign in ((load.a, -1.0), (load.b, 1.0)):
            if node != "ground":
                found[node] += sign * load.volts / load.ohms
    return found


@pytest.mark.parametrize("seed", range(40))
def test_many_at_once_are_each_by_itself(seed: int) -> None:
    circuit, variations = _wild(seed)
    plan = plan_of(circuit)
    made = lot(plan, variations)
    rng = np.random.default_rng(seed)
    nodes = rng.normal(0.0, 0.4, size=(plan.size + 1 + made.spares, len(variations)))
    nodes[0] = 0.0
    network = Network(plan, made)
    leaving, slopes, _ = network.balance(nodes)
    whole = network.form.whole(slopes)
    step = 1e-6
    for b, variation in enumerate(variations):
        names = [*circuit.nodes, *(f"{lead} (lead)" for lead in leads(variation))]
        volts = dict(zip(names, nodes[1:, b].tolist(), strict=False))
        alone = _alone(circuit, variation, volts)
        size = sum(map(abs, alone.values())) + 1e-9
        for i, name in enumerate(names):
            assert leaving[i + 1, b] == pytest.approx(alone[name], abs=1e-9 * size)
        j = int(rng.integers(len(names)))
        there = alone, _alone(circuit, variation, volts | {names[j]: volts[names[j]] + step})
        for i, name in enumerate(names):
            rise = (there[1][name] - there[0][name]) / step
            assert whole[b, i + 1, j + 1] == pytest.approx(rise, rel=1e-3, abs=1e-12 * size / step)
    kept = np.array([0, 3, 7, 11])
    sizes = network.traffic(kept)
    assert (sizes[1:] >= np.abs(leaving - SHUNT * nodes)[1:, kept] * (1 - 1e-9) - 1e-15).all()
    network.keep(kept)
    again, fewer, _ = network.balance(nodes[:, kept])
    assert again == pytest.approx(leaving[:, kept], rel=1e-9, abs=1e-12)
    assert network.form.whole(fewer)[:, 1:, 1:] == pytest.approx(whole[kept][:, 1:, 1:], rel=1e-9)


def _sides(legs: Legs, held: Floats) -> Floats:
    every = legs.each if not legs.shared else np.repeat(legs.each, legs.many, axis=2)
    return held[every, np.arange(legs.many)]


@pytest.mark.parametrize("seed", range(10))
def test_legs_are_where_a_variation_has_put_them(seed: int) -> None:
    circuit, variations = _wild(seed)
    plan = plan_of(circuit)
    made = lot(plan, variations)
    places = [k for k, e in enumerate(circuit.elements) if e.device is Device.RESISTOR]
    names = [circuit.elements[k].name for k in places]
    table = np.array([[plan.leg[f"{name}.{end}"] for name in names] for end in ("1", "2")])
    legs = standing(made, table)
    moved = False
    for b, variation in enumerate(variations):
        goes = {lead: plan.node[node] for lead, node in variation.moves}
        goes |= {lead: plan.size + 1 + k for k, (lead, _) in enumerate(variation.lifts)}
        for d, name in enumerate(names):
            for t, end in enumerate(("1", "2")):
                usual = plan.node[circuit.elements[places[d]].nodes[t]]
                want = goes.get(f"{name}.{end}", usual)
                moved |= want != usual
                assert legs.of(np.array([d]), np.array([b]))[t, 0] == want
    assert legs.shared != moved
    rng = np.random.default_rng(seed)
    nodes = rng.normal(size=(plan.size + 1 + made.spares, made.many))
    assert (legs.volts(nodes) == _sides(legs, nodes)).all()
    held = rng.normal(size=(len(nodes), 3, made.many))
    some = [0, len(names) - 1]
    for t in range(2):
        there = np.stack([_sides(legs, held[:, k])[t] for k in range(3)], axis=1)
        assert (legs.at(t, held) == there).all()
        assert (legs.at(t, held, some) == there[some]).all()
        assert (legs.across(held.transpose(1, 0, 2), t) == there.transpose(1, 0, 2)).all()
    kept = np.array([1, 2, 5, 12])
    fewer = legs.keep(kept)
    assert (fewer.volts(nodes[:, kept]) == legs.volts(nodes)[:, :, kept]).all()


@pytest.mark.parametrize("make", [lambda plan: Dense(plan.size + 1),
                                  lambda plan: sparse(plan, frozenset(), 0)])
def test_of_many_resistors_at_one_node_none_is_lost(make: object) -> None:
    """Ten equal resistors from one rail to ten loads: Ohm's law by hand."""
    elements = [hand.source("S", 10.0, 1.0)]
    for k in range(10):
        elements.append(hand.resistor(f"A{k}", "S", f"n{k}", 100.0))
        elements.append(hand.resistor(f"B{k}", f"n{k}", "ground", 300.0))
    circuit = hand.circuit(*elements)
    plan = plan_of(circuit)
    form: Form = make(plan)  # type: ignore[operator]
    network = Network(plan, lot(plan, [SOUND, SOUND]), form)
    leaving, slopes, _ = network.balance(np.zeros((plan.size + 1, 2)))
    whole = form.whole(slopes)
    s = plan.node["S"]
    assert whole[:, s, s] == pytest.approx([1.1, 1.1], rel=1e-9)
    assert leaving[s] == pytest.approx([-10.0, -10.0], rel=1e-12)
    volts = form.solve(slopes, -leaving)
    # 400 ohm ten times beside each other behind 1 ohm
    assert volts[s] == pytest.approx([10.0 * 40.0 / 41.0] * 2, rel=1e-9)
    assert volts[plan.node["n4"]] == pytest.approx([7.5 * 40.0 / 41.0] * 2, rel=1e-9)
