"""The referee agrees with node equations written from the textbook and solved by scipy."""

from __future__ import annotations

import numpy as np
import pytest

from biaspredict.engine.ngspice import Ngspice
from biaspredict.model.circuit import SOUND, Circuit
from tests.engine import hand, textbook

CASES = {
    "divider": hand.divider_stage(),
    "divider, hot": hand.divider_stage(60.0),
    "feedback pair": hand.pair(),
    "PNP and follower": hand.follower_of_pnp(),
    "zener and diodes": hand.diodes(),
    "FETs": hand.fets(),
    "germanium, warm": hand.germanium_stage(),
    "germanium, power": hand.power_germanium(),
    "germanium, power, hot": hand.power_germanium(50.0),
}


@pytest.mark.parametrize("circuit", CASES.values(), ids=CASES.keys())
def test_within_a_millivolt(circuit: Circuit) -> None:
    found = Ngspice().solve(circuit, [SOUND])
    assert found.solved.all()
    assert np.abs(found.volts[0] - textbook.solve(circuit)).max() < 1e-3
