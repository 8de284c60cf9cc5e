"""From each case's readings to what was behind them, and to the touch that settles it."""

from __future__ import annotations

from functools import cache

import pytest

from biaspredict.infer.verdict import Verdict
from biaspredict.model.readings import Quantity
from biaspredict.pipeline import load_readings, proof, suspect
from tests.cases.cases import BY_NAME, CASES, Case
from tests.circuits.files import load


@cache
def verdict_of(case: Case) -> Verdict:
    stage = load(case.stage_file)
    return suspect(stage, load_readings(case.readings_file, stage))


def best_group(verdict: Verdict) -> set[tuple[str, str]]:
    return {
        s.faults[0].key for s in verdict.ranking.suspects if s.group == 1 and len(s.faults) == 1
    }


@pytest.mark.parametrize(
    "case", [case for case in CASES if case.wrong], ids=lambda case: case.name
)
def test_the_culprit_and_the_wrong_guesses_stand_together(case: Case) -> None:
    verdict = verdict_of(case)
    assert not verdict.sound
    assert verdict.ranking.suspects[0].faults[0].key == case.culprit
    assert {wrong.mode for wrong in case.wrong} <= best_group(verdict)
    assert not verdict.settled  # nobody is sent to the soldering iron yet


def test_the_scratchy_pot_sends_the_meter_to_the_wiper() -> None:
    case = BY_NAME["scratchy-pot"]
    split = verdict_of(case).splits[0]
    assert (split.touch.probe.node, split.touch.probe.quantity) == ("P1.wiper", Quantity.VOLTS)
    telling = [outcome for outcome in split.outcomes if outcome.low > 0.01]
    assert telling
    for outcome in telling:
        assert outcome.means[0][0] == ("C1",)
        assert outcome.means[0][1] > 0.9
    assert any(outcome.low < case.next.faulty < outcome.high for outcome in telling)


def test_the_warm_germanium_is_warmed_first() -> None:
    split = verdict_of(BY_NAME["worse-when-warm"]).splits[0]
    assert split.touch.probe.doing
    assert split.touch.cost <= 2.0


def test_a_chart_read_through_its_meter_is_no_fault() -> None:
    case = BY_NAME["chart-reads-low"]
    assert verdict_of(case).sound
    stage = load(case.stage_file)
    found = proof(stage)
    assert found.clean, (found.findings, found.charts)
