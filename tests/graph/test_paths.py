"""Neighbours, DC paths and chains, against what a finger finds on the drawing."""

from __future__ import annotations

import pytest

from biaspredict.graph.chains import chains
from biaspredict.graph.network import Way, dc_paths, floating, neighbours
from biaspredict.model.stage import GROUND, Pin, Port
from tests.graph.stages import amplifier, diode, npn, pair, plus, pnp, pot, stage, two, without


def test_neighbours_of_a_base() -> None:
    found = [(n.part.ref, n.here, n.there, n.node) for n in neighbours(amplifier(), "b")]
    assert found == [
        ("R1", "2", "1", "VA"),
        ("R2", "1", "2", GROUND),
        ("Q1", "base", "emitter", "e"),
        ("C1", "plus", "minus", "IN"),
    ]


def test_neighbours_of_an_unknown_node() -> None:
    with pytest.raises(KeyError):
        neighbours(amplifier(), "nowhere")


def test_dc_of_a_base_comes_from_its_divider() -> None:
    paths = dc_paths(amplifier(), "b")
    assert [path.refs for path in paths] == [("R2",), ("R1", "R5")]
    assert paths[1].nodes == ("b", "VA", "B+")


def test_dc_paths_end_at_the_first_feed() -> None:
    net = stage(two("R1", "n", "B+"), two("R2", "B+", GROUND))
    assert [path.nodes for path in dc_paths(net, "n")] == [("n", "B+")]


def test_no_dc_path_through_a_capacitor_or_a_base() -> None:
    net = stage(plus("C1", "n", "B+"), npn("Q1", "B+", "n", "e"), two("R1", "e", GROUND))
    assert dc_paths(net, "n") == ()


def test_floating_nodes() -> None:
    sound = amplifier()
    assert floating(sound) == frozenset()
    open_ended = stage(*sound.parts, inputs=["IN"], outputs=[Port("OUT", 47e3, blocked=True)])
    assert floating(open_ended) == {"IN", "OUT"}


def test_a_pin_that_takes_current_sets_no_voltage() -> None:
    net = stage(plus("C1", "n", GROUND), pins=[Pin("U1.1", "n", amps=1e-3)])
    assert floating(net) == {"n"}
    net = stage(plus("C1", "n", GROUND), pins=[Pin("U1.1", "n", volts=3.0)])
    assert floating(net) == frozenset()


def test_chains_of_an_amplifier() -> None:
    found = chains(amplifier())
    assert found[0].refs == ("R5", "R3", "Q1", "R4")
    assert found[0].nodes == ("B+", "VA", "c", "e", GROUND)
    assert [set(chain.refs) for chain in found[1:]] == [{"R1", "R2"}]


def test_chains_follow_the_larger_current_first() -> None:
    """What each lead carries, in milliamperes; the divider carries more than the collector."""
    sound = stage(
        two("R1", "B+", "b", 1e3),
        two("R2", "b", GROUND, 1e3),
        two("R3", "B+", "c", 10e3),
        npn("Q1", "c", "b", "e"),
        two("R4", "e", GROUND, 10e3),
    )
    amps = {"R1.1": 11.0, "R2.1": 10.9, "R3.1": 1.0, "Q1.collector": 1.0, "R4.1": 1.01}
    assert [chain.refs for chain in chains(sound, amps)] == [("R1", "R2"), ("R3", "Q1", "R4")]
    amps |= {"R1.1": 0.5, "R2.1": 0.4}
    assert [chain.refs for chain in chains(sound, amps)] == [("R3", "Q1", "R4"), ("R1", "R2")]


def test_chains_run_with_the_current() -> None:
    """From a positive rail through a PNP down to a negative one."""
    net = stage(
        two("R1", "c", "V-", 1e3),
        pnp("Q1", "c", "b", "e"),
        two("R2", "e", "B+", 1e3),
        rails=[*stage().rails, *stage(rails=[]).rails],
    )
    amps = {"R1.1": 1.0, "Q1.collector": -1.0, "R2.1": -1.0}
    net = stage(*net.parts, rails=net.rails, pins=[Pin("V-", "V-", volts=-22.0)])
    assert [chain.nodes for chain in chains(net, amps)] == [("B+", "e", "c", "V-")]


def test_a_pot_belongs_to_chains_by_its_halves() -> None:
    net = stage(pot("P1", "B+", "w", GROUND), two("R1", "w", GROUND, 1e6))
    amps = {"P1.top": 2.0, "P1.bottom": -1.5, "R1.1": 0.5}
    found = chains(net, amps)
    assert [chain.refs for chain in found] == [("P1",), ("R1",)]
    assert [(b.first, b.second) for b in found[0].branches] == [
        ("top", "wiper"),
        ("wiper", "bottom"),
    ]
    assert found[1].nodes == ("w", GROUND)


def test_bias_diodes_stand_in_their_chain() -> None:
    net = stage(
        two("R1", "B+", "p", 1e3), diode("D1", "p", "n"), diode("D2", "n", "q"),
        two("R2", "q", GROUND, 1e3),
    )  # fmt: skip
    assert chains(net)[0].refs == ("R1", "D1", "D2", "R2")


def test_every_branch_is_in_one_chain_at_most() -> None:
    for whole in (amplifier(), pair()):
        branches = [branch for chain in chains(whole) for branch in chain.branches]
        assert len(branches) == len(set(branches))
        assert not any(branch.way in (Way.CAPACITOR, Way.CONTROL) for branch in branches)


def test_a_resistor_that_feeds_only_a_base_is_in_no_chain() -> None:
    net = without(amplifier(), "R2")
    assert not any("R1" in chain.refs for chain in chains(net))
