"""Pages and records of `supply` and `renew`, as a person and a program meet them."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from biaspredict import pipeline, replacing
from biaspredict.cli import main
from biaspredict.engine.ngspice import Ngspice
from biaspredict.predict.at_rest import at_rest
from biaspredict.predict.supply_concerns import concerns
from biaspredict.report import data, data_renew, data_supply, renewing, supplying
from biaspredict.report.data_renew import COLUMNS
from tests.circuits.files import DEMO, OURS, ROOT, load
from tests.heard import flat
from tests.predict import supplies

SCHEMA = json.loads((ROOT / "biaspredict" / "records.json").read_text("utf-8"))
WIDTH = 80
CIRCUITS = ROOT / "circuits"
SUPPLY = str(CIRCUITS / "bench-supply.stage")
AMPLIFIER = str(CIRCUITS / "headphone-amplifier.stage")
PREAMP = str(DEMO[0])


def valid(record: dict[str, Any], name: str) -> None:
    schema = {"$ref": f"#/$defs/{name}", "$defs": SCHEMA["$defs"]}
    jsonschema.Draft202012Validator(schema).validate(record)


def narrow(page: str) -> str:
    assert max(map(len, page.splitlines())) <= WIDTH
    assert "nan" not in page
    assert "inf" not in page
    return page


def written(folder: Path, text: str, name: str = "written.stage") -> str:
    path = folder / name
    path.write_text('stage "written"\n' + text, encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module")
def ran() -> Any:
    stage = load(CIRCUITS / "bench-supply.stage")
    return pipeline.supply(stage)


def test_page_of_a_supply(ran: Any) -> None:
    page = narrow(supplying.page(*ran))
    for words in (
        "bridge, D1, D2, D3 and D4 on T1S, 50 Hz",
        "D1, D2, D3 or D4 open",
        "C1 dried to 10 %",
        "Ripple at 50 Hz where 100 Hz belongs",
        "Do not power it",
        "rail RAW 23.5 V via 14.4",
        "Fuse holder, switch and primary stay live",
        "measure that it is discharged",
    ):
        assert words in flat(page)


def test_record_of_a_supply(ran: Any) -> None:
    record = json.loads(data.dumps(data_supply.supply_record(*ran)))
    valid(record, "supply")
    opened = next(f for f in record["faults"] if f["fault"] == "open")
    assert [n["ripple_hertz"] for n in opened["nodes"]] == [50.0, 50.0]
    assert [n["ripple_hertz"] for n in record["nodes"]] == [100.0, 100.0]


def test_command_of_a_supply(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sound = written(tmp_path, supplies.HALF_WAVE)
    assert main(["supply", sound]) == 0
    assert "half-wave, D1 on T1, 50 Hz" in narrow(capsys.readouterr().out)
    reversed_ = written(tmp_path, supplies.HALF_WAVE.replace("+C1 470 MFD 25V", "C1+ 470 MFD 25V"))
    assert main(["supply", reversed_, "--json"]) == 1
    valid(json.loads(capsys.readouterr().out), "supply")
    rail = written(tmp_path, "rail B+ 9 V\nB+ -- R1 1K -- ground\n")
    assert main(["supply", rail]) == 2
    assert "no transformer winding" in flat(capsys.readouterr().err)


def test_other_pages_say_what_the_winding_was_taken_for(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["bias", SUPPLY]) == 0
    page = narrow(capsys.readouterr().out)
    assert "taken as 23.5 V behind 14.4 ohm" in flat(page)
    assert "LEFT" not in page  # it swings: no DC is claimed for it
    assert main(["bias", SUPPLY, "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    (source,) = record["fed"]
    valid(source, "source")
    assert record["nodes"]["RAW"]["volts"] == pytest.approx(source["volts"], rel=1e-3)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (supplies.HALF_WAVE.replace("+C1 470 MFD 25V", "C1+ 470 MFD 25V"), "against-polarity"),
        (supplies.HALF_WAVE.replace("25V", "12V"), "above-working-volts"),
        (supplies.BRIDGE.replace("B -- D2>", "B -- <D2"), "winding-shorted"),
        (supplies.NEGATIVE.replace("fuse 1 A", "fuse 100 mA"), "fuse-too-small"),
        (supplies.HALF_WAVE.replace(" -- +C1 470 MFD 25V -- ground", ""), "no-reservoir"),
    ],
    ids=["reversed", "volts", "arrow", "fuse", "no reservoir"],
)
def test_supplies_that_are_amiss(text: str, code: str) -> None:
    found = concerns(at_rest(supplies.stage(text), Ngspice()))
    assert [finding.code for finding in found] == [code]
    assert found[0].remedy


@pytest.mark.parametrize("text", [supplies.HALF_WAVE, supplies.CHOKE, supplies.DOUBLER])
def test_sound_supplies_have_nothing_amiss(text: str) -> None:
    assert concerns(at_rest(supplies.stage(text), Ngspice())) == ()


def test_proof_of_a_supply_over_time(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sound = written(tmp_path, supplies.HALF_WAVE, "sound.stage")
    assert main(["proof", sound]) == 0
    arrow = written(tmp_path, supplies.BRIDGE.replace("B -- D2>", "B -- <D2"))
    assert main(["proof", arrow]) == 1
    assert "short the winding" in capsys.readouterr().out


def test_readings_where_the_mains_swings_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "today.readings"
    path.write_text('readings "today"\nRAW 19.2\nLEFT 9.6\n', encoding="utf-8")
    assert main(["suspect", SUPPLY, str(path)]) == 2
    message = capsys.readouterr().err
    assert "line 3" in message
    assert "swings with the mains" in message


def test_a_low_rail_is_suspected(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "today.readings"
    path.write_text('readings "today"\nRAW 18.2\nB+ 15.8\n', encoding="utf-8")
    assert main(["suspect", SUPPLY, str(path)]) == 1
    page = capsys.readouterr().out
    assert "RAW is low" in page
    assert "biaspredict supply" in page


@pytest.fixture(scope="module")
def listed() -> Any:
    return replacing.renew([load(Path(path)) for path in (PREAMP, SUPPLY, AMPLIFIER)])


def test_page_of_a_set(listed: Any) -> None:
    page = narrow(renewing.page(*listed))
    text = flat(page)
    assert "145 to 155 Hz" in text  # C3 of the demo: 47 for 50 microfarads
    assert "To order for 3 stages: 12 parts" in text
    assert "stage 1: C3, C4" in text
    assert "C1 of stage 2, 1000 uF at 22.6 V" in text
    steps = [page.index(f"  {n}. ") for n in (1, 2, 3, 4)]
    assert steps == sorted(steps)
    assert page.index("Discharge every capacitor") < page.index("One part at a time")


def test_record_of_a_set(listed: Any) -> None:
    record = json.loads(data.dumps(data_renew.renew_record(*listed)))
    valid(record, "renew")
    assert sum(line["count"] for line in record["order"]) == 12
    assert record["stages"][1]["capacitors"][0]["changes"]["what"] == "ripple"


def test_table_for_a_spreadsheet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (
        "rail +9V 9 V\n+9V -- R1 1K -- A -- +C1 50 MFD 16V -- ground\n"
        "+9V -- +C2 10 MFD 16V -- ground\n"
    )
    path = tmp_path / "formula.stage"
    path.write_text('stage "=1+1"\n' + text, encoding="utf-8")
    assert main(["renew", str(path), "--csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert tuple(rows[0]) == COLUMNS
    first, second = rows
    assert float(first["order farads"]) == pytest.approx(47e-6)
    assert first["order volts"] == "16"
    # A spreadsheet takes neither a title nor a rail's name for a formula.
    assert first["stage"] == "'=1+1"
    assert second["plus faces"] == "'+9V"


@pytest.mark.slow
@pytest.mark.parametrize("path", [*OURS, *DEMO], ids=lambda path: path.stem)
def test_renew_of_every_circuit(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["renew", str(path)]) == 0
    narrow(capsys.readouterr().out)
    assert main(["renew", str(path), "--json"]) == 0
    valid(json.loads(capsys.readouterr().out), "renew")


def test_mistakes_of_all_files_come_together(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = written(tmp_path, "rail B+ 9 V\nB+ -- R1 1X -- ground\n", "bad.stage")
    assert main(["renew", bad, str(tmp_path / "none.stage"), PREAMP, PREAMP]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    for words in ("bad.stage, line 3", "none.stage", "is given twice"):
        assert words in flat(err)
