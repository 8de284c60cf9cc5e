"""The pages and records of `corners` and `swap`, as a person and a program meet them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from biaspredict.cli import main
from biaspredict.report.curve import plot
from tests.circuits.files import DEMO, OURS, ROOT
from tests.heard import flat

SCHEMA = json.loads((ROOT / "biaspredict" / "records.json").read_text("utf-8"))
WIDTH = 80
CASES = ROOT / "tests" / "cases"
RUNS = {path.stem: path for path in (*OURS, *DEMO)}


def valid(record: dict[str, Any], name: str) -> None:
    schema = {"$ref": f"#/$defs/{name}", "$defs": SCHEMA["$defs"]}
    jsonschema.Draft202012Validator(schema).validate(record)


QUICK = {"preamp", "emitter-follower", "phono-pair", "series-regulator"}


@pytest.mark.parametrize(
    "path",
    [
        path if path.stem in QUICK else pytest.param(path, marks=pytest.mark.slow)
        for path in (*OURS, *DEMO)
    ],
    ids=lambda path: path.stem,
)
def test_corners_of_every_circuit(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["corners", str(path)])
    page = capsys.readouterr().out
    assert code in (0, 1)
    assert max(map(len, page.splitlines())) <= WIDTH
    assert "nan" not in page
    assert "inf" not in page.replace("info", "")
    if code == 0:
        for words in ("own corner", "sum of own corners", "3 dB down", "Leakage", "Waiting"):
            assert words in page
    else:
        assert "No figures for bass and dry" in page


@pytest.mark.parametrize("name", ["phono-pair", "split-rail-amplifier", "bench-supply"])
def test_record_of_corners(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["corners", str(RUNS[name]), "--json"])
    record = json.loads(capsys.readouterr().out)
    valid(record, "corners")
    assert (record["bass"] is None) == (code == 1)
    assert {why["section"] for why in record["withheld"]} == (
        {"bass", "dry"} if code == 1 else set()
    )


def test_a_square_wave_too_slow_for_the_stage(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["corners", str(DEMO[0]), "--bass", "--square", "100"]) == 0
    page = capsys.readouterr().out
    assert "at 100 Hz its top falls through zero" in page
    assert max(map(len, page.splitlines())) <= WIDTH


def test_sections_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["corners", str(DEMO[0]), "--waiting", "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    valid(record, "corners")
    assert [k for k in ("bass", "dry", "leakage", "waiting") if record[k] is not None] == [
        "waiting"
    ]


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("preamp", ["C3=45uF", "R9=1.5K"]),
        ("preamp", ["Q1=pnp"]),
        ("bench-supply", ["C1=470uF"]),
        ("emitter-follower", ["C1=film 2.2uF"]),
    ],
)
def test_swap_page_and_record(
    name: str, changes: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["swap", str(RUNS[name]), *changes]
    code = main(command)
    page = capsys.readouterr().out
    assert max(map(len, page.splitlines())) <= WIDTH
    assert main([*command, "--json"]) == code
    record = json.loads(capsys.readouterr().out)
    valid(record, "swap")
    assert record["dangerous"] == (code == 1) == (changes == ["Q1=pnp"])
    # The page's sentence is the record's, wrapped.
    assert record["verdict"] in flat(page)


def test_all_prints_what_stays(capsys: pytest.CaptureFixture[str]) -> None:
    command = ["swap", str(RUNS["preamp"]), "C3=47uF"]
    main(command)
    short = capsys.readouterr().out
    main([*command, "--all"])
    everything = capsys.readouterr().out
    assert "Q2.collector" not in short
    assert "Q2.collector" in everything
    assert "own corner of C6" in everything


@pytest.mark.parametrize(
    ("command", "words"),
    [
        (["corners", "nowhere.stage"], "nowhere.stage"),
        (["corners", str(ROOT / "circuits/published/divider-10-volts.stage")], "no capacitor"),
        (["corners", str(DEMO[0]), "--to", "LOUDSPEAKER"], "There is: OUT"),
        (["corners", str(DEMO[0]), "--square", "fast"], "--square"),
        (["corners", str(DEMO[0]), "--square", "1 MHz"], "no generator"),
        (["corners", str(RUNS["series-regulator"]), "--bass"], "no input"),
        (["swap", str(DEMO[0]), "C3=1.2K"], "not a capacitance"),
        (["swap", str(DEMO[0]), "C3=50uF!"], "nothing changes"),
        (["swap", str(DEMO[0]), "C33=47uF"], "Did you mean"),
    ],
)
def test_unusable_input_is_told(
    command: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(command) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert words in flat(err)
    assert "Traceback" not in err


def test_only_the_meter_discharges(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["corners", str(CASES / "output-capacitor.stage"), "--waiting"]) == 0
    page = flat(capsys.readouterr().out)
    assert "2.8 hours a time constant with 10 Mohm" in page
    assert "Power off, clip 100 ohm from OUT to ground" in page


def test_a_curve_stands_where_its_figures_say() -> None:
    lines = plot([10.0, 100.0, 1000.0], [-20.0, 0.0, 0.0], [-40.0, -20.0, 0.0])
    rows = {int(line[:7]): line[9:] for line in lines if "|" in line}
    # Lines stand 6 dB apart: -40 and -20 are drawn at -42 and -18.
    assert list(rows) == [0, -6, -12, -18, -24, -30, -36, -42]
    assert rows[-42].startswith("o")
    assert rows[-18].startswith(".")
    assert rows[0].endswith("o")
    assert "." in rows[0]  # before has come up already at 100 Hz
    assert lines[-1].split() == ["10", "20", "100", "1k", "Hz"]
    assert max(map(len, lines)) <= WIDTH
