"""What is written where: whole or not at all, and never over somebody else's file."""

from __future__ import annotations

import contextlib
import json
import os
import re
import sys
import zlib
from pathlib import Path

import jsonschema
import pytest

from biaspredict.cli import main
from biaspredict.errors import InputError
from biaspredict.report.sheet import files
from tests.circuits.files import ROOT
from tests.heard import flat
from tests.sheet.made import LINE, PREAMP, READINGS, SMALL, made, written

SCHEMA = json.loads((ROOT / "biaspredict" / "records.json").read_text("utf-8"))


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)


def test_the_command_writes_a_page_and_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["sheet", str(LINE)]) == 0
    said = capsys.readouterr().out
    assert "line stage after the volume control: unread" in said
    assert said.endswith("Written: line-stage-sheet.html\n")
    page = (tmp_path / "line-stage-sheet.html").read_text("utf-8")
    assert page == made(LINE).text
    # its own file may be written again
    assert main(["sheet", str(LINE)]) == 0


def test_the_record_is_as_documented(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stage = written(tmp_path, "small.stage", ['stage "small"', *SMALL])
    read = written(tmp_path, "small.readings", ['readings "one"', "B+ 22.1", "Q1.emitter 0.3"])
    assert main(["sheet", str(stage), str(read), "--json"]) == 1
    record = json.loads(capsys.readouterr().out)
    schema = {"$ref": "#/$defs/sheet", "$defs": SCHEMA["$defs"]}
    jsonschema.Draft202012Validator(schema).validate(record)
    (stage,) = record["stages"]
    assert record["written"] is None
    assert stage["state"] == "suspect"
    assert [one["at"] for one in stage["before_and_after"]] == ["B+", "Q1.emitter"]
    assert list(tmp_path.glob("*.html")) == []


def test_the_page_needs_no_other_file_and_runs_nothing() -> None:
    page = made(PREAMP, READINGS).page
    for element in page.every("a"):
        assert element.attributes["href"].startswith("#")
    for name in ("link", "script", "img", "iframe", "object", "use", "image"):
        assert not page.every(name)
    (policy,) = [m for m in page.every("meta") if "http-equiv" in m.attributes]
    assert policy.attributes["content"].startswith("default-src 'none'")
    text = made(PREAMP, READINGS).text.replace("http://www.w3.org/2000/svg", "")
    assert "http" not in text.replace("http-equiv", "")
    assert "url(" not in text


def test_another_file_is_never_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    notes = tmp_path / "notes.html"
    notes.write_text("<p>my notes</p>", "utf-8")
    manual = tmp_path / "manual.pdf"
    manual.write_bytes(b"%PDF-1.4\nthe manual\n%%EOF\n")
    for file in (notes, manual):
        before = file.read_bytes()
        assert main(["sheet", str(LINE), "-o", str(file)]) == 2
        assert "is no bench sheet" in flat(capsys.readouterr().err)
        assert file.read_bytes() == before


def test_what_fails_half_way_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = made(LINE).text
    file = tmp_path / "sheet.html"
    files.save(text, file)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(InputError, match="No space left on device"):
        files.save(text + "more", file)
    assert file.read_text("utf-8") == text
    assert [p.name for p in tmp_path.iterdir()] == ["sheet.html"]


def test_without_its_library_pdf_is_declined_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(InputError) as problem:
        files.save(made(LINE).text, tmp_path / "sheet.pdf")
    assert problem.value.fact == "PDF needs the extra `sheets`, which is not installed"
    assert "pip install 'biaspredict[sheets]'" in problem.value.remedy
    assert list(tmp_path.iterdir()) == []


def inflated(data: bytes) -> bytes:
    """A PDF with its compressed streams laid open (ISO 32000-1, 7.3.8 and 7.4.4)."""
    found = [data]
    for body in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.S):
        with contextlib.suppress(zlib.error):
            found.append(zlib.decompress(body))
    return b"\n".join(found)


@pytest.mark.slow
def test_pdf_is_a4_and_may_be_written_again(tmp_path: Path) -> None:
    pytest.importorskip("weasyprint")
    file = tmp_path / "sheet.pdf"
    for _ in range(2):
        files.save(made(PREAMP, READINGS).text, file)
    boxes = re.findall(rb"/MediaBox ?\[([^]]*)\]", inflated(file.read_bytes()))
    assert len(boxes) > 2
    for box in boxes:
        left, foot, right, head = map(float, box.split())
        short, long = sorted((right - left, head - foot))
        # ISO 216: A4 is 210 mm by 297 mm
        assert short == pytest.approx(210 / 25.4 * 72, abs=0.5)
        assert long == pytest.approx(297 / 25.4 * 72, abs=0.5)


def test_an_empty_file_may_be_filled(tmp_path: Path) -> None:
    file = written(tmp_path, "sheet.html", [])
    files.save(made(LINE).text, file)
    assert file.read_text("utf-8") == made(LINE).text
