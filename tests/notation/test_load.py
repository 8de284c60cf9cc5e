"""Files from disk: whatever is wrong with one is said with its reason and a remedy."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from biaspredict.errors import BiaspredictError, InputError
from biaspredict.notation import load_readings, load_stage
from biaspredict.notation.load import LARGEST, read_text

TEXT = 'stage "x"\nA -- R1 1K -- B\n'


def refused(path: str | Path) -> InputError:
    with pytest.raises(InputError) as caught:
        load_stage(path)
    return caught.value


def test_stage_and_readings(tmp_path: Path) -> None:
    stage = tmp_path / "a.stage"
    stage.write_text(TEXT, encoding="utf-8")
    book = tmp_path / "a.readings"
    book.write_bytes(b'\xef\xbb\xbfreadings "x"\r\nA 3.1\r\n')
    found = load_stage(stage)
    assert found.title == "x"
    assert found.file == str(stage)
    assert load_readings(str(book), found).entries[0].value == 3.1


def test_missing_file_offers_its_neighbour(tmp_path: Path) -> None:
    (tmp_path / "preamp.stage").write_text(TEXT, encoding="utf-8")
    problem = refused(tmp_path / "preamp.stgae")
    assert problem.fact == f"there is no file {tmp_path / 'preamp.stgae'}"
    assert problem.remedy == f"Did you mean {tmp_path / 'preamp.stage'}?"
    assert refused(tmp_path / "no" / "x").remedy == f"There is no folder {tmp_path / 'no'} either."


def test_folder(tmp_path: Path) -> None:
    assert refused(tmp_path).fact == f"{tmp_path} is a folder"
    (tmp_path / "b.stage").write_text(TEXT, encoding="utf-8")
    assert refused(tmp_path).remedy == f"Name a file in it, like {tmp_path / 'b.stage'}."


def test_wrong_encoding_is_placed(tmp_path: Path) -> None:
    path = tmp_path / "old.stage"
    path.write_bytes('stage "x"\r\nA -- C1 5 µF film -- B\n'.encode("cp1252"))
    problem = refused(path)
    assert problem.fact == "the byte 0xB5 (number 22 of the file) is not UTF-8 text"
    assert "Windows-1252 it would be µ" in problem.remedy
    assert problem.place is not None
    assert (problem.place.line, problem.place.column) == (2, 11)


def test_utf_16(tmp_path: Path) -> None:
    path = tmp_path / "wide.stage"
    path.write_text(TEXT, encoding="utf-16")
    assert "is saved as UTF-16" in refused(path).fact


def test_too_large(tmp_path: Path) -> None:
    path = tmp_path / "huge.stage"
    path.write_bytes(b"#" * (LARGEST + 1))
    assert "is larger than 1 MB" in refused(path).fact
    assert "is larger than 1 MB" in refused("/dev/zero").fact


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is forbidden to root")
def test_forbidden(tmp_path: Path) -> None:
    path = tmp_path / "mine.stage"
    path.write_text(TEXT, encoding="utf-8")
    path.chmod(0)
    assert "may not be read" in refused(path).fact


def test_impossible_names() -> None:
    assert "cannot be read" in refused("a\0b").fact
    assert "cannot be read" in refused("x" * 5000).fact


def test_empty_and_binary(tmp_path: Path) -> None:
    path = tmp_path / "a.stage"
    path.write_bytes(b"")
    assert "the file says nothing" in str(refused(path))
    path.write_bytes(bytes(range(128)) * 50)
    assert isinstance(refused(path), BiaspredictError)
    path.write_bytes(b'stage "x"\n\x00\x1b[31mA -- R1 1K -- B')
    assert "a character that does not show (U+0000)" in str(refused(path))
    path.write_text('stage "x"\nA -- R1 1K -- B ' + "x" * 2000, encoding="utf-8")
    assert "a line of 2016 characters" in str(refused(path))
    assert read_text(path).startswith("stage")
