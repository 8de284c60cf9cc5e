"""Both engines solve the same equations: faulted variations of five circuits, and of any."""

from __future__ import annotations

import random

import pytest

from biaspredict.model.circuit import Circuit
from tests.engine import agreement, chance, hand

CIRCUITS = {
    "PNP and follower": hand.follower_of_pnp(),
    "zener and diodes": hand.diodes(),
    "FETs": hand.fets(),
    "germanium, warm": hand.germanium_stage(),
    "split rails": hand.split_amplifier(),
}


def compared(circuit: Circuit, seed: int, count: int) -> agreement.Tally:
    tally = agreement.Tally()
    faults = chance.faults(circuit, random.Random(seed), count)
    agreement.Comparison("drawn", circuit, tally).run(faults)
    return tally


@pytest.mark.parametrize("circuit", CIRCUITS.values(), ids=CIRCUITS.keys())
def test_sixty_faults(circuit: Circuit) -> None:
    tally = compared(circuit, 21, 60)
    assert (tally.odd, tally.beyond) == ([], [])
    assert tally.of(agreement.AGREE) > 50


@pytest.mark.slow
@pytest.mark.parametrize("circuit", CIRCUITS.values(), ids=CIRCUITS.keys())
def test_a_thousand_faults(circuit: Circuit) -> None:
    tally = compared(circuit, 22, 1000)
    assert (tally.odd, tally.beyond) == ([], [])
    assert tally.of(agreement.AGREE) > 980


@pytest.mark.parametrize(
    ("stages", "seed"), [(600, 1), pytest.param(20_000, 4, marks=pytest.mark.slow)]
)
def test_random_stages(stages: int, seed: int) -> None:
    tally = agreement.compare(stages, seed)
    assert tally.stages == stages
    assert (tally.odd, tally.beyond) == ([], [])
    assert tally.of(agreement.AGREE) > 0.98 * stages
    assert tally.missed == []


def test_a_disagreement_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """An engine whose transistors are of another gain, one that forgets a row, one beyond rails."""
    solve = agreement.Ngspice.solve

    def wrong(self, circuit, variations, axes=(), amounts=None, *, start=None):  # type: ignore[no-untyped-def]
        found = solve(self, circuit, variations, axes, amounts, start=start)
        if start is not None:
            return found
        found.volts[0] += 0.01 + 0.01 * abs(found.volts[0])
        found.solved[1] = False
        found.volts[2] += 500.0
        return found

    monkeypatch.setattr(agreement.Ngspice, "solve", wrong)
    tally = compared(hand.follower_of_pnp(), 21, 20)
    assert len(tally.odd) == 2
    assert tally.of(agreement.BY_NGSPICE) == 1
    assert len(tally.beyond) >= 1
