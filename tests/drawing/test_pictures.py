"""Files of pictures: whole or not at all, and one plain line where a library is missing."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from biaspredict.errors import InputError
from biaspredict.report.drawing.draw import draw
from biaspredict.report.drawing.pictures import save, to_pdf, to_png
from tests.drawing.stages import ROOT, laid_out, load, solved

PATH = ROOT / "circuits" / "microphone-stage.stage"


@pytest.fixture(scope="module")
def svg() -> str:
    return draw(load(PATH), solved(PATH), layout=laid_out(PATH))


def test_svg_is_written_as_it_is(tmp_path: Path, svg: str) -> None:
    save(svg, tmp_path / "a.svg")
    assert (tmp_path / "a.svg").read_text("utf-8") == svg
    assert [f.name for f in tmp_path.iterdir()] == ["a.svg"]


def test_png_and_pdf(tmp_path: Path, svg: str) -> None:
    pytest.importorskip("cairosvg", reason="the extra `pictures` is not installed")
    save(svg, tmp_path / "a.png")
    save(svg, tmp_path / "a.PDF")
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG\r\n")
    assert (tmp_path / "a.PDF").read_bytes().startswith(b"%PDF-")
    width, height = (int.from_bytes((tmp_path / "a.png").read_bytes()[k : k + 4]) for k in (16, 20))
    layout = laid_out(PATH)
    assert width / height == pytest.approx(layout.width / layout.height, rel=0.2)


@pytest.mark.parametrize("make", [to_png, to_pdf])
def test_a_missing_library_is_one_line_with_its_remedy(
    monkeypatch: pytest.MonkeyPatch, svg: str, make: object
) -> None:
    monkeypatch.setitem(sys.modules, "cairosvg", None)
    with pytest.raises(InputError, match="extra `pictures`") as caught:
        make(svg)  # type: ignore[operator]
    assert "pip install 'biaspredict[pictures]'" in caught.value.remedy


def test_another_ending_is_refused(tmp_path: Path, svg: str) -> None:
    with pytest.raises(InputError, match=r"cannot be written as a\.jpg") as caught:
        save(svg, tmp_path / "a.jpg")
    assert ".svg, .png or .pdf" in caught.value.remedy


@pytest.mark.parametrize("name", ["a.svg", "a.png", "a.pdf"])
def test_a_file_of_another_program_is_left_alone_and_an_own_one_written_anew(
    tmp_path: Path, svg: str, name: str
) -> None:
    file = tmp_path / name
    file.write_text("<svg>somebody's work</svg>")
    with pytest.raises(InputError, match="no drawing of this program"):
        save(svg, file)
    assert file.read_text() == "<svg>somebody's work</svg>"
    file.unlink()
    if name != "a.svg":
        pytest.importorskip("cairosvg", reason="the extra `pictures` is not installed")
    save(svg, file)
    before = file.read_bytes()
    save(svg, file)
    assert len(file.read_bytes()) == len(before)


def test_a_place_that_is_not_there_leaves_nothing_behind(tmp_path: Path, svg: str) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        save(svg, tmp_path / "no" / "a.svg")
    (tmp_path / "b.svg").mkdir()
    with pytest.raises(InputError, match="no drawing of this program"):
        save(svg, tmp_path / "b.svg")
    with pytest.raises(InputError, match="no file can have this name"):
        save(svg, tmp_path / "c\x00.svg")
    assert [f.name for f in tmp_path.iterdir()] == ["b.svg"]
