"""Readings, suspects and the next touch: told by shape and words, never by colour alone."""

from __future__ import annotations

import re
from functools import cache
from xml.etree import ElementTree

import pytest

from biaspredict.report.drawing.draw import draw
from biaspredict.report.drawing.records import Mark, Next, Verdict
from tests.drawing.stages import ROOT, laid_out, load, solved

SVG = "{http://www.w3.org/2000/svg}"
PATH = ROOT / "circuits" / "microphone-stage.stage"


def drawn(**told: object) -> str:
    return draw(load(PATH), solved(PATH), layout=laid_out(PATH), **told)  # type: ignore[arg-type]


@cache
def plain() -> str:
    return drawn()


def group(svg: str, name: str) -> list[ElementTree.Element]:
    return [g for g in ElementTree.fromstring(svg).iter(f"{SVG}g") if g.get("class") == name]


def words(element: ElementTree.Element) -> list[str]:
    return [t.text or "" for t in element.iter(f"{SVG}text")]


def test_the_key_names_only_the_marks_that_are_there() -> None:
    assert "tick" not in plain()
    svg = drawn(readings=[Mark("Q1.base", "1.80 V", verdict=Verdict.INSIDE)])
    assert "Tick: read inside" in svg
    assert "black: read outside" not in svg


def test_a_reading_inside_gets_a_tick_and_no_chip() -> None:
    svg = drawn(readings=[Mark("Q1.base", "1.80 V", verdict=Verdict.INSIDE)])
    (mark,) = group(svg, "reading")
    assert mark.get("data-verdict") == "inside"
    assert words(mark) == ["1.80 V"]
    assert not list(mark.iter(f"{SVG}rect"))
    assert len(list(mark.iter(f"{SVG}path"))) == 1


@pytest.mark.parametrize("arrow", [1, -1])
def test_a_reading_outside_is_a_black_chip_with_arrow_value_and_deviation(arrow: int) -> None:
    mark = Mark("Q1.base", "0.90 V", None, Verdict.OUTSIDE, arrow, "-0.87 V")
    (shown,) = group(drawn(readings=[mark]), "reading")
    assert words(shown) == ["0.90 V", "-0.87 V"]
    (chip,) = shown.iter(f"{SVG}rect")
    assert chip.get("fill") == "#000"
    (head,) = shown.iter(f"{SVG}path")
    tip, foot, *_ = [float(v) for v in re.findall(r"-?[\d.]+", head.attrib["d"])][1::2]
    assert (tip < foot) == (arrow > 0)


def test_a_reading_stands_below_its_line_and_the_prediction_above() -> None:
    svg = drawn(readings=[Mark("Q1.base", "1.80 V", verdict=Verdict.INSIDE)])
    slot = next(s for s in laid_out(PATH).slots if s.node == "Q1.base")
    (mark,) = group(svg, "reading")
    (text,) = mark.iter(f"{SVG}text")
    assert float(text.attrib["y"]) > slot.y * 40
    volts = [
        t for t in ElementTree.fromstring(svg).iter(f"{SVG}text")
        if t.get("class") == "volts" and t.get("data-about") == "Q1.base"
    ]  # fmt: skip
    assert [float(t.attrib["y"]) < slot.y * 40 for t in volts] == [True]


def test_nothing_moves_while_readings_come_in() -> None:
    svg = drawn(
        readings=[Mark("Q1.base", "0.90 V", None, Verdict.OUTSIDE, -1, "-0.87 V")],
        suspects=[["R1"], ["R2", "Q1"]],
        next_touch=Next("Q1.collector"),
    )
    for name in ("part", "end"):
        before = [ElementTree.tostring(g) for g in group(plain(), name)]
        assert before == [ElementTree.tostring(g) for g in group(svg, name)]


def test_suspects_are_framed_and_numbered_the_first_thickest() -> None:
    frames = group(drawn(suspects=[["R1"], ["R2", "Q1"], ["R3"]]), "suspect")
    assert [(f.get("data-ref"), words(f)[0]) for f in frames] == [
        ("R1", "1"), ("R2", "2"), ("Q1", "2"), ("R3", "3"),
    ]  # fmt: skip
    wide = [float(next(f.iter(f"{SVG}rect")).attrib["stroke-width"]) for f in frames]
    assert wide[0] > wide[1] == wide[2] > wide[3]


def test_a_reading_across_a_part_names_the_part() -> None:
    mark = Mark("Q1.base", "0.65 V", "Q1.emitter", Verdict.INSIDE)
    (shown,) = group(drawn(readings=[mark]), "reading")
    assert words(shown) == ["Q1 BE 0.65 V"]


def test_the_next_touch_is_flagged_at_its_node_with_both_leads_of_a_pair() -> None:
    (one,) = group(drawn(next_touch=Next("Q1.collector")), "next")
    assert (one.get("data-node"), words(one)) == ("Q1.collector", ["NEXT"])
    pair = group(drawn(next_touch=Next("Q1.base", "Q1.emitter")), "next")
    assert [(g.get("data-node"), words(g)) for g in pair] == [
        ("Q1.base", ["NEXT +"]), ("Q1.emitter", ["NEXT -"]),
    ]  # fmt: skip


def test_the_next_touch_is_said_below_the_drawing() -> None:
    # The flag alone would send the leads to a part's ends with the power still on.
    svg = drawn(next_touch=Next("Q1.base", "Q1.emitter", "ohms across R3, power off"))
    said = [t.text for t in ElementTree.fromstring(svg).iter(f"{SVG}text")]
    assert "NEXT: ohms across R3, power off" in said


def test_what_finds_no_place_on_the_drawing_is_listed_below_it() -> None:
    svg = drawn(
        readings=[
            Mark("Q1.base", "1.80 V", verdict=Verdict.INSIDE),
            Mark("Q1.base", "1.60 V", None, Verdict.OUTSIDE, -1, "-0.17 V"),
            Mark("nowhere", "1.00 V"),
            Mark("Q1.base", "1.00 V", "nowhere"),
        ],
        suspects=[["R99"]],
        next_touch=Next("nowhere"),
    )
    assert "Read Q1.base: 1.60 V, outside the band, -0.17 V" in svg
    assert "Read nowhere: 1.00 V, no such node on this drawing" in svg
    assert "Read Q1.base to nowhere: 1.00 V, no such node on this drawing" in svg
    assert "Suspect 1: R99, which is not on this drawing" in svg
    assert "NEXT at nowhere" in svg


def test_bands_are_told_at_the_volts() -> None:
    svg = drawn(bands={"Q1.base": (1.4, 2.1)})
    assert "Q1.base: 1.40 V to 2.10 V in a sound stage" in svg


def test_black_and_white_and_nothing_else() -> None:
    svg = drawn(
        readings=[Mark("Q1.base", "0.90 V", None, Verdict.OUTSIDE, -1, "-0.87 V")],
        suspects=[["R1"]],
        next_touch=Next("Q1.collector"),
    )
    paints = set(re.findall(r'(?:fill|stroke)="([^"]*)"', svg))
    assert paints == {"none", "#000", "#fff"}
    assert "style=" not in svg
