"""No lettering, body or mark stands on another, nor on a wire that is not its own."""

from __future__ import annotations

from pathlib import Path

import pytest

from biaspredict.model.parts import Kind
from biaspredict.model.stage import GROUND
from biaspredict.report.drawing.draw import draw
from biaspredict.report.drawing.records import Mark, Next, Verdict
from tests.drawing.collisions import collisions
from tests.drawing.stages import EVERY, laid_out, load, name_of, quick, solved

HEAD = '<svg xmlns="http://www.w3.org/2000/svg">'


def marked(path: Path) -> str:
    """The stage with a reading on every node and junction, five suspects and a next touch."""
    stage, volts = load(path), solved(path)
    readings = []
    for k, node in enumerate(stage.nodes):
        if node == GROUND:
            continue
        off = k % 2 == 1
        readings.append(
            Mark(
                node,
                f"{volts[node] * 1.1:.2f} V",
                verdict=Verdict.OUTSIDE if off else Verdict.INSIDE,
                arrow=(1 if k % 4 > 1 else -1) if off else 0,
                deviation=f"{volts[node] * 0.1:+.2f} V" if off else "",
            )
        )
    readings += [
        Mark(part.nodes[1], "0.66 V", part.nodes[2], Verdict.INSIDE)
        for part in stage.parts
        if part.kind is Kind.TRANSISTOR
    ]
    suspects = [[part.ref] for part in stage.parts[::4]][:5]
    return draw(
        stage, volts, readings=readings, suspects=suspects, next_touch=Next(stage.nodes[-1]),
        layout=laid_out(path),
    )  # fmt: skip


@pytest.mark.parametrize("path", quick(), ids=name_of)
def test_small_stages(path: Path) -> None:
    assert collisions(draw(load(path), solved(path), layout=laid_out(path))) == []


@pytest.mark.parametrize("path", quick(), ids=name_of)
def test_small_stages_with_every_mark(path: Path) -> None:
    assert collisions(marked(path)) == []


@pytest.mark.slow
@pytest.mark.parametrize("path", sorted(set(EVERY) - set(quick())), ids=name_of)
def test_every_stage(path: Path) -> None:
    assert collisions(draw(load(path), solved(path), layout=laid_out(path))) == []
    assert collisions(marked(path)) == []


def test_the_check_sees_lettering_on_a_wire_and_on_lettering() -> None:
    svg = (
        HEAD + '<path class="wire" data-node="A" d="M0 50L200 50"/>'
        '<text x="20" y="54" font-size="12">R1</text><text x="24" y="54" font-size="12">R2</text>'
        "</svg>"
    )
    assert collisions(svg) == [
        "text R1 on text R2",
        "text R1 on wire A",
        "text R2 on wire A",
    ]


def test_the_check_lets_lettering_stand_clear() -> None:
    svg = (
        HEAD + '<path class="wire" data-node="A" d="M0 50L200 50"/>'
        '<text x="20" y="45" font-size="12">R1</text></svg>'
    )
    assert collisions(svg) == []
