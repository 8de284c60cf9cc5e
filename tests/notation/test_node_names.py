"""Which name a node gets, and which names find it."""

from __future__ import annotations

import pytest

from biaspredict.errors import InputError
from biaspredict.model.stage import Stage
from biaspredict.notation import find_node, read_stage


def read(*lines: str) -> Stage:
    return read_stage("\n".join(['stage "x"', *lines]), "x.stage")


@pytest.mark.parametrize(
    ("wires", "name"),
    [
        ("gnd -- OUT -- Q1.base", "ground"),
        ("OUT -- B+ -- Q1.base", "B+"),
        ("Q1.base -- OUT -- hot", "OUT"),
        ("Q1.base -- TP7 -- TP3", "TP3"),
        ("Q2.base -- Q1.collector -- P1.wiper", "Q1.collector"),
        ("Q10.base -- Q2.collector -- Q2.emitter", "Q2.emitter"),
        ("J1.source -- Q2.emitter", "J1.source"),
        ("P1.top -- U1.5 -- P2.wiper", "P1.top"),
        ("P1.bottom -- P1.wiper", "P1.wiper"),
        ("U1.5 -- R2.1", "U1.5"),
        ("R10.1 -- C3.1", "C3/R10"),
        ("R10.1 -- R2.1", "R2/R10"),
    ],
)
def test_the_first_of_its_names(wires: str, name: str) -> None:
    """Ground, rail, word, test point, transistor's leg, pot's leg, pin, references."""
    described = {
        "Q": "npn", "J": "n-channel", "P": "pot 1K", "R": "1K", "C": "1 nF", "U": "",
    }  # fmt: skip
    refs = sorted({leg.split(".")[0] for leg in wires.split(" -- ") if "." in leg} - {"U1"})
    lines = [f"{ref} {described[ref[0]]}" for ref in refs]
    # The other legs of parts with two of them hang in the air.
    stage = read("rail B+ 9 V", "pin U1.5 holds 1 V", "B+ -- R99 1K -- ground", *lines, wires)
    assert find_node(stage, wires.split(" -- ")[0])[1] == name
    assert stage.nodes[:2] == ("ground", "B+")


def test_joints_take_as_many_references_as_tell_them_apart() -> None:
    """R1 and R2 in parallel meet twice; R3 tells one end, a leg the other."""
    stage = read("B -- R3 1K -- R1 1K -- R1.2", "R1.1 -- R2 1K -- R1.2")
    assert stage.nodes == ("ground", "B", "R1/R2/R3", "R1.2")
    assert find_node(stage, "r2/r3")[1] == "R1/R2/R3"
    with pytest.raises(InputError):
        find_node(stage, "R1/R2")


def test_a_joint_may_be_named_in_a_path() -> None:
    one = read("B -- R1 1K -- R2 2K -- ground", "R2/R1 -- C1 1 nF -- ground")
    other = read("B -- R1 1K -- R2 2K -- ground", "R1.2 -- C1 1 nF -- ground")
    assert one == other
    assert one.nodes == ("ground", "B", "C1/R1")
    assert one.names["R2.1"] == "C1/R1"


def test_every_other_name_leads_to_the_node() -> None:
    stage = read(
        "Q1 npn",
        "B -- R1 1K -- Q1.collector",
        "Q1.collector -- +C1 5 MFD -- OUT",
        "test point 3 = Q1.collector",
        "wire yellow = Q1.base",
        "hot = Q1.emitter",
        "A -- R2 1K -- Q1.base",
        "A -- A2",
        "Q1.emitter -- R3 1K -- gnd",
    )
    assert stage.nodes == ("ground", "TP3", "Q1.base", "Q1.emitter", "B", "OUT", "A")
    assert stage.names == {
        "Q1.collector": "TP3",
        "R1.2": "TP3",
        "C1.plus": "TP3",
        "test point 3": "TP3",
        "R1.1": "B",
        "C1.minus": "OUT",
        "wire yellow": "Q1.base",
        "R2.2": "Q1.base",
        "R2.1": "A",
        "A2": "A",
        "hot": "Q1.emitter",
        "R3.1": "Q1.emitter",
        "R3.2": "ground",
    }
    assert stage.points == (("3", "TP3"),)
    for text, name, node in [
        ("q1.Collector", "Q1.collector", "TP3"),
        ("Q1.c", "Q1.collector", "TP3"),
        ("tp3", "TP3", "TP3"),
        ("Test  Point 3", "TP3", "TP3"),
        ("YELLOW", "wire yellow", "Q1.base"),
        ("wire yellow", "wire yellow", "Q1.base"),
        ("HOT", "hot", "Q1.emitter"),
        ("a2", "A2", "A"),
        ("GND", "ground", "ground"),
        ("0V", "ground", "ground"),
        ("c1.+", "C1.plus", "TP3"),
        ("R1/C1", "C1/R1", "TP3"),
    ]:
        assert find_node(stage, text) == (name, node)


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("Q1.colector", "Did you mean Q1.collector?"),
        ("Q1.x", "Its legs: Q1.collector, Q1.base, Q1.emitter."),
        ("Q1", "Q1 is a part. Its legs: Q1.collector, Q1.base, Q1.emitter."),
        ("R1", "R1 is a part. Its legs: R1.1, R1.2. Across it: across R1."),
        ("OUTT", "Did you mean OUT?"),
        ("zzz", "Nodes of this stage: ground, Q1.collector, Q1.base, Q1.emitter, OUT."),
    ],
)
def test_unknown_names_get_a_remedy(text: str, remedy: str) -> None:
    stage = read("Q1 npn", "OUT -- R1 1K -- Q1.collector")
    with pytest.raises(InputError) as caught:
        find_node(stage, text)
    assert caught.value.remedy == remedy


def test_order_of_nodes_follows_rails_then_parts() -> None:
    stage = read("C -- R2 1K -- ground", "rail B- -9 V", "rail B+ 9 V", "A -- R1 1K -- C")
    assert stage.nodes == ("ground", "B-", "B+", "C", "A")
