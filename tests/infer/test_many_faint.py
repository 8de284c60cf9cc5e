"""On a large board a hundred faults share the belief: each outcome still names its likeliest."""

from __future__ import annotations

import numpy as np
import pytest

from biaspredict.infer.splits import _outcomes


def test_an_outcome_names_its_likeliest_however_faint() -> None:
    names = [(f"R{k}",) for k in range(100)]
    table = np.full((4, 100), 0.0025)
    table[:, 7] += 1e-4
    (only,) = _outcomes(np.linspace(0.0, 4.0, 5), table, names)
    assert only.means[0][0] == ("R7",)
    assert only.means[0][1] == pytest.approx(0.0104 / 1.0004, rel=1e-6)
    assert only.chance == pytest.approx(1.0004)
