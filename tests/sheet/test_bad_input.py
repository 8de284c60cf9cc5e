"""Files that cannot be used, titles that would break a page, and stages that cannot be drawn."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from biaspredict.cli import main
from biaspredict.report.drawing import draw
from biaspredict.report.sheet.document import document
from biaspredict.report.sheet.figure import figure
from biaspredict.worksheets import read_works, worksheet
from tests.heard import flat
from tests.sheet.made import LINE, PREAMP, READINGS, SMALL, made, written
from tests.sheet.reader import read

# Quotes are doubled, as a stage file wants them.
TITLE = (
    "</style><script>alert(1)</script> <img src=x onerror=\"\"alert(2)\"\"> &lt; & &amp; ]]> --> "
    "</article></body> }} @page { size: A0 } \"\" \\ @import url(http://x.example/) "
    "рыба 日本 ü 𝄞 ' ` $"
)


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))


def test_a_hostile_title_is_only_text(tmp_path: Path) -> None:
    lines = [f'stage "{TITLE}"', f'note "{TITLE}"', *SMALL]
    found = made(written(tmp_path, "hostile.stage", lines))
    said = " ".join(TITLE.replace('""', '"').split())
    assert found.page.every("h1")[0].text == said
    assert found.page.every("title")[0].text == said
    assert not found.page.every("script")
    assert not found.page.every("img")
    assert len(found.page.every("style")) == 1
    style = found.page.every("style")[0].text
    for mark in ("<", "@import", "url(", "size: A0", "/*"):
        assert mark not in style
    assert style.count("{") == style.count("}")


def test_a_title_in_the_margin_reads_back() -> None:
    """CSS Syntax Level 3, section 4.3.7: an escaped code point, and at most one blank behind it."""
    from biaspredict.report.sheet.markup import css_string

    for title in (TITLE, "line 2 \\31 x", 'a "b" c'):
        text = css_string(title)[1:-1]
        back = re.sub(
            r"\\([0-9a-f]{1,6})\s?|([^\\])",
            lambda m: chr(int(m[1], 16)) if m[1] else m[2], text,
        )
        assert back == title


def test_a_drawing_that_is_declined_leaves_its_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    sheets = [worksheet(work) for work in read_works([str(LINE)])]
    monkeypatch.setattr(draw, "MOST_PARTS", 5)
    pictures = [figure(sheet) for sheet in sheets]
    page = read(document(sheets, pictures))
    (why,) = page.every("p", "reason")
    assert why.text.startswith("Not drawn: a stage of 11 parts is more than one drawing can hold.")
    assert page.section("Volts, in this order").every("table")[0].rows()


def test_a_stage_that_cannot_be_predicted_still_has_a_sheet(tmp_path: Path) -> None:
    lines = ['stage "an island"', *SMALL, "X -- R8 1K -- Y", "X -- R9 1K -- Y"]
    page = made(written(tmp_path, "island.stage", lines)).page
    rows = page.section("Volts, in this order").every("table")[0].rows()
    assert {row["Expect"] for row in rows} == {""}
    assert "B+" in [row["Point"] for row in rows]
    told = " ".join(p.text for p in page.every("p", "reason"))
    assert "No volts can be expected here. the stage does not hang together as written." in told
    assert "mend the transcription" in page.text
    assert page.section("Power off: discharge, then ohms").every("td", "write")


def test_points_above_fifty_volts_are_not_to_be_touched(tmp_path: Path) -> None:
    """50 V: the low-voltage limit of common rules."""
    lines = [
        'stage "high"', "rail B+ 70 V!", "B+ -- R1 10K -- HIGH -- R2 47K -- LOW", "LOW -- R3 10K --"
        " ground",
    ]
    page = made(written(tmp_path, "high.stage", lines)).page
    step = page.section("Volts, in this order")
    points = {row["Point"] for row in step.every("table")[0].rows()}
    assert points == {"LOW"}
    told = " ".join(p.text for p in step.every("p", "caution"))
    assert "B+ and HIGH stand more than 50 V from ground." in told


BAD: list[tuple[list[str], str]] = [
    (["nowhere.stage"], "there is no file"),
    ([str(READINGS)], "no stage stands before it"),
    ([str(PREAMP), str(READINGS), str(READINGS), str(READINGS)], "3 files of readings"),
    ([str(LINE), str(READINGS)], "hall mixer, microphone channel 2"),
    ([str(PREAMP), "-o", "sheet.txt"], "cannot be written as sheet.txt"),
    ([str(PREAMP), "-o", "no/folder/sheet.html"], "no/folder/sheet.html cannot be written"),
    ([str(PREAMP), "-o", str(PREAMP)], "cannot be written as preamp.stage"),
    ([str(PREAMP), "--meter", "a hammer"], "hammer"),
]


@pytest.mark.parametrize(("args", "said"), BAD, ids=[said for _, said in BAD])
def test_what_cannot_be_used_is_said_and_nothing_is_written(
    args: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["sheet", *args]) == 2
    assert said in flat(capsys.readouterr().err)
    assert [p for p in tmp_path.rglob("*") if p.is_file() and "cache" not in p.parts] == []


def test_mistakes_of_all_files_come_together(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one = written(tmp_path, "one.stage", ['stage "one"', "rail B+ 9 V", "B+ -- R1 1K -- nowhere!"])
    two = written(tmp_path, "two.stage", ['stage "two"', "rail B+ 9 V", "B+ -- -- ground"])
    assert main(["sheet", str(one), str(two)]) == 2
    said = capsys.readouterr().err
    assert "one.stage, line 3" in said
    assert "two.stage, line 3" in said


def test_a_log_and_readings_together_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = written(tmp_path, "set.log", ['log "x" 2026-11-20'])
    assert main(["sheet", str(log), str(PREAMP), str(READINGS)]) == 2
    assert "which of them is later" in flat(capsys.readouterr().err)
    assert main(["sheet", str(log), str(log), str(PREAMP)]) == 2
    assert "two bench logs" in flat(capsys.readouterr().err)
    assert main(["sheet", str(log), str(PREAMP), str(PREAMP)]) == 2
    assert "same title" in flat(capsys.readouterr().err)
