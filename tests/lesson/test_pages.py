"""The pages and records of `lesson`, as a person and a program meet them."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from biaspredict.cli import main
from biaspredict.engine.ngspice import Ngspice
from biaspredict.report import data_lesson, load_plot, teaching
from tests.circuits.files import DEMO, OURS, PUBLISHED, ROOT, name_of
from tests.heard import flat
from tests.lesson.taught import LARGE, lesson_of, some

SCHEMA = json.loads((ROOT / "biaspredict" / "records.json").read_text("utf-8"))
WIDTH = 80
LINE = str(ROOT / "circuits" / "line-stage.stage")
EVERY = OURS + PUBLISHED + DEMO


def valid(record: dict[str, Any], name: str) -> None:
    schema = {"$ref": f"#/$defs/{name}", "$defs": SCHEMA["$defs"]}
    jsonschema.Draft202012Validator(schema).validate(record)


def narrow(page: str) -> str:
    assert max(map(len, page.splitlines())) <= WIDTH
    assert not re.search(r"\bnan\b|\binf\b", page)
    return page


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    code = main(["lesson", *argv])
    out, err = capsys.readouterr()
    return code, out, err


@pytest.mark.parametrize("path", some(EVERY), ids=name_of)
def test_every_page_is_narrow_and_every_record_valid(path: Path) -> None:
    found = lesson_of(path)
    narrow(teaching.page(found))
    record = data_lesson.lesson_record(found)
    valid(json.loads(json.dumps(record, allow_nan=False)), "lesson")


def test_steps_of_a_divider_in_order(capsys: pytest.CaptureFixture[str]) -> None:
    path = ROOT / "circuits" / "published" / "divider-10-volts.stage"
    code, page, _ = run(capsys, str(path), "--bias")
    assert code == 0
    told = [line[5:] for line in page.splitlines() if re.match(r" *\d+\. ", line)]
    assert told == [
        "Q1.base by R1 and R2, base current left out",
        "What the base of Q1 takes",
        "Q1.base with it taken",
        "V_BE: the emitter stands 700 mV below the base",
        "Emitter current, through RE",
        "Collector current: the base's part comes by the base",
        "Q1.collector: what RC drops",
        "V_CE of Q1",
    ]
    assert "10.0 V x 2.2k / (10k + 2.2k) = 1.80 V" in page
    assert "(1.80 V - 700 mV) / (1.8k + 101 x 1k) = 10.7 uA" in page
    assert "10.0 V - 1.07 mA x 3.6k = 6.14 V" in page


def test_each_sum_can_be_followed_with_a_calculator() -> None:
    """The printed numbers, put through the printed arithmetic, give the printed result."""
    units = {"V": 1.0, "mV": 1e-3, "uV": 1e-6, "A": 1.0, "mA": 1e-3, "uA": 1e-6, "nA": 1e-9,
             "pA": 1e-12, "k": 1e3, "M": 1e6}
    checked = 0
    for path in (p for p in EVERY if p.stem not in LARGE):
        for line in lesson_of(path).lines:
            step = getattr(line, "step", None)
            if step is None or not re.fullmatch(r"[-+x/().0-9VmunApkM ^]+", step.sum):
                continue
            text = re.sub(
                r"(\d+(?:\.\d+)?) ?(V|mV|uV|A|mA|uA|nA|pA|k|M)?\b",
                lambda m: f"({float(m[1]) * units.get(m[2] or '', 1.0)!r})", step.sum)
            value = eval(text.replace("x", "*").replace("^", "**"))
            # Every number stands with three or four digits: a difference of two keeps fewer.
            sizes = [abs(float(m[1]) * units.get(m[2] or "", 1.0)) for m in
                     re.finditer(r"(\d+(?:\.\d+)?) ?(V|mV)\b", step.sum)]
            slack = 0.006 * max(sizes, default=0.0)
            gains = re.findall(r"/ \(?([0-9.]+[kM]?)", step.sum)
            if gains:
                ohms = gains[-1]
                slack /= float(ohms.rstrip("kM")) * units.get(ohms[-1], 1.0)
            assert abs(value) == pytest.approx(abs(step.hand), rel=0.012, abs=slack), (
                name_of(path), step.title, step.sum)
            checked += 1
    assert checked > 300


def test_a_base_fed_by_leakage_is_not_told_as_gain() -> None:
    # Germanium: the collector's leakage of some uA gives the base most of what it takes.
    page = " ".join(teaching.page(lesson_of(ROOT / "circuits" / "germanium-preamplifier.stage"),
                                  ("bias",)).split())
    assert "its own leakage feeds the base too" in page
    assert "e+" not in page
    assert "fed through 6.8k)" in page


def test_leaving_out_is_chosen_and_said(capsys: pytest.CaptureFixture[str]) -> None:
    path = str(ROOT / "circuits" / "published" / "divider-15-volts.stage")
    code, page, _ = run(capsys, path, "--bias", "--neglect", "base")
    assert code == 0
    assert "Left out throughout: base currents" in page
    assert "15.0 V x 50k / (100k + 50k) = 5.00 V" in page
    assert "12.8 uA, left out here" in flat(page)
    code, page, _ = run(capsys, path, "--bias", "--neglect", "next", "--neglect", "difference")
    assert "the base current of a following transistor" in page


@pytest.mark.parametrize(("section", "words", "others"), [
    ("--lines", "Load lines", "What each part is for"),
    ("--parts", "collector load of Q1", "Load lines"),
    ("--sets", "R1 up 10 %  raises it by", "Load lines"),
    ("--steady", "20 C warmer", "Load lines"),
    ("--signal", "its own emitter ohms are 25.7 mV", "Load lines"),
    ("--chains", "B+ 22.0 V -- R5 2.02 mA -- VA 17.5 V", "Load lines"),
])
def test_one_section_at_a_time(
    capsys: pytest.CaptureFixture[str], section: str, words: str, others: str
) -> None:
    code, page, _ = run(capsys, LINE, section)
    assert code == 0
    assert words in page
    assert others not in page


def test_the_load_line_is_drawn_where_it_runs() -> None:
    (line,) = lesson_of(Path(LINE)).loads
    rows = load_plot.plot(line)
    assert max(map(len, rows)) <= WIDTH
    cells = [row[12:] for row in rows[: load_plot.HEIGHT + 1]]
    (at,) = [(y, row.index("Q")) for y, row in enumerate(cells) if "Q" in row]
    assert at[1] / load_plot.WIDTH == pytest.approx(line.vce / line.open_volts, abs=0.01)
    assert 1.0 - at[0] / load_plot.HEIGHT == pytest.approx(line.amps / line.full_amps, abs=0.05)
    # From all the current at no volts down to none at all the volts.
    assert cells[0].startswith(".")
    assert cells[-1].rstrip().endswith(".")
    assert len(cells[-1].rstrip()) == load_plot.WIDTH + 1


@pytest.mark.parametrize("kind", ["svg", "png", "pdf"])
def test_the_load_lines_go_into_a_picture(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, kind: str
) -> None:
    pytest.importorskip("matplotlib")
    where = tmp_path / f"line.{kind}"
    code, _, _ = run(capsys, LINE, "--lines", "--plot", str(where))
    assert code == 0
    begins = {"svg": b"<?xml", "png": b"\x89PNG", "pdf": b"%PDF"}
    assert where.read_bytes().startswith(begins[kind])
    assert [path.name for path in tmp_path.iterdir()] == [where.name]


@pytest.mark.parametrize("name", ["line", "line.gif", "no-such-folder/line.svg"])
def test_a_picture_that_cannot_be_written_is_said(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str
) -> None:
    pytest.importorskip("matplotlib")
    code, _, err = run(capsys, LINE, "--plot", str(tmp_path / name))
    assert code == 2
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []


def test_json_is_the_record(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, LINE, "--json")
    assert code == 0
    record = json.loads(out)
    valid(record, "lesson")
    assert record["lines"][0]["kind"] == "guess"
    assert record["signal"]["gain"]["hand"] < 0


HOSTILE = {
    "no transistor": "rail B+ 10 V\nB+ -- R1 10K -- A -- R2 10K -- ground\n",
    "cut off": "rail B+ 10 V\nQ1 npn\nB+ -- R1 1K -- Q1.collector\nQ1.emitter -- R2 1K -- ground\n"
               "Q1.base -- R3 10K -- ground\n",
    "saturated": "rail B+ 10 V\nQ1 npn\nB+ -- R1 10K -- Q1.collector\nQ1.emitter -- ground\n"
                 "B+ -- R3 10K -- Q1.base\n",
    "upside down": "rail B+ 10 V\nQ1 npn\nB+ -- R1 1K -- Q1.emitter\n"
                   "Q1.collector -- R2 1K -- ground\n"
                   "B+ -- R3 100K -- Q1.base -- R4 22K -- ground\n",
    "tied": "rail B+ 10 V\nQ1 npn\nB+ -- R1 1K -- Q1.collector -- Q1.base\n"
            "Q1.emitter -- R2 1K -- ground\n",
    "a lamp and a pin": "rail B+ 12 V via 10\nQ1 npn gain 100\nLA1 lamp 6 V 50 mA\n"
                        "B+ -- LA1 -- Q1.collector\nQ1.emitter -- R1 100 -- ground\n"
                        "B+ -- R2 1K -- Q1.base -- R3 330 -- ground\n"
                        "pin U1.5 holds 3.2 V via 10K\nU1.5 -- R4 10K -- Q1.base\n"
                        "pin U1.7 takes 2 mA\nU1.7 -- B+\n",
    "two rails with nothing between": "rail B+ 10 V\nrail B- -10 V\nB+ -- R1 1K -- B-\n",
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_odd_stages_get_a_lesson_or_a_reason(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str
) -> None:
    path = tmp_path / "odd.stage"
    path.write_text(f'stage "odd"\n{text}', encoding="utf-8")
    code, out, err = run(capsys, str(path))
    assert code == 0, err
    narrow(out)
    code, out, _ = run(capsys, str(path), "--json")
    valid(json.loads(out), "lesson")


@pytest.mark.parametrize(("text", "words"), [
    ("", "stage"),
    ('stage "odd"\nrail B+ 10 V\n', "no part is described"),
    ('stage "odd"\nrail B+ 10 V\nB+ -- C1+ 10 MFD -- ground\n',
     "neither transistors nor resistors"),
])
def test_what_has_no_lesson_says_so(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str, words: str
) -> None:
    path = tmp_path / "odd.stage"
    path.write_text(text, encoding="utf-8")
    code, out, err = run(capsys, str(path))
    assert code == 2
    assert out == ""
    assert words in flat(err)


def test_the_solved_side_is_ngspice(capsys: pytest.CaptureFixture[str]) -> None:
    from biaspredict import pipeline

    assert isinstance(pipeline.referee(), Ngspice)
