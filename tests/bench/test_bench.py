"""The benchmarks do one and the same job in each way: what they compare can be compared."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from tests.bench import boards, cases


@pytest.mark.parametrize("name", ["small", "power"])
def test_batch_and_bare_loop_solve_the_same_faults(name: str) -> None:
    ours, theirs = cases.batch(name, "30"), cases.altered(name, "30")
    assert ours["solved"] == ours["count"] == theirs["count"] == 30
    apart = np.abs(np.array(ours["sample"]) - np.array(theirs["sample"])).max(axis=1)
    assert np.median(apart) < 1e-3
    moved = np.abs(np.array(ours["sample"]) - np.array(ours["sound"])).max(axis=1)
    assert np.median(moved) > 0.01, "the faults must show"


def test_the_board_has_294_parts_that_hang_together() -> None:
    from biaspredict.findings import Gravity
    from biaspredict.graph.checks import connectivity

    stage = boards.board()
    assert len(stage.parts) == 294
    assert not [f for f in connectivity(stage) if f.gravity is Gravity.STOP]


@pytest.mark.slow
def test_rebuilding_gives_the_same_volts() -> None:
    theirs = cases.rebuilt("small", "20")
    assert theirs["raised"] == 0
    ours = cases.batch("small", "20")
    assert np.allclose(ours["sample"], theirs["sample"], atol=1e-3)


@pytest.mark.slow
def test_the_table_prints() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench", "--quick"], cwd=boards.ROOT, capture_output=True,
        text=True, check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "one LU" in done.stdout
    assert "start-up" in done.stdout
