"""`ohms` and `suspect` as a person and a program meet them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from biaspredict.cli import main
from tests.circuits.files import DEMO, OURS, ROOT
from tests.heard import flat
from tests.kinds.bench import LINE_OFF

SCHEMA = json.loads((ROOT / "biaspredict" / "records.json").read_text("utf-8"))
CASES = ROOT / "tests" / "cases"
WIDTH = 80
QUICK = {"line-stage", "fet-input", "germanium-line-stage", "preamp"}


def valid(record: dict[str, Any], name: str) -> None:
    schema = {"$ref": f"#/$defs/{name}", "$defs": SCHEMA["$defs"]}
    jsonschema.Draft202012Validator(schema).validate(record)


def printed(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str]:
    code = main(list(args))
    return code, capsys.readouterr().out


@pytest.mark.parametrize(
    "path",
    [
        path if path.stem in QUICK else pytest.param(path, marks=pytest.mark.slow)
        for path in (*OURS, *DEMO)
    ],
    ids=lambda path: path.stem,
)
def test_ohms_of_every_circuit(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, page = printed(capsys, "ohms", str(path))
    assert code == 0
    assert max(map(len, page.splitlines())) <= WIDTH
    assert "discharge" in page
    assert "nan" not in page
    code, text = printed(capsys, "ohms", str(path), "--json", "--meter",
                         "20 kohm/V battery 1.5 V mid-scale 20")
    record = json.loads(text)
    valid(record, "ohms")
    assert record["places"]
    for place in record["places"]:
        for way in (place["red_here"], place["black_here"]):
            if way["ohms"] is not None:
                assert way["low"] is None or way["low"] <= way["ohms"]
                assert way["high"] is None or way["ohms"] <= way["high"]


def test_ohms_at_places_and_after_a_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "line.stage"
    file.write_text(LINE_OFF, "utf-8")
    _, page = printed(capsys, "ohms", str(file), "--at", "across R1", "--at",
                      "q1.base to q1.emitter", "--after", "2 min")
    assert "42.2k ohm" in page
    assert "after 2 min" in page
    assert "Diode range" not in page


def test_a_printed_ohms_chart_stands_beside(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "line.stage"
    chart = "chart ohms 20% meter 20 kohm/V battery 1.5 V mid-scale 20\n  "
    file.write_text(LINE_OFF + chart + "Q1.base 12K, Q1.emitter 1K\n", "utf-8")
    code, page = printed(capsys, "ohms", str(file))
    assert code == 0
    assert "The printed ohms chart" in page
    file.write_text(LINE_OFF + chart + "Q1.base 120K, Q1.emitter 1K, VA 5.4K\n", "utf-8")
    code, page = printed(capsys, "ohms", str(file))
    assert code == 1
    assert "OFF" in page
    code, page = printed(capsys, "proof", str(file))
    assert code == 1
    assert "the chart's figure for Q1.base is a misprint" in page


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("--at", "Q1.bse"), "Did you mean Q1.base?"),
        (("--at", "Q9.base"), "Q9"),
        (("--meter", "foo"), "the meter 'foo'"),
        (("--meter", "10 MEG 20 kohm/V"), "not both"),
        (("--after", "soon"), "--after"),
        (("--after", "0"), "nobody holds"),
    ],
)
def test_what_cannot_be_used_is_said(
    args: tuple[str, ...], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "line.stage"
    file.write_text(LINE_OFF, "utf-8")
    assert main(["ohms", str(file), *args]) == 2
    assert says in capsys.readouterr().err


MIXED = """readings "everything"
meter 10 MEG
rail B+ 22.0
VA 17.6
Q1.collector 84.4
Q1.base -2.63
Q1.emitter 1.96
ripple B+ 20 mV
gain OUT over IN 20
ohms Q1.emitter 1.02k
ohms OUT over 30k
"""


def test_the_page_keeps_every_reading(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "all.readings"
    file.write_text(MIXED, "utf-8")
    stage = tmp_path / "line.stage"
    stage.write_text(LINE_OFF, "utf-8")
    _, page = printed(capsys, "suspect", str(stage), str(file))
    assert max(map(len, page.splitlines())) <= WIDTH
    for value in ("22.0 V", "84.4 V", "-2.63 V", "1.96 V", "20.0 mV", "1.02k ohm", "over 30k"):
        assert value in page
    assert len([line for line in page.splitlines() if line.endswith("  set aside")]) == 3
    _, text = printed(capsys, "suspect", str(stage), str(file), "--json")
    record = json.loads(text)
    valid(record, "suspect")
    kept = [r["at"] for r in record["readings"]]
    aside = [r["at"] for d in record["doubtful"] for r in d["set_aside"]]
    assert sorted(kept + aside) == sorted(
        ["B+", "VA", "Q1.collector", "Q1.base", "Q1.emitter", "B+", "OUT", "Q1.emitter", "OUT"])


@pytest.mark.parametrize(
    ("case", "stage"),
    [("chart-reads-low", "silicon-line-stage"), ("thin-sound", "silicon-line-stage"),
     ("volts-on-the-speaker", "output-capacitor")],
)
def test_the_bench_cases(case: str, stage: str, capsys: pytest.CaptureFixture[str]) -> None:
    _, page = printed(
        capsys, "suspect", str(CASES / f"{stage}.stage"), str(CASES / f"{case}.readings"))
    assert max(map(len, page.splitlines())) <= WIDTH
    said = {
        "chart-reads-low": "most of the difference from the printed figure is between",
        "thin-sound": "C3 has dried out",
        "volts-on-the-speaker": "only your meter discharges OUT",
    }
    assert said[case] in flat(page)
    sound = "Sound, as far as these readings tell" in page
    assert sound == (case != "thin-sound")
