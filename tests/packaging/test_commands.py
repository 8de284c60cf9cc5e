"""demo/run.sh and tests/run.sh: what they run, and what their exit codes mean."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.packaging.fake_machine import Machine


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    machine = Machine(tmp_path)
    assert machine.run(extra="test").code == 0
    (machine.root / "demo" / "preamp.stage").touch()
    (machine.root / "demo" / "preamp.readings").touch()
    return machine


def demo(machine: Machine, *codes: int) -> tuple[int, list[str]]:
    """Run the demo with a biaspredict whose runs end with these exit codes."""
    answers = "".join(f"{job}) exit {code} ;;\n" for job, code in zip(JOBS, codes, strict=True))
    text = f'#!/bin/sh\necho "$*" >>"$CALLS"\ncase $1 in\n{answers}esac\n'
    machine.provide("biaspredict", text, machine.venv / "bin")
    done = machine.run(str(machine.root / "demo" / "run.sh"))
    return done.code, [call.split()[0] for call in done.calls]


JOBS = ["proof", "bias", "suspect"]


def test_demo_does_the_main_job(machine: Machine) -> None:
    assert demo(machine, 0, 0, 0) == (0, JOBS)


def test_something_to_report_is_no_failure(machine: Machine) -> None:
    assert demo(machine, 1, 0, 1) == (0, JOBS)


@pytest.mark.parametrize("code", [2, 70, 139])
def test_input_that_cannot_be_used_ends_the_demo(machine: Machine, code: int) -> None:
    assert demo(machine, 0, code, 0) == (code, ["proof", "bias"])
    assert demo(machine, 0, 0, code) == (code, JOBS)


def test_checks_all_run_and_arguments_reach_pytest(machine: Machine) -> None:
    done = machine.run(str(machine.root / "tests" / "run.sh"), "-k", "two words")
    assert done.code == 0
    assert [call.split("|")[1] for call in done.calls] == ["ruff", "mypy", "pytest"]
    assert done.calls[-1].endswith("|-k|two words")


@pytest.mark.parametrize("tool", ["ruff", "mypy", "pytest"])
def test_one_failure_fails_the_run_but_stops_nothing(machine: Machine, tool: str) -> None:
    machine.has(f"{tool}-fails")
    done = machine.run(str(machine.root / "tests" / "run.sh"))
    assert done.code != 0
    assert [call.split("|")[1] for call in done.calls] == ["ruff", "mypy", "pytest"]
