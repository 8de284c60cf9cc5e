"""`draw` as a person and a program meet it."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from biaspredict import pipeline
from biaspredict.cli import main
from biaspredict.commands.draw import watch
from biaspredict.errors import Unsolved
from biaspredict.model.stage import Stage
from biaspredict.report.drawing.readback import read_back
from tests.drawing.stages import ROOT, load, netlist
from tests.heard import flat

SCHEMA = json.loads((ROOT / "biaspredict" / "records.json").read_text("utf-8"))
STAGE = ROOT / "circuits" / "microphone-stage.stage"
LOOSE = """stage "not finished yet"
rail B+ 9 V
Q1 npn silicon
B+ -- R1 4.7K -- Q1.collector
Q1.emitter -- R2 470 -- ground
"""


@pytest.fixture(autouse=True)
def _apart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)


def test_a_stage_is_drawn_beside_where_one_stands(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["draw", str(STAGE)]) == 0
    assert capsys.readouterr().out == "microphone-stage.svg: 8 parts, no crossings\n"
    svg = (tmp_path / "microphone-stage.svg").read_text("utf-8")
    assert read_back(svg) == netlist(load(STAGE))
    assert "in a sound stage" in svg  # the bands


def test_readings_are_judged_suspects_framed_and_the_record_is_valid(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings = tmp_path / "a.readings"
    readings.write_text(
        'readings "bench"\nmeter 10 MEG 1%\nrail B+ 12.0\n'
        "Q1.base 0.02\nQ1.emitter 0.00\nQ1.collector 12.0\n",
        encoding="utf-8",
    )
    assert main(["draw", str(STAGE), str(readings), "-o", "b.svg", "--json"]) == 1
    record = json.loads(capsys.readouterr().out)
    schema = {"$ref": "#/$defs/draw", "$defs": SCHEMA["$defs"]}
    jsonschema.Draft202012Validator(schema).validate(record)
    assert record["judged"] is True
    svg = (tmp_path / "b.svg").read_text("utf-8")
    assert 'data-verdict="outside"' in svg
    assert 'class="suspect"' in svg
    assert 'data-place="1"' in svg


def test_a_stage_that_does_not_solve_is_drawn_with_the_reason(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def unsolved(stage: Stage) -> None:
        raise Unsolved("no operating point was found, however long the solver went on looking")

    monkeypatch.setattr(pipeline, "bias", unsolved)
    (tmp_path / "loose.stage").write_text(LOOSE, encoding="utf-8")
    assert main(["draw", "loose.stage"]) == 1
    said = capsys.readouterr().out
    assert "Drawn without volts" in said
    assert "no operating point was found" in said
    assert max(map(len, said.splitlines())) <= 80
    assert "Not solved" in (tmp_path / "loose.svg").read_text("utf-8")


def test_islands_are_drawn_and_named_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "island.stage").write_text(
        'stage "x"\nrail B+ 12 V\nB+ -- R1 10K -- ground\nX -- R4 10K -- Y -- R5 10K -- X\n',
        encoding="utf-8",
    )
    assert main(["draw", "island.stage"]) == 1
    said = flat(capsys.readouterr().out)
    assert "line 4, column 6: R4 and R5 have no way to ground or to a rail. Look" in said
    assert "^" not in said, "the marks under a line of the file mean nothing in a sentence"
    assert "no path for DC" in (tmp_path / "island.svg").read_text("utf-8")


def test_what_cannot_be_read_leaves_nothing_behind(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "bad.stage").write_text('stage "x"\nB+ -- R1 4.7Q -- ground\n', encoding="utf-8")
    assert main(["draw", "bad.stage"]) == 2
    assert "line 2" in flat(capsys.readouterr().err)
    assert main(["draw", str(STAGE), "-o", "a.gif"]) == 2
    assert ".svg, .png or .pdf" in flat(capsys.readouterr().err)
    assert [f.name for f in tmp_path.iterdir()] == ["bad.stage"]


def test_watching_redraws_when_a_file_changes_and_only_then(tmp_path: Path) -> None:
    file = tmp_path / "a.stage"
    file.write_text("one")
    texts: list[str] = []

    def redraw() -> None:
        texts.append(file.read_text() if file.exists() else "gone")
        if len(texts) == 1:
            file.write_text("another")
        elif len(texts) == 2:
            file.unlink()
        elif len(texts) == 3:
            file.write_text("back again")

    assert watch([file], redraw, pause=0.0, looks=10) == 0
    assert texts == ["one", "another", "gone", "back again"]


def test_watching_tells_slips_keeps_the_last_drawing_and_ends_at_ctrl_c(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    stage = tmp_path / "a.stage"
    stage.write_text(STAGE.read_text("utf-8"), encoding="utf-8")
    looks: list[str] = []

    def sleep(_: float) -> None:
        looks.append((tmp_path / "a.svg").read_text("utf-8"))
        if len(looks) == 2:
            raise KeyboardInterrupt
        stage.write_text(STAGE.read_text("utf-8") + "nonsense here\n", encoding="utf-8")

    monkeypatch.setattr("time.sleep", sleep)
    assert main(["draw", str(stage), "--watch"]) == 0
    told = capsys.readouterr()
    assert "nonsense" in told.err
    assert told.out.splitlines()[-1] == "stopped"
    assert looks[0] == looks[1]
