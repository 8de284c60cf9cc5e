"""`drill` as a learner and a teacher meet it: through a pipe, a terminal, and on paper."""

from __future__ import annotations

import io
import json
import re
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from biaspredict import classroom
from biaspredict.cli import main
from tests.drill.practices import LINE
from tests.heard import flat
from tests.lesson.test_pages import valid
from tests.terminal import Terminal

WIDTH = 80
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> Run:
    """Run `drill` in a folder of its own, with these lines typed."""
    monkeypatch.chdir(tmp_path)

    def go(*argv: str, typed: str = "") -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        code = main(["drill", *argv])
        out, err = capsys.readouterr()
        return code, out, err

    return go


def narrow(page: str) -> str:
    assert max(map(len, page.splitlines())) <= WIDTH
    assert "Traceback" not in page
    return page


def test_a_whole_drill_through_a_pipe(run: Run, tmp_path: Path) -> None:
    practice = classroom.practice(classroom.drill_of(LINE, 1, 4, None))
    part = practice.specimen.hidden.part
    wrong = "R2" if part != "R2" else "R1"
    code, out, _ = run(str(LINE), "--number", "4", typed=(
        f"Q1.collector\nQ1.base\nit is {wrong}\nit is {wrong}\nit is {part}\nQ1.emitter\n"))
    narrow(out)
    assert code == 0
    assert "volts at Q1.collector:" in out
    assert f"{wrong} is swapped, and every reading stays" in out
    assert f"{wrong} was named before" in out
    assert "Yes: " in out
    assert "Your path: 2 readings, cost 22" in out
    assert "The cheapest by expectation:" in out
    assert "rules out" in out
    # what is typed after the end is not read
    assert "Q1.emitter: " not in out.split("Yes: ")[0]
    kept = (tmp_path / "line-stage-1-4.drill").read_text(encoding="utf-8")
    assert re.search(r"^read Q1\.collector [0-9.]+$", kept, re.M)
    assert f"named {part}" in kept
    # the kept file does not give the fault away
    assert "fault" not in kept


def test_leaving_and_going_on(run: Run, tmp_path: Path) -> None:
    code, first, _ = run(str(LINE), "--number", "4", typed="Q1.collector\nohms across R3\n")
    assert code == 1
    assert "Kept, with cost 7" in first
    assert "Go on with: biaspredict drill line-stage-1-4.drill" in first
    code, then, _ = run("line-stage-1-4.drill", typed="Q1.collector\nreadings\nquit\n")
    narrow(then)
    assert "Going on: 2 readings, cost 7." in then
    assert "as before: it costs nothing again" in then
    # going on with the set switched off: volts cost the switch again
    code, then, _ = run("line-stage-1-4.drill", typed="Q1.base\nquit\n")
    assert "cost 4, 11 in all" in then
    # begun by the stage's name a second time, it is not lost
    code, _, err = run(str(LINE), "--number", "4")
    assert code == 2
    assert "is there already" in flat(err)
    code, _, _ = run(str(LINE), "--number", "4", "--keep", "mine.drill", typed="quit\n")
    assert (tmp_path / "mine.drill").exists()


def test_a_file_that_no_longer_fits_is_refused(run: Run, tmp_path: Path) -> None:
    run(str(LINE), "--number", "4", typed="Q1.collector\n")
    path = tmp_path / "line-stage-1-4.drill"
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r"(read Q1.collector) .*", r"\1 1.11", text), encoding="utf-8")
    code, _, err = run(path.name)
    assert code == 2
    assert "1.11 was kept" in flat(err)
    assert "line 6" in flat(err)
    path.write_text(text.replace("line stage after", "another stage after"), encoding="utf-8")
    code, _, err = run(path.name)
    assert code == 2
    assert "the drill is of the stage" in flat(err)
    path.write_text(re.sub(r"stage .*\n", "stage nowhere.stage\n", text, count=1)
                    .replace('drill "line nowhere.stage', 'drill "line'), encoding="utf-8")
    code, _, err = run(path.name)
    assert code == 2


def test_giving_up_tells_what_it_was(run: Run, tmp_path: Path) -> None:
    code, out, _ = run(str(LINE), "--level", "3", "--number", "2", typed="VA\ngive up\n")
    narrow(out)
    assert code == 1
    assert "It was this: " in out
    assert "You paid" not in out
    # the kept file holds the end: going on tells it again, and asks nothing
    assert (tmp_path / "line-stage-3-2.drill").read_text(encoding="utf-8").endswith("gave up\n")


@pytest.mark.parametrize("line", [
    "Q1.collectr", "Q99.base", "it is R99", "lift Q1", "warm Q1", "across", "ohms", "to to to",
    "Q1.base to Q1.base", "\x00\x07", "\N{SNOWMAN}" * 200, "ohms Q1.base over 20M", "-", "5",
    "it is", "across R3 to R4", "R1/R2", "B+", "ground", "skip Q1.base",
])
def test_whatever_is_typed_is_answered(run: Run, line: str) -> None:
    code, out, err = run(str(LINE), "--number", "4", typed=f"{line}\nreadings\nquit\n")
    assert code == 1
    assert err == ""
    assert "Kept, with cost" in out
    assert "Traceback" not in out


def test_a_terminal(tmp_path: Path) -> None:
    """The same at a pseudo-terminal 80 columns wide: a prompt, an echo, an answer."""
    learner, out = Terminal("drill", LINE, at=tmp_path), ""
    for keys in ("Q1.base", "help", "quit"):
        out += learner.until("\n> ")
        learner.type(keys + "\n")
    assert learner.code() == 1
    out += learner.seen
    narrow(out.replace("\r", ""))
    assert "> Q1.base" in out
    assert "volts at Q1.base:" in out
    assert "name the part" in out
    assert "Kept, with cost 1" in out


def test_a_teachers_drill_on_paper(run: Run, tmp_path: Path) -> None:
    (tmp_path / "week3.drill").write_text(
        f'drill "line stage after the volume control"\nstage {LINE}\nnumber 3\n'
        "fault C1 leaks 20K\nmeter 11 MEG\n", encoding="utf-8")
    code, both, _ = run("week3.drill", "--print", "--key")
    assert code == 0
    page, key = both.split("\f")
    narrow(page)
    assert "chosen by your teacher" in page
    assert "The meter: 11 MEG." in page
    assert "The part: ____" in page
    for secret in ("C1 leaks", "leaks", "key"):
        assert secret not in page
    narrow(key)
    assert "C1 leaks, 20k ohm." in key
    assert re.search(r"^  Q1\.base +1 +[0-9.]+ V$", key, re.M)
    assert re.search(r"^  ohms across C1 +3 +[0-9.]+K? ohm$", key, re.M)
    assert "The cheapest path by expectation" in key
    # printing keeps nothing
    assert [path.name for path in tmp_path.iterdir()] == ["week3.drill"]
    code, out, _ = run("week3.drill", typed="Q1.base\nquit\n")
    assert re.search(r"volts at Q1\.base: [0-9.]+ V   cost 1, 1 in all", out)


def test_records(run: Run) -> None:
    code, out, _ = run(str(LINE), "--number", "4", "--json")
    assert code == 0
    record = json.loads(out)
    valid(record, "drill")
    assert "key" not in record
    assert not re.search(r"leak|open|short|drift", json.dumps(record["done"]))
    code, out, _ = run(str(LINE), "--number", "4", "--json", "--key")
    record = json.loads(out)
    valid(record, "drill")
    assert record["key"]["cheapest"]["readings"]


@pytest.mark.parametrize(("argv", "words"), [
    (("--number", "0"), "stands for no drill"),
    (("--number", "9999999999999"), "stands for no drill"),
    (("--meter", "banana"), "meter"),
])
def test_what_cannot_be_drilled(run: Run, argv: tuple[str, ...], words: str) -> None:
    code, _, err = run(str(LINE), *argv)
    assert code == 2
    assert words in flat(err)


def test_a_drill_file_keeps_its_own_level(run: Run) -> None:
    run(str(LINE), "--number", "4", typed="quit\n")
    code, _, err = run("line-stage-1-4.drill", "--level", "2")
    assert code == 2
    assert "has its level, number and meter already" in flat(err)
