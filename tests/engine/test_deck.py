"""Deck text: nothing of the stage's own words, and numbers that ngspice reads as they are."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from biaspredict.engine.deck import OPTIONS, Swing, deck, handles
from biaspredict.model.circuit import Circuit, Device, Load
from tests.engine import hand

ALL = hand.circuit(
    hand.source("B+", 22.0),
    hand.resistor("R1", "B+", "a", 4700.0),
    hand.capacitor("C1", "a", "b", 4.7e-6, 0.5),
    hand.Element("L1", Device.COIL, ("b", "c"), (12.0, 0.35)),
    hand.Element("P1", Device.POT, ("B+", "c", "ground"), (22e3, 0.3)),
    hand.junction("D1", "c", "d", zener=5.6),
    hand.silicon("Q1", "a", "c", "d"),
    hand.germanium("Q2", "a", "c", "d"),
    hand.fet("Q3", "a", "c", "d"),
    hand.Element("LA1", Device.LAMP, ("d", "ground"), (120.0, 12.0)),
    hand.current("U1", "d", "ground", 1e-3),
    hand.Element("T1", Device.WINDING, ("b", "ground"), (3.3, 18.0, 50.0)),
)
WORDS = {
    "0", "dc", "d", "npn", "pnp", "njf", "pjf", ".model", ".options", ".end", "*", "stage", "key"
}  # fmt: skip


def hostile(circuit: Circuit) -> Circuit:
    """The same circuit under names that would do harm if ngspice ever read them."""
    names = {n: f".include /etc/passwd {i}; quit\n.end" for i, n in enumerate(circuit.nodes)}
    names["ground"] = "ground"
    return Circuit(
        tuple(names[n] for n in circuit.nodes),
        tuple(
            replace(e, name=f"gnd 4k7 {{bad}} {i}", nodes=tuple(names[n] for n in e.nodes))
            for i, e in enumerate(circuit.elements)
        ),
    )


@pytest.mark.parametrize("moving", [False, True])
def test_names_never_reach_the_deck(moving: bool) -> None:
    swing = Swing(1e-6) if moving else None
    plain = deck(ALL, (Load("a", "b", 1e3, 1.0),), swing=swing)
    named = hostile(ALL)
    a, b = named.nodes[1:3]
    assert deck(named, (Load(a, b, 1e3, 1.0),), swing=swing).lines == plain.lines


@pytest.mark.parametrize("moving", [False, True])
def test_every_number_is_a_plain_float(moving: bool) -> None:
    text = deck(ALL, (Load("a", "b", 1e3, 1.0),), swing=Swing(1e-6) if moving else None)
    for line in text.lines:
        if line.startswith((".options", "b")):  # options and the lamp's law, looked at below
            continue
        for token in re.split(r"[ ()=]+", line):
            if token in WORDS or re.fullmatch(r"[a-z]+\d*[a-z]*", token) or not token:
                continue
            float(token)  # raises on `4k7`, `1M`, `np.float64(1.0)`
    law = next(line for line in text.lines if line.startswith("b9 "))
    assert law == "b9 n5 0 i=v(n5,0)/(120.0*sqrt(0.01+0.99*abs(v(n5,0))/12.0))"


def test_tight_options_are_in_every_deck() -> None:
    (options,) = (line for line in deck(ALL).lines if line.startswith(".options"))
    assert options == ".options " + OPTIONS.format(celsius=25.0)
    for word in (
        "itl1=200",
        "reltol=1e-5",
        "vntol=1e-8",
        "abstol=1e-14",
        "gmin=1e-12",
        "tnom=25.0",
    ):
        assert word in options


def test_every_node_is_held_to_ground() -> None:
    lines = deck(ALL).lines
    for i in range(1, len(ALL.nodes) + 1):
        assert f"rg{i} n{i} 0 1000000000000.0" in lines


def test_each_value_in_the_deck_has_a_handle() -> None:
    """What `handles` says is loaded is what the cards carry."""
    text = "\n".join(deck(ALL).lines)
    for k, element in enumerate(ALL.elements):
        for handle, value in handles(k, element, 25.0).items():
            verb, owner, *what = handle.split()
            if verb == "altermod":
                found = re.search(rf"^\.model {owner} .*\b{what[0]}=(\S+)", text, re.M)
            else:
                found = re.search(rf"^{owner} \S+ \S+ (?:dc )?(\S+)", text, re.M)
            assert found, handle
            assert float(found[1]) == value, handle
