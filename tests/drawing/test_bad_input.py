"""Stages that nobody would draw are drawn or declined with the reason, and stay well-formed."""

from __future__ import annotations

import random
import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from biaspredict.errors import InputError
from biaspredict.model.parts import Kind, Part
from biaspredict.model.stage import GROUND, Port, Rail, Stage
from biaspredict.report.drawing import rows
from biaspredict.report.drawing.draw import draw, lay_out
from biaspredict.report.drawing.readback import read_back
from biaspredict.report.drawing.records import Mark
from tests.drawing.collisions import collisions
from tests.drawing.stages import netlist
from tests.drawing.wild import wild_stage


def resistor(ref: str, a: str, b: str) -> Part:
    return Part(ref, Kind.RESISTOR, (a, b), printed=1000.0)


def stage(*parts: Part, title: str = "a test", rails: tuple[Rail, ...] = ()) -> Stage:
    nodes = dict.fromkeys(node for part in parts for node in part.nodes)
    return Stage(title, parts, rails, tuple(dict.fromkeys((GROUND, *nodes))))


def fine(one: Stage, volts: dict[str, float] | None = None) -> str:
    svg = draw(one, volts)
    assert read_back(svg) == netlist(one)
    return svg


def test_no_parts_is_declined_with_the_remedy() -> None:
    with pytest.raises(InputError, match="no parts") as caught:
        draw(stage())
    assert "Write at least one path" in caught.value.remedy


def test_more_parts_than_a_drawing_holds_is_declined() -> None:
    many = stage(*(resistor(f"R{k}", f"N{k}", f"N{k + 1}") for k in range(401)))
    with pytest.raises(InputError, match="401 parts") as caught:
        lay_out(many)
    assert "Divide it" in caught.value.remedy


def test_one_part_one_node_no_ground_islands() -> None:
    fine(stage(resistor("R1", "A", "B")))
    fine(stage(resistor("R1", "A", "A")))
    fine(stage(resistor("R1", GROUND, GROUND)))
    fine(stage(resistor("R1", "A", "B"), resistor("R2", "C", "D"), resistor("R3", "D", GROUND)))


@pytest.mark.parametrize("kind", list(Kind), ids=lambda kind: kind.value)
def test_every_kind_without_values_or_device(kind: Kind) -> None:
    count = len(Part("X1", kind, ("a", "b", "c")[:3]).terminals)
    fine(stage(Part("X1", kind, ("B+", "mid", GROUND)[:count]), rails=(Rail("B+", 9.0),)))
    fine(stage(Part("X1", kind, ("B+",) * count), rails=(Rail("B+", 9.0),)))


def test_names_of_forty_characters_are_broken_not_cut() -> None:
    ref, node = "R" + "8" * 39, "the junction of the long red wire and B1"
    assert len(ref) == len(node) == 40
    one = stage(resistor(ref, node, GROUND), resistor("R2", node, "B+"), rails=(Rail("B+", 9.0),))
    one = replace(one, outputs=(Port(node),))
    svg = fine(one)
    root = ElementTree.fromstring(svg)
    shown = [t.text or "" for t in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "".join(t for t in shown if set(t) <= set("R8")) == ref
    assert all(word in " ".join(shown) for word in node.split())
    assert collisions(svg) == []


@pytest.mark.parametrize(
    "title",
    [
        "Verstärker für 前置 «Ω» 🎸",
        "a < b & \"c\" > 'd'",
        "</text><script>alert(1)</script>",
        "\x00\x1b[31m\ud800",
    ],
)
def test_titles_and_names_are_escaped(title: str) -> None:
    part = resistor("R1", title or "A", GROUND)
    svg = draw(stage(part, title=title), readings=[Mark(title, title)], suspects=[[title]])
    root = ElementTree.fromstring(svg.encode())
    assert not list(root.iter("script"))
    assert len([e for e in root.iter() if e.tag.endswith("script")]) == 0
    assert "\x1b" not in svg


def test_volts_of_none_nan_or_of_half_the_nodes_only() -> None:
    one = stage(
        resistor("R1", "B+", "A"), resistor("R2", "A", "B"), resistor("R3", "B", GROUND),
        rails=(Rail("B+", 9.0),),
    )  # fmt: skip
    by_wiring = lay_out(one)
    assert "Not solved" in by_wiring.notes[0]
    assert [t.text for t in by_wiring.texts if t.style == "volts" and t.text] == []
    for volts in ({"A": float("nan"), "B": 3.0}, {"A": 6.0}, {"A": float("inf")}):
        fine(one, volts)
    height = {slot.node: -slot.y for slot in by_wiring.slots}
    assert height["B+"] > height["A"] > height["B"]


def test_an_unfinished_transistor_stage_is_drawn_the_usual_way_up() -> None:
    q = Part("Q1", Kind.TRANSISTOR, ("C", "B", "E"))
    one = stage(q, resistor("R1", "B+", "C"), resistor("R2", "E", GROUND), rails=(Rail("B+", 9.0),))
    layout = lay_out(one)
    (symbol,) = (s for s in layout.symbols if s.ref == "Q1")
    y = {name: point for name, _, point in symbol.points}
    assert y["collector"] < y["base"] < y["emitter"]
    fine(one)


def test_rows_carry_their_nodes_on_by_links(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rows, "MOST", 5)
    ladder = [resistor(f"R{k}", f"N{k}", f"N{k + 1}") for k in range(6)]
    across = [resistor(f"R{k + 10}", f"N{k}", GROUND) for k in range(6)]
    svg = fine(stage(*ladder, *across))
    names = re.findall(r'data-what="link" data-name="([^"]*)"', svg)
    assert len(names) >= 4
    assert all(names.count(name) >= 2 for name in names)


@pytest.mark.slow
def test_a_hundred_parts_are_drawn_in_rows() -> None:
    pick = random.Random(3)
    parts = []
    for k in range(100):
        here, there = f"N{k // 2}", f"N{k // 2 + 1}"
        parts.append(resistor(f"R{k}", here, pick.choice([there, GROUND, "B+"])))
    svg = fine(stage(*parts, rails=(Rail("B+", 9.0),)))
    assert svg.count('data-name="B+"') >= 3


@pytest.mark.slow
def test_hardly_any_wild_stage_collides() -> None:
    found = [collisions(draw(*wild_stage(seed))) for seed in range(1000, 1040)]
    assert max(len(one) for one in found) <= 1
    assert sum(1 for one in found if one) <= 4
