"""What long work says while it lasts: one line, on a terminal only, wiped at the end."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from biaspredict import underway
from biaspredict.notation import write_stage
from tests.bench import boards

ROOT = Path(__file__).parents[2]


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def _screen(written: str) -> str:
    """What stands on the line in the end, and where the next character goes."""
    line, place = [" "] * 200, 0
    for char in written:
        if char == "\r":
            place = 0
        else:
            line[place], place = char, place + 1
    return "".join(line).rstrip() + f"|{place}"


def test_a_line_is_written_over_and_wiped() -> None:
    out = Terminal()
    with underway.shown(out, patience=0.0, pause=0.0):
        underway.at("weighing faults", 800, 1809)
        assert _screen(out.getvalue()) == "weighing faults, 800 of 1809 ...|32"
        underway.at("short")
        assert _screen(out.getvalue()).startswith("short ...|")
        underway.at("x" * 300)
        assert len(_screen(out.getvalue()).split("|")[0]) == underway.WIDTH
    assert _screen(out.getvalue()) == "|0"


def test_a_first_word_stands_there_at_once_and_stays() -> None:
    out = Terminal()
    with underway.shown(out, patience=0.0, pause=0.0, first="at first sight R5 91 %"):
        assert _screen(out.getvalue()).startswith("at first sight R5 91 % ...|")
        underway.at("weighing faults", 1, 2)
        line = _screen(out.getvalue()).split("|")[0]
        assert line == "at first sight R5 91 %; weighing faults, 1 of 2 ..."
    assert _screen(out.getvalue()) == "|0"
    out = io.StringIO()
    with underway.shown(out, first="at first sight R5 91 %"):
        assert out.getvalue() == ""


def test_short_work_and_files_are_not_written_to() -> None:
    for out, patience in ((Terminal(), 60.0), (io.StringIO(), 0.0)):
        with underway.shown(out, patience=patience):
            underway.at("weighing faults", 1, 2)
        underway.at("after the end")
        assert out.getvalue() == ""


@pytest.mark.parametrize("words", [
    ("suspect", "board.stage", "board.readings"), ("draw", "board.stage"),
    ("sheet", "board.stage"), ("drill", "board.stage"),
], ids=lambda words: words[0])
def test_ctrl_c_leaves_nothing_behind(words: tuple[str, ...], tmp_path: Path) -> None:
    """On a board of 294 parts, in the middle of the work: stopped within a second, code 130."""
    (tmp_path / "board.stage").write_text(write_stage(boards.stage_of("board")), "utf-8")
    (tmp_path / "board.readings").write_text('readings "today"\n', "utf-8")
    if words[0] == "draw":  # a board is more than one drawing can hold
        text = write_stage(boards.stage_of("power"))
        (tmp_path / "board.stage").write_text(text, "utf-8")
    before = sorted(p.name for p in tmp_path.iterdir())
    child = subprocess.Popen(
        [sys.executable, "-m", "biaspredict", *words], cwd=tmp_path, stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), "XDG_CACHE_HOME": "/dev/null/none"},
    )
    time.sleep(0.9)
    assert child.poll() is None, child.communicate()
    child.send_signal(signal.SIGINT)
    begun = time.monotonic()
    _, said = child.communicate(timeout=30)
    assert time.monotonic() - begun < 1.0
    # Caught while a module is still being imported, the signal ends Python by itself: -2, which
    # every shell gives on as 130 too.
    assert child.returncode in (130, -signal.SIGINT)
    assert said == "stopped\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == before
    with pytest.raises(ProcessLookupError):
        os.killpg(child.pid, 0)
