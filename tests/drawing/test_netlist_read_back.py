"""Every drawing, read back from its geometry, says what the stage says."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from biaspredict.report.drawing.draw import draw
from biaspredict.report.drawing.readback import read_back
from tests.drawing.stages import EVERY, laid_out, load, name_of, netlist, quick, solved
from tests.drawing.wild import wild_stage


@pytest.mark.parametrize("path", quick(), ids=name_of)
def test_small_stages(path: Path) -> None:
    svg = draw(load(path), solved(path), layout=laid_out(path))
    assert read_back(svg) == netlist(load(path))


@pytest.mark.parametrize("path", quick()[::4], ids=name_of)
def test_small_stages_not_solved(path: Path) -> None:
    assert read_back(draw(load(path))) == netlist(load(path))


@pytest.mark.parametrize("seed", range(16))
def test_wild_stages(seed: int) -> None:
    stage, volts = wild_stage(seed, parts=1 + seed % 8)
    assert read_back(draw(stage, volts)) == netlist(stage)


@pytest.mark.slow
@pytest.mark.parametrize("path", sorted(set(EVERY) - set(quick())), ids=name_of)
def test_every_stage(path: Path) -> None:
    svg = draw(load(path), solved(path), layout=laid_out(path))
    assert read_back(svg) == netlist(load(path))


@pytest.mark.slow
@pytest.mark.parametrize("path", EVERY, ids=name_of)
def test_every_stage_not_solved(path: Path) -> None:
    assert read_back(draw(load(path))) == netlist(load(path))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 300))
def test_two_hundred_wild_stages(seed: int) -> None:
    stage, volts = wild_stage(seed)
    assert read_back(draw(stage, volts)) == netlist(stage)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(60))
def test_wild_stages_not_solved(seed: int) -> None:
    stage, volts = wild_stage(seed)
    known = {node: volts[node] for node in volts if random.Random(f"{seed} {node}").random() < 0.5}
    assert read_back(draw(stage, known if seed % 2 else None)) == netlist(stage)


@pytest.mark.slow
@pytest.mark.parametrize("parts", [46, 60, 80, 100, 140])
def test_stages_in_rows(parts: int) -> None:
    stage, volts = wild_stage(7, parts)
    svg = draw(stage, volts)
    assert read_back(svg) == netlist(stage)
    assert 'data-what="link"' in svg
