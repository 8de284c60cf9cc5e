"""Finding ngspice, and what a person without it is told."""

from __future__ import annotations

import ctypes.util
import subprocess
import sys
from pathlib import Path

import pytest

from biaspredict.engine import library
from biaspredict.errors import EngineMissing

ROOT = Path(__file__).parents[2]


def run(code: str, folder: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Python code in a process of its own, the project's root on the path."""
    return subprocess.run(
        [sys.executable, "-c", code],
        cwd=folder,
        env={"PYTHONPATH": str(ROOT), "HOME": str(folder), "LC_ALL": "C.UTF-8", **environment},
        capture_output=True,
        text=True,
        timeout=60,
    )


def test_the_library_is_found_where_the_tests_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(library.VARIABLE, raising=False)
    assert library.find_library()


@pytest.mark.parametrize("told", ["/nowhere/libngspice.so.0", "\0", ctypes.util.find_library("m")])
def test_told_of_a_library_that_is_none(told: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A path that leads nowhere, one that cannot be, and a library of something else."""
    monkeypatch.setattr(library.os, "environ", {library.VARIABLE: told})
    with pytest.raises(EngineMissing) as caught:
        library.find_library()
    assert library.VARIABLE in caught.value.fact
    assert "nstall" in caught.value.remedy


def test_none_to_be_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(library.VARIABLE, raising=False)
    monkeypatch.setattr(library, "candidates", lambda: iter(["/nowhere/libngspice.so"]))
    with pytest.raises(EngineMissing, match="ngspice was not found"):
        library.find_library()


@pytest.mark.parametrize(
    ("platform", "words"),
    [
        ("linux", "apt install libngspice0"),
        ("darwin", "brew install libngspice"),
        ("win32", "pyspice-post-installation --install-ngspice-dll"),
    ],
)
def test_one_line_says_what_to_install(platform: str, words: str) -> None:
    line = library.remedy(platform)
    assert words in line
    assert "\n" not in line
    assert list(library.candidates(platform))


def test_missing_library_is_one_clear_error(tmp_path: Path) -> None:
    code = (
        "from biaspredict.engine.ngspice import ngspice_or_error\n"
        "from biaspredict.errors import EngineMissing\n"
        "try: ngspice_or_error()\n"
        "except EngineMissing as error: print(error)\n"
    )
    done = run(code, tmp_path, NGSPICE_LIBRARY_PATH=str(tmp_path / "gone.so"))
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert done.stdout.splitlines() == [
        f"NGSPICE_LIBRARY_PATH names {tmp_path / 'gone.so'}, "
        "which is not a library that loads here.",
        "  Correct or clear NGSPICE_LIBRARY_PATH, or " + library.remedy(lower=True),
    ]


def test_pyspice_missing_is_one_clear_error(tmp_path: Path) -> None:
    code = (
        "import sys; sys.modules['PySpice'] = None\n"
        "from biaspredict.engine.ngspice import ngspice_or_error\n"
        "from biaspredict.errors import EngineMissing\n"
        "try: ngspice_or_error()\n"
        "except EngineMissing as error: print(error.remedy)\n"
    )
    done = run(code, tmp_path)
    assert done.stdout == "Install it with: python -m pip install PySpice\n", done.stderr
