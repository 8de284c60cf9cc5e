"""The judge and the table: what cannot be told apart, intervals, and a study from end to end."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from biaspredict.model.stage import Stage
from tests.proving import adapter, faults, keys, lots, meterman, study
from tests.proving.adapter import Advice, Answer, Suspect
from tests.proving.draws import Draws
from tests.proving.faults import Fault
from tests.proving.judge import Refitter
from tests.proving.meterman import INSTRUMENTS, Habit
from tests.proving.spice import Runner
from tests.proving.table import promised, table, wilson
from tests.proving.test_truth import LEAK, STAGE_A, middle
from tests.proving.truth import solve


def test_wilson_interval() -> None:
    """Published worked values: 0 of 20 gives 0 to 0.161; 81 of 263 gives 0.255 to 0.366.

    Source: R. G. Newcombe, Statistics in Medicine 17 (1998) 857, method 3, table I (from memory).
    """
    assert wilson(0, 20) == pytest.approx((0.0, 0.161), abs=1e-3)
    assert wilson(81, 263) == pytest.approx((0.255, 0.366), abs=1e-3)


def test_what_the_weights_promise() -> None:
    """Two cases: of 0.9 on faults 0.6 on the first, of 0.5 all of it."""
    rows = [
        {"sound": 0.1, "suspects": [{"weight": 0.6}, {"weight": 0.2}, {"weight": 0.1}]},
        {"sound": 0.5, "suspects": [{"weight": 0.5}]},
    ]
    assert promised(rows, 1).strip() == "83.3 %"
    assert promised(rows, 3).strip() == "100.0 %"
    assert promised([], 3) == ""


@pytest.mark.parametrize(
    ("value", "digits", "written"),
    [(18.84, 3, 18.8), (0.5678, 3, 0.568), (123.4, 2, 120.0), (-2.345, 3, -2.35), (0.0004, 3, 0.0)],
)
def test_rounding_as_a_person(value: float, digits: int, written: float) -> None:
    assert meterman.three(value, digits) == pytest.approx(written, abs=6e-3 * abs(written) + 1e-9)


def test_joints_are_faults_of_the_part_they_hold() -> None:
    stage = adapter.parse(STAGE_A)
    assert keys.key(stage, Fault("joint", "open", "R3", lead="1")) == ("R3", "open")
    assert keys.key(stage, Fault("joint", "open", "Q1", lead="base")) == ("Q1", "base open")
    weak = Fault("joint", "resistive", "Q1", 1e4, "ohm", "base")
    assert keys.key(stage, weak) == ("Q1", "base joint")


def test_prior_draws_follow_the_table() -> None:
    """Shares of drawn faults against the table's own chances."""
    stage, table_ = adapter.parse(STAGE_A), lots.read_table()
    draw = Draws(np.random.default_rng(2))
    volts = dict.fromkeys(stage.nodes, 1.0)
    cases = 800
    leaks = sum(
        (f.part, f.mode) == ("C1", "leak")
        for _ in range(cases)
        for f in lots.by_prior(stage, volts, draw, table_)
    )
    low, high = wilson(leaks, cases, 3.5)
    assert low < table_["electrolytic", "leak"].chance < high


def fake(stage: Stage, text: str) -> Answer:
    """A tool that always blames R1, whatever the person wrote."""
    assert text.startswith("readings ")
    blame = tuple(
        Suspect(((ref, "drift up"),), weight, 1, 1.1, 3.0, "times")
        for ref, weight in (("R1", 0.6), ("R2", 0.3))
    )
    return Answer(0.1, blame, (Advice(True, stage.nodes[1]),))


def test_one_case_of_each_law_from_end_to_end(monkeypatch: pytest.MonkeyPatch) -> None:
    # Refitting takes seconds and has its own test below.
    monkeypatch.setattr(Refitter, "can_be", lambda *_: False)
    with Runner() as runner:
        for law in study.SHARES:
            plan = study.Plan(7, 1, "", {law: 1.0}, ("line-stage",))
            ground = study.Ground(plan, runner, fake)
            record = study.run_case(ground, 0)
            assert "error" not in record, record
            assert record["circuit"] == "line-stage"
            assert record["unsolved"] == 0
            assert "sound called sound" in table([record])


@pytest.mark.slow
def test_what_no_reading_can_tell_apart() -> None:
    """Stage A with C1 leaking: R1 high and low gain read the same, R3 and R4 do not.

    Source: the worked case, three faults that agree within 5 % at every node.
    """
    stage = adapter.parse(STAGE_A)
    draw = Draws(np.random.default_rng(4))
    habit = Habit(INSTRUMENTS[0], dict.fromkeys((0.2, 2.0, 20.0, 200.0, 1000.0), 0.0), draw)
    with Runner() as runner:
        (sick,) = solve(runner, [faults.apply(middle(stage), LEAK)], check=True)
        assert sick is not None
        taken = meterman.read(runner, sick, meterman.points(stage), habit)
        assert taken is not None
        refit = Refitter(runner, stage, taken, habit.instrument, 1)
        said = {ref: refit.can_be(ref, [LEAK]) for ref in ("C1", "R1", "Q1", "R3", "R4")}
    assert said == {"C1": True, "R1": True, "Q1": True, "R3": False, "R4": False}


@pytest.mark.slow
def test_the_study_with_the_tool_itself(tmp_path: Path) -> None:
    """Forty cases: none may fail, none may leave a hypothesis unsolved."""
    plan = study.Plan(11, 40, str(tmp_path), follow=False)
    records = list(study.records(study.run(plan)))
    assert len(records) == plan.cases
    assert [r["error"] for r in records if "error" in r] == []
    assert sum(r["unsolved"] for r in records) == 0
    sound = [r for r in records if not r["faults"]]
    assert sum(r["worst_blame"] <= 0.5 for r in sound) >= 0.85 * len(sound)
