"""No part of a stage that comes with the project is strained, but where its book says so."""

from __future__ import annotations

from pathlib import Path

import pytest

from biaspredict.findings import Gravity
from biaspredict.notation import load_stage
from biaspredict.predict.strain import strain
from tests.predict.solved import solved

CIRCUITS = Path(__file__).parents[2] / "circuits"
EVERY = sorted(CIRCUITS.rglob("*.stage"))

# Sedra & Smith ask for a saturated transistor, Boylestad & Nashelsky for a zener that is off.
MEANT = {"saturated-pnp": {"transistor-saturated"}, "zener-shunt": {"zener-not-regulating"}}


@pytest.mark.parametrize("path", EVERY, ids=[path.stem for path in EVERY])
def test_nothing_is_strained(path: Path) -> None:
    whole = load_stage(path)
    found = [f for f in strain(whole, solved(whole)) if f.gravity is not Gravity.NOTE]
    assert {finding.code for finding in found} == MEANT.get(path.stem, set())
