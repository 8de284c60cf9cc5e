"""Every published operating point, by both engines."""

from __future__ import annotations

import pytest

from biaspredict.model.circuit import Variation
from tests.circuits.files import ENGINES, ROOT, load, volts
from tests.published import bias_rows, fet_and_zener_rows
from tests.published.figures import Row

ROWS = bias_rows.ROWS + fet_and_zener_rows.ROWS


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.label)
def test_the_published_operating_point_is_found(row: Row, engine: str) -> None:
    stage = load(ROOT / "circuits" / "published" / f"{row.file}.stage")
    found = volts(stage, ENGINES[engine], Variation(settings=row.settings))
    for figure in row.figures:
        assert figure.of(found) == pytest.approx(figure.printed, rel=0, abs=figure.allowed), (
            f"{figure.name}, {row.source}; allowed for: {figure.why}"
        )


def test_the_pair_without_the_simplification() -> None:
    # Sedra & Smith Ex 5.11 by hand, base currents kept and VBE fixed at 0.7 V:
    # V1 is the volts of Q1's collector, 3 nodes and 2 unknowns.
    base_thevenin, rth, alpha = 15.0 * 50 / 150, 100e3 * 50e3 / 150e3, 100 / 101
    ib1 = (base_thevenin - 0.7) / (rth + 101 * 3e3)
    # (15 - V1)/5k + IB2 = 100 IB1 and IE2 = (15 - 0.7 - V1)/2k = 101 IB2
    v1 = (15 / 5e3 + 14.3 / (101 * 2e3) - 100 * ib1) / (1 / 5e3 + 1 / (101 * 2e3))
    ie2 = (14.3 - v1) / 2e3
    stage = load(ROOT / "circuits" / "published" / "direct-coupled-pair.stage")
    for engine in ENGINES.values():
        found = volts(stage, engine)
        assert found["Q1.collector"] == pytest.approx(v1, abs=0.005)
        assert found["Q2.emitter"] == pytest.approx(v1 + 0.7, abs=0.005)
        assert found["Q2.collector"] == pytest.approx(alpha * ie2 * 2.7e3, abs=0.005)
