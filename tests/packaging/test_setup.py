"""demo/setup.sh: installs what is missing, once, and says in one line what it cannot do."""

from __future__ import annotations

import fcntl
import os
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.packaging.fake_machine import PYTHON, SUDO, Machine

INSTALL = "apt-get install --no-install-recommends"
FRESH = ["venv", "pip .[test]"]


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


@pytest.fixture
def ready(machine: Machine) -> Machine:
    assert machine.run(extra="test").code == 0
    return machine


def test_bare_machine_gets_all_it_lacks_in_one_go(machine: Machine) -> None:
    done = machine.run(extra="test")
    assert done.code == 0, done.said
    assert done.calls == [f"{INSTALL} libngspice0 python3.11-venv", *FRESH]
    assert done.out == ""  # standard output is kept for the job itself
    assert not list(machine.state.glob("biaspredict-setup*"))


def test_second_run_installs_nothing(ready: Machine) -> None:
    again = ready.run(extra="test")
    assert (again.code, again.calls, again.said) == (0, [], [])


def test_only_what_is_missing_is_installed(machine: Machine) -> None:
    machine.has("library")
    assert machine.run().calls == [f"{INSTALL} python3.11-venv", "venv", "pip ."]


def test_library_that_went_missing_is_fetched_again(ready: Machine) -> None:
    (ready.state / "library").unlink()
    assert ready.run(extra="test").calls == [f"{INSTALL} libngspice0"]


def test_package_lists_are_fetched_only_when_they_are_needed(machine: Machine) -> None:
    (machine.state / "lists").unlink()
    install = f"{INSTALL} libngspice0 python3.11-venv"
    assert machine.run().calls[:3] == [install, "apt-get update", install]


def test_demo_needs_nothing_more_after_the_tests(ready: Machine) -> None:
    assert ready.run().calls == []


def test_tests_add_to_what_the_demo_made(machine: Machine) -> None:
    machine.run()
    assert machine.run(extra="test").calls == ["pip .[test]"]
    assert machine.run().calls == []


def test_new_dependencies_are_installed_into_the_same_environment(ready: Machine) -> None:
    with (ready.root / "pyproject.toml").open("a") as file:
        file.write("# another line\n")
    assert ready.run(extra="test").calls == ["pip .[test]"]
    assert ready.run(extra="test").calls == []


def test_moved_folder_gets_a_new_environment(ready: Machine) -> None:
    ready.move("radio, kitchen")
    assert ready.run(extra="test").calls == FRESH


def test_moved_folder_with_new_dependencies_too(ready: Machine) -> None:
    ready.move("radio, kitchen")
    with (ready.root / "pyproject.toml").open("a") as file:
        file.write("# another line\n")
    assert ready.run(extra="test").calls == FRESH


def test_interrupted_setup_starts_over(machine: Machine) -> None:
    machine.has("no-index")
    assert machine.run(extra="test").code == 2
    (machine.state / "no-index").unlink()
    assert machine.run(extra="test").calls == FRESH


def test_lost_packages_are_noticed(ready: Machine) -> None:
    (ready.venv / "packages").unlink()
    assert ready.run(extra="test").calls == FRESH


def test_python_that_no_longer_runs_is_noticed(ready: Machine) -> None:
    (ready.venv / "bin" / "python").unlink()
    assert ready.run(extra="test").calls == FRESH


def test_somebody_elses_folder_is_left_alone(machine: Machine) -> None:
    machine.venv.mkdir()
    (machine.venv / "letter.txt").write_text("keep me")
    done = machine.run()
    assert done.code == 2
    assert "move it elsewhere" in done.said[-1]
    assert (machine.venv / "letter.txt").read_text() == "keep me"


def test_environment_made_by_hand_is_used(machine: Machine) -> None:
    machine.has("library")
    (machine.venv / "bin").mkdir(parents=True)
    (machine.venv / "pyvenv.cfg").touch()
    machine.provide("python", PYTHON, machine.venv / "bin")
    assert machine.run().calls == ["pip ."]


def test_newer_python_beside_an_old_one_is_found(machine: Machine) -> None:
    machine.has("library")
    machine.has("ensurepip")
    machine.provide("python3", "#!/bin/sh\necho 3.10\n")
    machine.provide("python3.12", PYTHON)
    machine.has("version", "3.12")
    assert machine.run().calls == ["venv", "pip ."]


def test_python_can_be_named(machine: Machine) -> None:
    machine.lacks("python3")
    machine.provide("my-python", PYTHON)
    machine.has("version", "3.14")
    assert machine.run(PYTHON="my-python").calls[0] == f"{INSTALL} libngspice0 python3.14-venv"


def test_ordinary_user_asks_sudo(machine: Machine) -> None:
    machine.provide("id", "#!/bin/sh\necho 1000\n")
    machine.provide("sudo", SUDO)
    assert machine.run().calls[:2] == ["sudo", f"{INSTALL} libngspice0 python3.11-venv"]


def test_second_setup_waits_for_the_first(machine: Machine) -> None:
    machine.calls.touch()
    other = os.open(machine.root, os.O_RDONLY)
    fcntl.flock(other, fcntl.LOCK_EX)
    with subprocess.Popen(
        machine.command(), env=machine.environment(), stderr=subprocess.PIPE, text=True
    ) as run:
        assert run.stderr is not None
        assert "waiting" in run.stderr.readline()
        assert machine.calls.read_text() == ""
        os.close(other)
        assert run.wait(timeout=20) == 0
    assert "pip ." in machine.calls.read_text().splitlines()


def no_python(machine: Machine) -> None:
    machine.lacks("python3")


def old_python(machine: Machine) -> None:
    machine.has("version", "3.10")


def no_apt(machine: Machine) -> None:
    machine.lacks("apt-get")


def no_sudo(machine: Machine) -> None:
    machine.provide("id", "#!/bin/sh\necho 1000\n")


def sudo_refuses(machine: Machine) -> None:
    no_sudo(machine)
    machine.provide("sudo", SUDO)
    machine.has("no-rights")


def no_mirror(machine: Machine) -> None:
    machine.has("no-mirror")


def no_index(machine: Machine) -> None:
    machine.has("no-index")


def read_only(machine: Machine) -> None:
    # Root may write everywhere, so the refusal is the tool's.
    machine.provide("mkdir", "#!/bin/sh\nexit 1\n")


@pytest.mark.parametrize(
    ("trouble", "remedy"),
    [
        (no_python, "install python3,"),
        (old_python, "Ubuntu 22.04: sudo apt-get install python3.11 python3.11-venv"),
        (no_apt, "install what Debian calls libngspice0 python3.11-venv"),
        (no_sudo, "apt-get install libngspice0 python3.11-venv (as root)"),
        (sudo_refuses, "apt-get install libngspice0 python3.11-venv (as root)"),
        (no_mirror, "check the network"),
        (no_index, "check that this machine reaches a Python package index"),
        (read_only, "copy the folder to a place of your own"),
    ],
)
def test_one_line_says_what_to_do(
    machine: Machine, trouble: Callable[[Machine], None], remedy: str
) -> None:
    trouble(machine)
    done = machine.run()
    assert done.code == 2
    assert remedy in done.said[-1]
    assert "then run this again" in done.said[-1]
    # Before it there may be what was being tried, and nothing else: no tool's own outcry.
    assert all(line.startswith("biaspredict: ") for line in done.said)
    assert all("(once" in line for line in done.said[:-1])
