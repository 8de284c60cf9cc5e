"""Every step of every lesson: true where its inputs are true, and behind what it uses."""

from __future__ import annotations

from pathlib import Path

import pytest

from biaspredict.predict.hand.beside import Beside, Solved
from biaspredict.predict.hand.records import Borrowed, Guess, Key, Step, What, volts
from biaspredict.quantities import Unit
from tests.circuits.files import DEMO, OURS, PUBLISHED, name_of
from tests.lesson.taught import lesson_of, some

EVERY = OURS + PUBLISHED + DEMO
# The engines leak 1e-12 S across junctions and from nodes to ground, and a joint has 1 milliohm.
LEAST = {Unit.VOLT: 2e-4, Unit.AMPERE: 2e-9, Unit.RATIO: 1e-6}


def steps(path: Path) -> list[Step]:
    return [line.step for line in lesson_of(path).lines if isinstance(line, Beside)]


@pytest.mark.parametrize("path", some(EVERY), ids=name_of)
def test_the_arithmetic_is_that_of_the_circuit(path: Path) -> None:
    """Fed with the solved stage's own figures, each step gives the solved stage's result.

    So whatever a hand result is off by comes from what was taken for its inputs, and the
    reasons given are the whole of it.
    """
    solved: Solved = lesson_of(path).solved
    for step in steps(path):
        values: dict[Key, float] = {}
        for key, _ in step.inputs:
            value = solved.value(key)
            assert value is not None, (step.title, key)
            values[key] = value
        want = solved.value(step.key)
        assert want is not None, step.title
        got = step.work(values)
        assert got == pytest.approx(want, rel=1e-3, abs=LEAST[step.key.unit]), step.title


@pytest.mark.parametrize("path", some(EVERY), ids=name_of)
def test_the_hand_result_is_what_its_inputs_give(path: Path) -> None:
    for step in steps(path):
        assert step.work(dict(step.inputs)) == pytest.approx(step.hand, rel=1e-9, abs=1e-15)


@pytest.mark.parametrize("path", some(EVERY), ids=name_of)
def test_nothing_is_used_before_it_is_made(path: Path) -> None:
    found = lesson_of(path)
    made = {
        line.step.key if isinstance(line, Beside) else volts(line.node) for line in found.lines
    }
    done: set[Key] = set()
    for line in found.lines:
        if isinstance(line, Guess | Borrowed):
            done.add(volts(line.node))
            continue
        for key, value in line.step.inputs:
            if value and key in made and key not in line.step.assumes:
                assert key in done, (line.step.title, key)
        if not line.step.rough:
            done.add(line.step.key)


@pytest.mark.parametrize("path", some(OURS + DEMO), ids=name_of)
def test_the_hand_comes_near_the_solved_stage(path: Path) -> None:
    """A fixed V_BE and middle gain bring every node within a tenth of the supply."""
    found = lesson_of(path)
    rails = [rail.volts for rail in found.stage.rails]
    span = max([0.0, *rails]) - min([0.0, *rails])
    for cut in found.nodes:
        assert cut.hand == pytest.approx(cut.solved, abs=0.1 * span), cut.node


@pytest.mark.parametrize("path", some(OURS + DEMO), ids=name_of)
def test_every_working_transistor_gets_its_v_ce(path: Path) -> None:
    found = lesson_of(path)
    told = {line.step.key.name for line in found.lines
            if isinstance(line, Beside) and line.step.key.what is What.ACROSS}
    working = {
        ref for ref, state in found.solved.states.items()
        if ref not in found.asleep and found.stage.part(ref).kind.value == "transistor"
    }
    assert working <= told


def test_a_guess_is_where_both_sides_meet() -> None:
    # VA of the line stage: 22 V through 2.2K, less what Q1 and its divider take, V_BE 0.65 V and
    # gain sqrt(80 * 300); solved on paper as two linear equations in VA and IB.
    found = lesson_of(next(path for path in OURS if path.stem == "line-stage"))
    guess = next(line for line in found.lines if isinstance(line, Guess))
    gain, share, beside = (80.0 * 300.0) ** 0.5, 47.0 / 267.0, 220e3 * 47e3 / 267e3
    # IB = (share VA - 0.65) / (beside + (gain + 1) 1K)
    whole = beside + (gain + 1.0) * 1e3
    # VA = 22 - 2.2K (gain IB + (VA - VB) / 220K), VB = 0.65 + (gain + 1) IB 1K
    a = 1.0 + 2.2 * (gain * share / whole * 1e3 + (1.0 - (gain + 1.0) * 1e3 * share / whole) / 220)
    b = 22.0 + 2.2e3 * (gain * 0.65 / whole + (0.65 - (gain + 1.0) * 1e3 * 0.65 / whole) / 220e3)
    assert guess.node == "VA"
    assert guess.volts == pytest.approx(b / a, abs=1e-3)
