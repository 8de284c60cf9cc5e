"""The referee: variations, refusals, and what a failed run leaves behind."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from biaspredict.engine.deck import Deck, deck
from biaspredict.engine.ngspice import Ngspice, using
from biaspredict.model.circuit import SOUND, Axis, Circuit, Device, Load, Variation
from tests.engine import hand, textbook

STAGE = hand.divider_stage()
PAIR = hand.pair()


def column(circuit: Circuit, node: str) -> int:
    return circuit.nodes.index(node)


def edited(circuit: Circuit, name: str, **changes: object) -> Circuit:
    """The circuit with one element written differently by hand."""
    return replace(
        circuit,
        elements=tuple(replace(e, **changes) if e.name == name else e for e in circuit.elements),
    )


BY_HAND = {
    "resistor set": (
        Variation(settings=(("R1.ohms", 180e3),)),
        edited(STAGE, "R1", values=(180e3,)),
    ),
    "set, then scaled": (
        Variation(settings=(("R1.ohms", 90e3),), scales=(("R1.ohms", 2.0),)),
        edited(STAGE, "R1", values=(180e3,)),
    ),
    "scaled twice": (
        Variation(scales=(("R4.ohms", 2.0), ("R4.ohms", 0.25))),
        edited(STAGE, "R4", values=(750.0,)),
    ),
    "leaky capacitor": (
        Variation(settings=(("C2.leak", 820.0),)),
        edited(STAGE, "C2", values=(50e-6, 820.0, 0.0)),
    ),
    "rail down": (
        Variation(settings=(("B+.volts", 11.0), ("B+.ohms", 1e3))),
        edited(STAGE, "B+", values=(11.0, 1e3)),
    ),
    "lead moved": (
        Variation(moves=(("R2.1", "emitter"),)),
        edited(STAGE, "R2", nodes=("emitter", "ground")),
    ),
    "collector and emitter swapped": (
        Variation(moves=(("Q1.collector", "emitter"), ("Q1.emitter", "collector"))),
        edited(STAGE, "Q1", nodes=("emitter", "base", "collector")),
    ),
    "PNP in place of NPN": (
        Variation(settings=(("Q1.polarity", -1.0),)),
        edited(STAGE, "Q1", values=(-1.0, *STAGE.element("Q1").values[1:])),
    ),
    "warm": (
        Variation(settings=(("temperature", 55.0),)),
        replace(STAGE, celsius=55.0),
    ),
    "load across": (
        Variation(loads=(Load("collector", "base", 47e3, 1.5),)),
        replace(
            STAGE,
            nodes=(*STAGE.nodes, "x"),
            elements=(
                *STAGE.elements,
                hand.resistor("RX", "collector", "x", 47e3),
                # 1.5 V held between x and base, as the Norton pair that equals it
                hand.resistor("RY", "x", "base", 1.0),
                hand.current("IY", "base", "x", 1.5),
            ),
        ),
    ),
    "both a leaky transistor and a dry lead": (
        Variation(settings=(("Q1.cb_leak", 330e3),), lifts=(("Q1.emitter", 2.2e3),)),
        replace(
            edited(
                edited(STAGE, "Q1", nodes=("collector", "base", "dry")),
                "R4",
                values=(1.5e3,),
            ),
            nodes=(*STAGE.nodes, "dry"),
            elements=(
                *(
                    replace(
                        e,
                        nodes=("collector", "base", "dry"),
                        values=(*e.values[:7], 330e3, *e.values[8:]),
                    )
                    if e.name == "Q1"
                    else e
                    for e in STAGE.elements
                ),
                hand.resistor("RD", "dry", "emitter", 2.2e3),
            ),
        ),
    ),
}


@pytest.mark.parametrize(("variation", "by_hand"), BY_HAND.values(), ids=BY_HAND.keys())
def test_variation_is_the_circuit_edited_by_hand(variation: Variation, by_hand: Circuit) -> None:
    found = Ngspice().solve(STAGE, [SOUND, variation, SOUND])
    assert found.solved.all()
    n = len(STAGE.nodes)
    # Sources in series are a Norton pair of 1 ohm in the one edited by hand.
    assert np.abs(found.volts[1, :n] - textbook.solve(by_hand)[:n]).max() < 1e-3 + 1e-4
    # Two runs may end anywhere within the tolerances, which are of 10 nV.
    undone = np.abs(found.volts[0, :n] - found.volts[2, :n]).max() < 1e-7
    assert undone, "the fault was not undone"
    assert np.abs(found.volts[1, :n] - found.volts[0, :n]).max() > 0.05, "the fault did nothing"


def test_order_and_company_do_not_matter() -> None:
    variations = [variation for variation, _ in BY_HAND.values()]
    ours, n = Ngspice(), len(STAGE.nodes)
    together = ours.solve(STAGE, variations).volts[:, :n]
    back = ours.solve(STAGE, variations[::-1]).volts[::-1, :n]
    alone = np.stack([ours.solve(STAGE, [v]).volts[0, :n] for v in variations])
    assert np.abs(together - back).max() < 1e-7
    assert np.abs(together - alone).max() < 1e-7


def test_amounts_act_on_what_the_variation_left() -> None:
    drifted = Variation(settings=(("R3.ohms", 10e3),))
    rail = Axis(("B+.volts",), 0.5, additive=True)
    batch = Axis(("R3.ohms", "R4.ohms"), 0.05)
    amounts = np.array([[0.0, 0.0], [1.5, math.log(1.1)]])
    found = Ngspice().solve(STAGE, [drifted, drifted], (rail, batch), amounts)
    as_set = Variation(settings=(("R3.ohms", 11e3), ("R4.ohms", 1650.0), ("B+.volts", 23.5)))
    plain = Ngspice().solve(STAGE, [drifted, as_set])
    assert np.abs(found.volts - plain.volts).max() < 1e-7


def test_numbers_of_numpy_are_numbers() -> None:
    """Their `repr` is no number to ngspice."""
    plain = Variation(
        settings=(("R1.ohms", 47e3),),
        scales=(("B+.volts", 0.5),),
        lifts=(("R3.2", 100.0), ("Q1.base", 10.0)),
        loads=(Load("base", "ground", 1e5, 0.25),),
    )
    (load,) = plain.loads
    numpy = Variation(
        settings=(("R1.ohms", np.float64(47e3)),),
        scales=(("B+.volts", np.float64(0.5)),),
        lifts=(("R3.2", np.float64(100.0)), ("Q1.base", np.int64(10))),
        loads=(replace(load, ohms=np.float64(1e5), volts=np.float64(0.25)),),
    )
    for order in ([plain, numpy], [SOUND, numpy, SOUND, plain]):
        found = Ngspice().solve(STAGE, order)
        assert found.solved.all()
    assert np.abs(found.volts[1] - found.volts[3]).max() < 1e-7


def test_columns_behind_lifted_leads() -> None:
    """A transistor's and a resistor's lead: the node behind each, and nothing where none is."""
    both = Variation(lifts=(("Q1.base", 1e12), ("R3.2", 1e3)))
    found = Ngspice().solve(STAGE, [both, SOUND, Variation(lifts=(("R3.2", 1e3),))])
    n = len(STAGE.nodes)
    assert found.volts.shape == (3, n + 2)
    assert found.solved.all()
    assert np.isnan(found.volts[1, n:]).all()
    assert np.isnan(found.volts[2, n + 1])
    base, collector = column(STAGE, "base"), column(STAGE, "collector")
    # The divider's own volts with the base off; no current in the collector.
    assert found.volts[0, base] == pytest.approx(22.0 * 22e3 / (22e3 + 100e3 + 470.0), abs=0.01)
    assert found.volts[0, n] < 0.5
    current = (found.volts[2, 0] - found.volts[2, n]) / 6.8e3
    assert found.volts[2, n] - found.volts[2, collector] == pytest.approx(1e3 * current, rel=1e-5)


def test_two_joints_in_one_lead_add_up() -> None:
    twice = Variation(lifts=(("R4.1", 500.0), ("R4.1", 1000.0)))
    found = Ngspice().solve(STAGE, [twice, Variation(lifts=(("R4.1", 1500.0),))])
    n = len(STAGE.nodes)
    assert np.abs(found.volts[0, :n] - found.volts[1, :n]).max() < 1e-7
    assert found.volts[0, n] == found.volts[0, n + 1]


def test_lamp_and_pot() -> None:
    lamp = hand.Element("LA1", Device.LAMP, ("a", "b"), (100.0, 12.0))
    pot = hand.Element("P1", Device.POT, ("b", "w", "ground"), (470.0, 0.25))
    circuit = hand.circuit(
        hand.source("B+", -12.0, 1.0, "a"), lamp, pot, hand.resistor("R1", "w", "ground", 1e3)
    )
    changed = Variation(settings=(("LA1.hot_ohms", 50.0), ("P1.turn", 0.75)))
    found = Ngspice().solve(circuit, [SOUND, changed])
    assert np.abs(found.volts[0] - textbook.solve(circuit)).max() < 1e-4
    by_hand = edited(edited(circuit, "LA1", values=(50.0, 12.0)), "P1", values=(470.0, 0.75))
    assert np.abs(found.volts[1] - textbook.solve(by_hand)).max() < 1e-4


UNSOLVABLE = {
    "current into a node that leads nowhere": Variation(lifts=(("RS.1", 1e12),)),
    "resistor of no number": Variation(settings=(("RS.ohms", math.nan),)),
    "resistor below nothing": Variation(settings=(("RS.ohms", -100.0),)),
    "gain of zero": Variation(settings=(("Q1.gain", 0.0),)),
    "colder than can be": Variation(settings=(("temperature", -300.0),)),
    "load of no number": Variation(loads=(Load("pin", "ground", math.inf),)),
}


@pytest.mark.parametrize("bad", UNSOLVABLE.values(), ids=UNSOLVABLE.keys())
def test_unsolved_rows_are_empty_and_alone(bad: Variation) -> None:
    circuit = replace(
        STAGE,
        nodes=(*STAGE.nodes, "pin"),
        elements=(
            *STAGE.elements,
            hand.current("U1", "ground", "pin", 1e-3),
            hand.resistor("RS", "pin", "ground", 1e3),
        ),
    )
    found = Ngspice().solve(circuit, [SOUND, bad, SOUND])
    assert found.solved.tolist() == [True, False, True]
    assert np.isnan(found.volts[1]).all()
    n = len(circuit.nodes)
    assert np.array_equal(found.volts[0, :n], found.volts[2, :n])
    assert found.volts[0, column(circuit, "pin")] == pytest.approx(1.0, rel=1e-6)


@pytest.mark.parametrize(("amps", "solved"), [(22.9e-3, True), (23.1e-3, False)])
def test_one_volt_beyond_the_rails_is_not_believed(amps: float, solved: bool) -> None:
    circuit = hand.circuit(
        hand.source("B+", 22.0),
        hand.current("U1", "ground", "pin", amps),
        hand.resistor("R1", "pin", "ground", 1e3),
    )
    assert Ngspice().solve(circuit, [SOUND]).solved.tolist() == [solved]


def test_rails_joined_by_a_wire() -> None:
    """Two stiff rails on one node: a huge current, and still every node between the two."""
    circuit = hand.circuit(
        hand.source("B+", 22.0), hand.source("B-", -22.0), hand.resistor("R1", "B+", "B-", 1e3)
    )
    found = Ngspice().solve(circuit, [Variation(settings=(("R1.ohms", 0.0),))])
    assert found.solved.all()
    # Three joints of 1 milliohm in a row: the two sources and the wire.
    assert found.volts[0] == pytest.approx([22.0 / 3, -22.0 / 3], rel=1e-6)


def test_circuit_of_no_known_element_raises() -> None:
    with pytest.raises(KeyError):
        Ngspice().solve(STAGE, [Variation(settings=(("R99.ohms", 1.0),))])


def test_nothing_is_read_after_a_deck_that_did_not_parse() -> None:
    with using() as simulator:
        simulator.load(deck(STAGE))
        assert simulator.run("op")
        assert simulator.value(b"n2") > 1.0
        simulator.load(Deck(("* bad", "q1 n1 n2 n3 nosuchmodel", ".end"), {}))
        assert not simulator.run("op")
        assert math.isnan(simulator.value(b"n2"))
        assert simulator.vector("n2") is None


def test_nothing_is_read_after_a_run_that_did_not_converge() -> None:
    no_answer = (
        "* a node that must be high when it is low, and low when it is high",
        "vkey key 0 0.0",
        "b1 n2 0 v=v(n2)>0.5?0.0:1.0",
        "r1 n2 0 1000.0",
        ".end",
    )
    with using() as simulator:
        simulator.load(deck(PAIR))
        assert simulator.run("op")
        simulator.load(Deck(no_answer, {}))
        assert not simulator.run("op")
        assert math.isnan(simulator.value(b"n2"))
        assert simulator.vector("n2") is None
    assert Ngspice().solve(PAIR, [SOUND]).solved.all()


def test_somebody_elses_circuit_is_not_mistaken_for_ours() -> None:
    ours = Ngspice()
    before = ours.solve(STAGE, [SOUND])
    with using() as simulator:
        held = simulator.loaded
        other = ("* other", "v1 n1 0 5.0", "r1 n1 n2 1e3", "r2 n2 0 1e3", ".end")
        simulator.load(Deck(other, {}))
        simulator.loaded = held  # as if loaded behind our back
    after = ours.solve(STAGE, [SOUND])
    assert after.solved.all()
    assert np.array_equal(before.volts, after.volts)
