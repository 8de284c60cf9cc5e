"""Higher is more positive, and the signal runs from left to right."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import pytest

from biaspredict.model.stage import GROUND, Stage
from biaspredict.report.drawing.draw import lay_out
from biaspredict.report.drawing.records import Layout
from tests.drawing.stages import laid_out, load, name_of, quick, solved
from tests.drawing.wild import wild_stage

# Nodes that a level part joins share a height when less than this lies between them.
SHARED = 0.15


def heights(layout: Layout) -> dict[str, float]:
    """Height of each node's line, upwards; those drawn dashed left out."""
    dashed = {wire.node for wire in layout.wires if wire.dashed}
    return {slot.node: -slot.y for slot in layout.slots if slot.node not in dashed}


def out_of_order(layout: Layout, volts: dict[str, float]) -> list[str]:
    y = heights(layout)
    wrong = []
    for a, b in combinations(y, 2):
        high, low = (a, b) if volts[a] > volts[b] else (b, a)
        # Two shared heights may each lie up to SHARED off.
        if volts[high] - volts[low] > 2 * SHARED and y[high] <= y[low]:
            wrong.append(f"{high} {volts[high]:.2f} V below {low} {volts[low]:.2f} V")
    return wrong


@pytest.mark.parametrize("path", quick(), ids=name_of)
def test_more_positive_is_higher(path: Path) -> None:
    assert out_of_order(laid_out(path), dict(solved(path))) == []


@pytest.mark.parametrize("seed", range(8))
def test_more_positive_is_higher_in_wild_stages(seed: int) -> None:
    stage, volts = wild_stage(seed, 7)
    shown = {node: max(value, 0.0) if min(volts.values()) > -SHARED else value
             for node, value in volts.items()}  # fmt: skip
    assert out_of_order(lay_out(stage, volts), shown) == []


@pytest.mark.parametrize("path", quick(), ids=name_of)
def test_ground_lies_below_a_positive_rail_and_above_a_negative_one(path: Path) -> None:
    layout, volts = laid_out(path), solved(path)
    grounds = [end.y for end in layout.ends if end.what == "ground"]
    for end in layout.ends:
        if end.what == "rail" and grounds:
            assert (end.y < min(grounds)) == (volts[end.node] > 0)


def _x(stage: Stage, layout: Layout, what: str) -> list[float]:
    return [end.x for end in layout.ends if end.what == what]


@pytest.mark.parametrize(
    "path",
    [p for p in quick() if load(p).inputs and load(p).outputs],
    ids=name_of,
)
def test_inputs_stand_left_of_every_transistor_and_outputs_right(path: Path) -> None:
    stage, layout = load(path), laid_out(path)
    transistors = [s.x for s in layout.symbols if s.shape in ("npn", "pnp", "n-channel")]
    assert max(_x(stage, layout, "input")) < min(transistors)
    assert min(_x(stage, layout, "output")) > max(transistors)


@pytest.mark.parametrize("path", quick(), ids=name_of)
def test_solid_grounds_and_every_node_has_a_place_for_its_volts(path: Path) -> None:
    stage, layout = load(path), laid_out(path)
    used = {node for part in stage.parts for node in part.nodes} - {GROUND}
    assert used <= {slot.node for slot in layout.slots}
