"""The batched engine: textbook values, independent equations, and what it must refuse."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from biaspredict.engine.batch import Batch
from biaspredict.engine.elimination import Dense, Sparse
from biaspredict.engine.signals import determinant_sign
from biaspredict.engine.values import applied, device_at, rewired
from biaspredict.model.circuit import (
    CLOSED,
    OPEN,
    SOUND,
    Axis,
    Circuit,
    Device,
    Element,
    Load,
    Variation,
)
from tests.engine import chance, hand, textbook
from tests.engine.test_independent import CASES
from tests.engine.test_referee import BY_HAND

# The cubic that takes over from the exponential below -3 thermal volts, in both engines, is off
# by at most so much of the saturation current.
TAIL = 5e-3
STIFF = (Device.RESISTOR, Device.SOURCE)


def at(circuit: Circuit, variation: Variation = SOUND) -> dict[str, float]:
    found = Batch().solve(circuit, [variation])
    assert found.solved.all()
    return dict(zip(circuit.nodes, map(float, found.volts[0]), strict=False))


def ideal(name: str, c: str, b: str, e: str, gain: float, vbe: float, amps: float) -> Element:
    """The book's transistor: VBE as stated at its current, flat curves, no leakage."""
    law = (1.0, hand.saturation(amps, vbe), gain, 1.0, math.inf, 1e-15, 1.2)
    return Element(name, Device.BIPOLAR, (c, b, e), (*law, OPEN, OPEN, OPEN))


def test_fixed_bias() -> None:
    """Boylestad & Nashelsky, Electronic Devices and Circuit Theory, 10th ed., Ex 4.1, as
    transcribed publicly: 12 V, RB 240k, RC 2.2k, beta 50, VBE 0.7: IB 47.08 uA, VC 6.82 V."""
    volts = at(
        hand.circuit(
            hand.source("V", 12.0),
            hand.resistor("RB", "V", "b", 240e3),
            hand.resistor("RC", "V", "c", 2.2e3),
            ideal("Q1", "c", "b", "ground", 50.0, 0.7, 2.35e-3),
        )
    )
    assert (12.0 - volts["b"]) / 240e3 == pytest.approx(47.08e-6, rel=1e-3)
    assert volts["c"] == pytest.approx(6.82, abs=0.01)


def test_divider_bias() -> None:
    """Malvino & Bates, Electronic Principles, 7th ed., ch. 8, as published on a public page:
    10 V, 10k/2.2k, RC 3.6k, RE 1k, VBE 0.7: VB 1.78, VE 1.08, VC 6.14. The book neglects the
    base current; at beta 100 that costs 0.4 % (recomputed), so it is compared at beta 1e4."""
    volts = at(
        hand.circuit(
            hand.source("V", 10.0),
            hand.resistor("R1", "V", "b", 10e3),
            hand.resistor("R2", "b", "ground", 2.2e3),
            hand.resistor("RC", "V", "c", 3.6e3),
            hand.resistor("RE", "e", "ground", 1e3),
            ideal("Q1", "c", "b", "e", 1e4, 0.7, 1.08e-3),
        )
    )
    assert volts["b"] == pytest.approx(1.80, abs=0.005)  # 10 * 2.2 / 12.2
    assert volts["b"] == pytest.approx(1.78, rel=0.015)  # as printed, from rounded steps
    assert volts["e"] == pytest.approx(1.10, abs=0.005)
    assert volts["c"] == pytest.approx(10.0 - 3.6 * 1.10, abs=0.01)
    assert volts["c"] == pytest.approx(6.14, rel=0.02)


def test_fet_self_bias() -> None:
    """Boylestad & Nashelsky, Ex 7.2, as transcribed publicly: 20 V, RD 3.3k, RS 1k, IDSS 8 mA,
    VP -6: VS 2.6, VD 11.42. The book reads a graph: VS 2.587 solves its own equation."""
    law = (1.0, 8e-3, 6.0, 0.0)
    volts = at(
        hand.circuit(
            hand.source("V", 20.0),
            hand.resistor("RD", "V", "d", 3.3e3),
            hand.resistor("RS", "s", "ground", 1e3),
            hand.resistor("RG", "g", "ground", 1e6),
            Element("Q1", Device.JFET, ("d", "g", "s"), (*law, OPEN, OPEN, OPEN)),
        )
    )
    assert volts["s"] == pytest.approx(2.6, rel=0.006)
    assert volts["d"] == pytest.approx(11.42, rel=0.006)
    exact = volts["s"] / 1e3
    # GMIN at the gate moves it by 10 uV.
    assert exact == pytest.approx(8e-3 * (1.0 - volts["s"] / 6.0) ** 2, rel=1e-4)


@pytest.mark.parametrize("circuit", CASES.values(), ids=CASES.keys())
def test_agrees_with_textbook_equations(circuit: Circuit) -> None:
    found = Batch().solve(circuit, [SOUND])
    assert found.solved.all()
    assert np.abs(found.volts[0] - textbook.solve(circuit)).max() < 1e-3


@pytest.mark.parametrize(("variation", "by_hand"), BY_HAND.values(), ids=BY_HAND.keys())
def test_variation_is_the_circuit_edited_by_hand(variation: Variation, by_hand: Circuit) -> None:
    stage = hand.divider_stage()
    found = Batch().solve(stage, [SOUND, variation])
    assert found.solved.all()
    n = len(stage.nodes)
    # The hand's source in series is a Norton pair of 1 ohm.
    assert np.abs(found.volts[1, :n] - textbook.solve(by_hand)[:n]).max() < 1e-3 + 1e-4


def unbalanced(circuit: Circuit, variation: Variation, volts: np.ndarray) -> float:
    """Worst node: what the textbook's currents leave over, as a share of what is allowed."""
    faulted = rewired(applied(circuit, variation), variation)
    left, sizes = textbook.unbalance(faulted, volts[: len(faulted.nodes)], variation.loads)
    tails = 0.0
    for element in faulted.elements:
        if element.device in (Device.BIPOLAR, Device.JUNCTION):
            hot = device_at(element, element.values, faulted.celsius)
            tails += hot[1] + hot[5] if element.device is Device.BIPOLAR else hot[0]
    ohms = [x.value("ohms") for x in faulted.elements if x.device in STIFF]
    ohms += [load.ohms for load in variation.loads]
    # A volt has 16 digits, and a milliohm turns the last one into picoamperes.
    digit = 4.0 * np.finfo(float).eps * np.nanmax(np.abs(volts)) / max(min(ohms), CLOSED)
    # The constants of scipy and of the package agree to 2e-11, exponents of 40 to 1e-9.
    digit += 1e-9 * float(sizes.max())
    return float((np.abs(left) / (digit + 1e-14 + 1e-6 * sizes + TAIL * tails)).max())


def sane(variation: Variation) -> bool:
    """The textbook knows no sound joint's ohms as a floor, none of an open place as a ceiling,
    and one joint a lead: what is moved twice may lie beyond them."""
    leads, scaled = ([name for name, _ in some] for some in (variation.lifts, variation.scales))
    return len(leads) == len(set(leads)) and len(scaled) == len(set(scaled))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32))
def test_currents_add_up_whatever_the_circuit_and_its_faults(seed: int) -> None:
    rng = random.Random(seed)
    circuit = chance.circuit(rng)
    variations = [v for v in chance.faults(circuit, rng, 40) if sane(v)]
    found = Batch().solve(circuit, variations)
    assert found.solved.all()
    for variation, volts in zip(variations, found.volts, strict=True):
        assert unbalanced(circuit, variation, volts) < 1.0, variation


def test_spare_columns_stand_for_lifted_leads() -> None:
    stage = hand.divider_stage()
    n = len(stage.nodes)
    variations = [
        SOUND,
        Variation(lifts=(("R3.2", 1e3),)),
        Variation(lifts=(("R3.2", 1e3), ("Q1.base", OPEN))),
    ]
    found = Batch().solve(stage, variations)
    assert found.solved.all()
    assert np.isnan(found.volts[0, n:]).all()
    assert np.isfinite(found.volts[1, n])
    assert np.isnan(found.volts[1, n + 1])
    # Collector current flows through the joint and through R3 alike.
    top, collector = (stage.nodes.index(name) for name in ("B+", "collector"))
    volts = found.volts[1]
    assert (volts[n] - volts[collector]) / 1e3 == pytest.approx(
        (volts[top] - volts[n]) / 6.8e3, rel=1e-6
    )


def test_a_meter_on_a_lifted_lead() -> None:
    stage = hand.divider_stage()
    lift = Variation(lifts=(("R1.2", OPEN),))
    load = Variation(loads=(Load("R1.2 (lead)", "ground", 100e3),))
    found = Batch().solve(stage, [lift.plus(load)])
    top, lead = found.volts[0, stage.nodes.index("B+")], found.volts[0, len(stage.nodes)]
    assert lead == pytest.approx(top / 2.0, rel=1e-6)


def test_axes_spread_about_the_varied_value() -> None:
    stage = hand.divider_stage()
    both = Axis(("R1.ohms", "R2.ohms"), 0.1)
    rail = Axis(("B+.volts",), 1.0, additive=True)
    drifted = Variation(settings=(("R1.ohms", 150e3),), scales=(("R1.ohms", 2.0),))
    drawn = Batch().solve(stage, [drifted], [both, rail], np.array([[math.log(1.1), -2.0]]))
    meant = Variation(settings=(("R1.ohms", 330e3), ("R2.ohms", 24.2e3), ("B+.volts", 20.0)))
    written = Batch().solve(stage, [meant])
    assert np.abs(drawn.volts - written.volts).max() < 1e-8


def test_order_and_company_change_nothing() -> None:
    circuit, rng = hand.pair(), random.Random(3)
    variations = [v for v in chance.faults(circuit, rng, 300) if sane(v)]
    together = Batch().solve(circuit, variations)
    few = Batch()
    n = len(circuit.nodes)
    for i in range(0, len(variations), 29):
        alone = few.solve(circuit, [variations[i]])
        assert alone.solved[0] == together.solved[i]
        assert np.abs(alone.volts[0, :n] - together.volts[i, :n]).max() < 1e-6, variations[i]


def test_start_is_only_a_start() -> None:
    circuit = hand.pair()
    variations = [
        SOUND,
        Variation(lifts=(("Q1.base", 1e5),)),
        Variation(scales=(("R3.ohms", 9.0),)),
    ]
    first = Batch().solve(circuit, variations)
    again = Batch().solve(circuit, variations, start=first.volts + 0.2)
    assert again.solved.all()
    assert np.nanmax(np.abs(first.volts - again.volts)) < 1e-7


def test_nonsense_is_unsolved_and_harms_no_other() -> None:
    stage = hand.divider_stage()
    nonsense = [
        Variation(settings=(("R1.ohms", math.nan),)),
        Variation(settings=(("R1.ohms", -5.0),)),
        Variation(settings=(("Q1.gain", 0.0),)),
        Variation(settings=(("B+.volts", math.inf),)),
        Variation(settings=(("temperature", -300.0),)),
        Variation(loads=(Load("base", "ground", -1.0),)),
        Variation(loads=(Load("base", "ground", 1e3, math.nan),)),
        Variation(lifts=(("R1.1", math.nan),)),
    ]
    found = Batch().solve(stage, [SOUND, *nonsense, SOUND])
    assert found.solved.tolist() == [True, *[False] * len(nonsense), True]
    assert np.isnan(found.volts[1:-1]).all()
    assert not Batch().solve(stage, nonsense).solved.any()


def test_nodes_beyond_the_rails_are_not_believed() -> None:
    circuit = hand.circuit(
        hand.source("B+", 10.0),
        hand.resistor("R1", "B+", "x", 10e3),
        hand.current("I1", "x", "ground", 1e-3),
    )
    # 1 mA through R1 takes x to ground, but for the microvolt that it drops in the
    # milliohm of the source; 2 mA would take it to -10 V.
    found = Batch().solve(circuit, [SOUND, Variation(scales=(("I1.amps", 2.0),))])
    assert found.solved.tolist() == [True, False]
    assert found.volts[0, 1] == pytest.approx(-1e-3 * CLOSED, abs=1e-9)
    assert np.isnan(found.volts[1]).all()


@pytest.mark.parametrize("rail", [0.0, 9.0])
@pytest.mark.parametrize("lead", ["D1.anode", "D1.cathode"])
def test_a_zener_that_hangs_by_one_lead_is_no_reason_for_doubt(lead: str, rail: float) -> None:
    circuit = hand.circuit(
        hand.source("B+", rail),
        hand.resistor("R1", "B+", "x", 1e3),
        hand.junction("D1", "ground", "x", zener=18.0),
    )
    found = Batch().solve(circuit, [Variation(lifts=((lead, OPEN),))])
    assert found.solved.all()
    assert found.volts[0, 1] == pytest.approx(rail, abs=1e-6)


@pytest.mark.parametrize(
    "variation",
    [
        Variation(settings=(("R9.ohms", 1.0),)),
        Variation(scales=(("R1.gain", 1.0),)),
        Variation(lifts=(("R1.base", 1.0),)),
        Variation(moves=(("R1.1", "nowhere"),)),
        Variation(loads=(Load("nowhere", "ground", 1.0),)),
    ],
)
def test_unknown_names_are_errors(variation: Variation) -> None:
    with pytest.raises(KeyError):
        Batch().solve(hand.divider_stage(), [variation])


def test_nothing_to_solve() -> None:
    stage = hand.divider_stage()
    assert Batch().solve(stage, []).volts.shape == (0, len(stage.nodes))
    empty = Batch().solve(Circuit((), ()), [SOUND])
    assert empty.solved.all()
    assert empty.volts.shape == (1, 0)


def flip_flop() -> Circuit:
    """Two transistors cross-coupled: two stable states, and one between that is not."""
    return hand.circuit(
        hand.source("B+", 10.0),
        hand.resistor("R1", "B+", "c1", 2.2e3),
        hand.resistor("R2", "B+", "c2", 2.2e3),
        hand.resistor("R3", "c1", "b2", 22e3),
        hand.resistor("R4", "c2", "b1", 22e3),
        hand.silicon("Q1", "c1", "b1", "ground"),
        hand.silicon("Q2", "c2", "b2", "ground"),
    )


def test_never_the_unstable_point() -> None:
    circuit = flip_flop()
    c1, c2 = circuit.nodes.index("c1"), circuit.nodes.index("c2")
    # Even a start on the line between the states, where both sides are alike.
    starts = np.full((5, len(circuit.nodes)), 0.7)
    starts[:, circuit.nodes.index("B+")] = 10.0
    for start in (None, starts):
        found = Batch().solve(circuit, [SOUND] * 5, start=start)
        solved = found.volts[found.solved]
        for volts in solved:
            assert abs(volts[c1] - volts[c2]) > 5.0
            assert determinant_sign(circuit, SOUND, volts) > 0.0


def test_sparse_elimination_is_lapack() -> None:
    rng = np.random.default_rng(5)
    nodes, spares, many = 12, 2, 30
    pairs = [(int(a), int(b)) for a, b in rng.integers(0, nodes - spares, (14, 2))]
    sparse, dense = Sparse(pairs, nodes, spares), Dense(nodes)
    coupled = np.zeros((nodes, nodes), dtype=bool)
    for a, b in pairs:
        coupled[a, b] = coupled[b, a] = True
    coupled[nodes - spares :] = coupled[:, nodes - spares :] = True
    np.fill_diagonal(coupled, True)
    rows, columns = np.nonzero(coupled)
    # Diagonals large enough to need no pivots elsewhere, a third of them negative.
    size = rng.choice([12.0, 12.0, -12.0], size=(len(rows), many))
    weights = rng.normal(size=(len(rows), many)) + size * (rows == columns)[:, None]
    answers = []
    right = rng.normal(size=(nodes, many))
    turned, several = [], rng.normal(size=(nodes, 3, many))
    # one that needs a pivot off the diagonal, and so another way
    weights[rows == columns, 7] = 0.0
    for form in (sparse, dense):
        slopes = np.zeros((form.places, many))
        np.add.at(slopes, form.place(rows, columns), weights)
        turned.append((form.turned(slopes, several), *form.both(slopes, several)))
        slopes[form.diagonal[1:]] += 0.5
        answers.append((form.solve(slopes, right), form.signs(slopes, np.arange(many))))
    plain = np.arange(many) != 7
    assert np.abs(answers[0][0][1:] - answers[1][0][1:])[:, plain].max() < 1e-12
    assert (answers[0][1] == answers[1][1])[plain].all()
    for mine, theirs in zip(*turned, strict=True):
        assert np.abs(mine - theirs).max() < 1e-9
    assert {-1.0, 1.0} == set(answers[0][1])
