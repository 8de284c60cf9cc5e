"""Files where people keep them: odd names, folders that may not be written to, full disks."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from biaspredict import saving
from biaspredict.cli import main
from biaspredict.errors import InputError
from tests.heard import flat

ROOT = Path(__file__).parents[2]
NOBODY = "65534"
STAGE = ROOT / "circuits" / "line-stage.stage"


def run(*words: str, at: Path, typed: str = "", before: Sequence[str] = ()) -> tuple[int, str]:
    """Exit code and all that was said of a command in a process of its own."""
    done = subprocess.run(
        [*before, sys.executable, "-m", "biaspredict", *words], cwd=at, input=typed,
        capture_output=True, text=True, check=False, timeout=120,
        env={**os.environ, "PYTHONPATH": str(ROOT), "XDG_CACHE_HOME": "/dev/null/none"},
    )
    assert "Traceback" not in done.stderr, done.stderr
    return done.returncode, done.stdout + done.stderr


@pytest.fixture
def odd(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder named as no program likes it, with the demo's files under such names."""
    folder = tmp_path / "Prüf stände ½ «電圧» 'x' \"y\" -o"
    folder.mkdir()
    for name, new in (("preamp.stage", "vor stufe é.stage"), ("preamp.readings", "läufe.readings")):
        shutil.copy(ROOT / "demo" / name, folder / new)
    monkeypatch.chdir(folder)
    return folder


@pytest.mark.parametrize("words", [
    ("proof", "S"), ("bias", "S"), ("ohms", "S"), ("corners", "S"), ("swap", "S", "R3=5.6K"),
    ("renew", "S"), ("suspect", "S", "R"), ("lesson", "S"), ("drill", "S", "--print"),
    ("log", "--add", "S", "--", "set läng.log"),
], ids=lambda words: words[0])
def test_commands_take_files_of_any_name(
    odd: Path, words: Sequence[str], capsys: pytest.CaptureFixture[str]
) -> None:
    names = {"S": str(odd / "vor stufe é.stage"), "R": "läufe.readings"}
    assert main([names.get(word, word) for word in words]) in (0, 1)
    assert capsys.readouterr().err == ""
    if words[0] == "log":
        assert "vor stufe é.stage" in (odd / "set läng.log").read_text("utf-8")


@pytest.mark.parametrize("name", ["bild ½.svg", "blatt ½.html"])
def test_files_of_any_name_are_written(odd: Path, name: str) -> None:
    command = "draw" if name.endswith("svg") else "sheet"
    assert main([command, "vor stufe é.stage", "läufe.readings", "-o", name]) in (0, 1)
    assert "hall mixer" in (odd / name).read_text("utf-8")
    assert not list(odd.glob("*.part"))


def test_a_failed_write_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = tmp_path / "a.svg"
    saving.save(there, b"before")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(InputError, match="No space left") as caught:
        saving.save(there, b"after")
    assert "Make room" in caught.value.remedy
    assert there.read_bytes() == b"before"
    assert list(tmp_path.iterdir()) == [there]


def test_output_that_cannot_be_printed_is_said(tmp_path: Path) -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("no /dev/full on this machine")
    with full.open("w") as out:
        done = subprocess.run(
            [sys.executable, "-m", "biaspredict", "bias", str(STAGE)], cwd=ROOT, stdout=out,
            stderr=subprocess.PIPE, text=True, check=False, timeout=60,
        )
    assert done.returncode == 2
    assert done.stderr.startswith("what was to be printed cannot be written")
    assert len(done.stderr.splitlines()) == 1


WRITING = [("draw", "line.stage"), ("sheet", "line.stage"), ("drill", "line.stage"),
           ("bench", "line.stage"), ("log", "set.log", "--add", "line.stage")]


@pytest.fixture
def guest(tmp_path: Path) -> tuple[Path, Sequence[str]]:
    """A folder that may be read but not written to, and how to become one who is held to that."""
    before: Sequence[str] = ()
    if os.geteuid() == 0:
        become = shutil.which("setpriv")
        if become is None:
            pytest.skip("root may write anywhere, and setpriv is missing")
        before = (become, "--reuid", NOBODY, "--regid", NOBODY, "--clear-groups")
        reach = subprocess.run(
            [*before, sys.executable, "-c", "import biaspredict, numpy, networkx"], check=False,
            cwd="/", env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True,
        )
        if reach.returncode:
            pytest.skip("this Python is root's alone")
    folder = Path("/tmp") / f"biaspredict-{os.getpid()}-{tmp_path.name}"
    folder.mkdir()
    shutil.copy(STAGE, folder / "line.stage")
    folder.chmod(0o555)
    return folder, before


@pytest.mark.parametrize("words", WRITING, ids=lambda words: words[0])
def test_a_folder_that_may_not_be_written_to(
    guest: tuple[Path, Sequence[str]], words: Sequence[str]
) -> None:
    folder, before = guest
    try:
        code, said = run(*words, at=folder, typed="Q1.base\nquit\n", before=before)
        assert sorted(p.name for p in folder.iterdir()) == ["line.stage"]
    finally:
        folder.chmod(0o755)
        shutil.rmtree(folder)
    assert code == 2
    assert "cannot be written:" in flat(said)
    assert "\n  " in said, "no remedy"


@pytest.fixture
def full(tmp_path: Path) -> Iterator[tuple[Path, Callable[[], None]]]:
    """A disk of 64 kB with a stage on it, and what fills it."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = shutil.which("mount") is not None and subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "none", str(disk)], check=False,
        capture_output=True,
    ).returncode == 0
    if not mounted:
        pytest.skip("a small disk cannot be mounted here")

    def fill() -> None:
        with (disk / "filler").open("wb", buffering=0) as filler:
            for _ in range(100):
                try:
                    filler.write(b"x" * 1024)
                except OSError:
                    return

    shutil.copy(STAGE, disk / "line.stage")
    try:
        yield disk, fill
    finally:
        subprocess.run(["umount", str(disk)], check=True)


@pytest.mark.parametrize("words", WRITING, ids=lambda words: words[0])
def test_a_full_disk(full: tuple[Path, Callable[[], None]], words: Sequence[str]) -> None:
    disk, fill = full
    fill()
    before = sorted(p.name for p in disk.iterdir())
    code, said = run(*words, at=disk, typed="Q1.base\nquit\n")
    after = sorted(p.name for p in disk.iterdir() if p.stat().st_size)
    assert code == 2
    assert "No space left" in flat(said)
    assert after == before


def test_a_log_on_a_disk_that_fills_keeps_what_it_said_it_kept(
    full: tuple[Path, Callable[[], None]]
) -> None:
    """The line that found no room is refused; all lines before it read back, and it goes on."""
    from biaspredict.notation.logbook import load_log

    disk, fill = full
    assert run("log", "set.log", "--add", "line.stage", at=disk)[0] in (0, 1)
    fill()
    before = (disk / "set.log").read_bytes()
    typed = "".join(f"note {'long ' * 14}{k}\n" for k in range(200)) + "quit\n"
    code, said = run("bench", "line.stage", "set.log", at=disk, typed=typed)
    assert code == 0, "left with quit"
    assert "No space left" in flat(said)
    assert "is not kept" in said
    kept = (disk / "set.log").read_bytes()
    assert kept.startswith(before)
    log = load_log(disk / "set.log")
    assert log.damage is None
    (disk / "filler").unlink()
    assert run("bench", "line.stage", "set.log", at=disk, typed="note again\nquit\n")[0] in (0, 1)
    assert load_log(disk / "set.log").entries[-1].body != ""
    assert [e.body for e in load_log(disk / "set.log").entries if e.body == "again"] == ["again"]
