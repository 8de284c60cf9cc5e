"""The commands `bench` and `log` as a person or a program runs them."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from biaspredict.cli import main
from biaspredict.notation.logbook import load_log
from tests.bench_entry.test_sitting import STAGE
from tests.heard import flat
from tests.terminal import Terminal

ROOT = Path(__file__).parents[2]
SCHEMA = json.loads((ROOT / "biaspredict" / "records.json").read_text("utf-8"))


def valid(record: object, name: str) -> None:
    schema = {"$ref": f"#/$defs/{name}", "$defs": SCHEMA["$defs"]}
    jsonschema.Draft202012Validator(schema).validate(record)


@pytest.fixture
def stage(tmp_path: Path) -> Path:
    path = tmp_path / "line.stage"
    path.write_text(STAGE, "utf-8")
    return path


def run(*args: object, typed: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "biaspredict", *map(str, args)], input=typed,
        capture_output=True, check=False,
    )


def test_piped(stage: Path) -> None:
    """What is typed is echoed, so that what was said can be read; bad bytes are complained of."""
    done = run("bench", stage, typed=b"skip\nskip\nQ1.base \xff 2.6\nnote done for today\n")
    said = done.stdout.decode()
    assert done.returncode == 0
    assert done.stderr == b""
    assert "ohms B+ > skip" in said
    assert "Not taken" in said
    assert all(len(line) <= 80 for line in said.splitlines() if "log /" not in line)
    log = load_log(stage.with_suffix(".log"))
    assert log.entries[-1].body == "done for today"


def test_json_lines(stage: Path) -> None:
    done = run("bench", stage, "--json", typed=b"skip\n22\nquit\n")
    steps = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(steps) == 4
    for step in steps:
        valid(step, "bench")
    assert steps[0]["asked"]["begin"] == "ohms B+"
    assert steps[2]["answer"]["sound"] > 0.3
    assert steps[-1]["over"]


def test_log_listed(
    stage: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "set.log"
    other = tmp_path / "other.stage"
    other.write_text(STAGE.replace("line amplifier", "output stage"), "utf-8")
    assert main(["log", str(log), "--title", "radio", "--add", str(other), str(stage)]) == 0
    said = capsys.readouterr().out
    assert said.index("output stage") < said.index("line amplifier")
    assert "Next: Power off" in said
    assert main(["log", str(log), "--json"]) == 0
    valid(json.loads(capsys.readouterr().out), "log")
    with log.open("ab") as file:
        file.write(b"2026-11-20 19:42 read Q1.ba")
    assert main(["log", str(log)]) == 0
    assert "Line 4 was cut off" in capsys.readouterr().out
    with log.open("ab") as file:
        file.write(b"\nnonsense\n2026-11-20 19:43 note lost?\n")
    assert main(["log", str(log), "--json"]) == 1
    record = json.loads(capsys.readouterr().out)
    valid(record, "log")
    assert record["damage"]["line"] == 5
    assert main(["bench", str(stage), str(log)]) == 2
    assert "damaged log" in flat(capsys.readouterr().err)


def test_suspect_takes_the_log(
    stage: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "set.log"
    log.write_text(
        'log "radio" 2026-11-20\n2026-11-20 19:40 stage "line amplifier" in line.stage\n'
        "2026-11-20 19:41 read rail B+ 22\n2026-11-20 19:42 read Q1.base 3.4\n"
        "2026-11-20 19:50 read Q1.emitter 2.75\n", "utf-8",
    )
    assert main(["suspect", str(stage), str(log), "--at", "19:45", "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["readings"]) == 2
    assert main(["suspect", str(stage), str(log), "--at", "noon"]) == 2
    assert "no line and no time" in flat(capsys.readouterr().err)
    readings = tmp_path / "day.readings"
    readings.write_text('readings "day"\nrail B+ 22\n', "utf-8")
    assert main(["suspect", str(stage), str(readings), "--at", "3"]) == 2
    assert "--at with a log" in flat(capsys.readouterr().err)


def test_at_a_terminal(stage: Path) -> None:
    """Typed, left with Ctrl-C, killed, and gone on with: nothing that was answered is lost."""
    first = Terminal("bench", stage, at=stage.parent)
    first.until("ohms B+ > ")
    first.type("skip\r")
    first.until("rail B+ > ")
    first.type("2\x7f22.0\r")  # with a slip, taken back by the delete key
    first.until("B+ 22.0 V: ok")
    first.until("> ")
    first.type("Q1.ba")
    first.until("Q1.ba")
    first.interrupt()
    assert first.code() == 0
    second = Terminal("bench", stage, at=stage.parent)
    second.until("Going on with 1 reading")
    second.until("> ")
    second.type("Q1.base 3.3\r")
    second.until("Q1.base 3.30 V: ok")
    second.until("> ")
    second.type("Q1.emit")
    second.kill()
    assert second.code() == -signal.SIGKILL
    log = load_log(stage.with_suffix(".log"))
    assert log.damage is None
    assert [e.body for e in log.standing if e.verb.value == "read"] == [
        "rail B+ 22.0", "Q1.base 3.3"]
