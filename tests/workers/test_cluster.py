"""Draws shared out over executors that a caller brings: the same volts from all of them."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from biaspredict.front import load_stage, specimens

STAGE = Path(__file__).parents[2] / "circuits" / "line-stage.stage"
MANY = 5000  # more than one lot


def _same(found: dict[str, Any], other: dict[str, Any]) -> None:
    assert found.keys() == other.keys()
    for node, volts in found.items():
        assert np.isfinite(volts).all()
        np.testing.assert_allclose(volts, other[node], atol=1e-6)


def test_threads_of_the_caller() -> None:
    stage = load_stage(STAGE)
    with ThreadPoolExecutor(2) as executor:
        _same(specimens(stage, MANY, 3, executor), specimens(stage, MANY, 3))


@pytest.mark.slow
def test_a_cluster_of_its_own() -> None:
    """A local cluster of `distributed` (an extra), two processes, through its executor."""
    distributed = pytest.importorskip("distributed")
    stage = load_stage(STAGE)
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
        client.get_executor() as executor,
    ):
        _same(specimens(stage, MANY, 3, executor), specimens(stage, MANY, 3))
