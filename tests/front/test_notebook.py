"""Records in a notebook: tables and drawings that hold, whatever stands in them."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from html.parser import HTMLParser
from pathlib import Path

import pytest

import biaspredict
from biaspredict.model.stage import Stage
from biaspredict.report import notebook, plots
from tests.circuits.files import DEMO, OURS

VOID = frozenset({"br", "hr", "img", "meta", "col"})


class Balanced(HTMLParser):
    """Collects text and tags, and complains of tags that do not close."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.said: list[str] = []
        self.colours: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            found = re.findall(r"#[0-9a-fA-F]{3,8}\b", value or "") if name != "id" else []
            if name not in ("href", "xlink:href", "clip-path"):
                self.colours.update(found)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.said.append(data)


def parsed(html: str) -> Balanced:
    found = Balanced()
    found.feed(html)
    found.close()
    assert found.open == []
    return found


def shown(record: object) -> Balanced:
    return parsed(record._repr_html_())  # type: ignore[attr-defined]


def grey(colour: str) -> bool:
    digits = colour[1:]
    if len(digits) in (3, 4):
        return len(set(digits[:3])) == 1
    return digits[0:2] == digits[2:4] == digits[4:6]


@pytest.fixture(autouse=True)
def own_cache(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Layouts of drawings are kept in a folder of the test's own."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))


@pytest.fixture(scope="module")
def stage() -> Stage:
    return biaspredict.load_stage(DEMO[0])


def test_a_stage_shows_its_drawing(stage: Stage) -> None:
    found = shown(stage)
    assert "svg" in found.tags
    text = " ".join(found.said)
    assert stage.title in text
    for ref in ("Q1", "R1", "C2"):
        assert ref in text
    html = stage._repr_html_()  # type: ignore[attr-defined]
    ElementTree.fromstring(html[html.index("<svg") : html.index("</svg>") + 6])


def test_a_bias_shows_volts_and_bands(stage: Stage) -> None:
    found = biaspredict.bias(stage)
    page = shown(found)
    text = " ".join(page.said)
    assert page.tags.count("tr") == 1 + len(found.levels)
    for node in found.levels:
        assert node in text
    assert "95 % of sound stages" in text


def test_readings_and_a_verdict_show_themselves(stage: Stage) -> None:
    readings = biaspredict.load_readings(DEMO[0].with_suffix(".readings"), stage)
    assert "Q2.base" in " ".join(shown(readings).said)
    verdict = biaspredict.suspect(stage, readings)
    text = " ".join(shown(verdict).said)
    assert "C2 leaks" in text
    assert "HIGH" in text
    assert "Measure next: " in text
    empty = biaspredict.suspect(stage, biaspredict.read_readings('readings "none"', stage))
    assert "No readings yet." in " ".join(shown(empty).said)


def test_corners_show_their_response(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("matplotlib")
    found = biaspredict.corners(stage)
    page = shown(found)
    assert "svg" in page.tags
    assert "3 dB down" in " ".join(page.said)

    # Without matplotlib the curve is drawn with characters.
    def missing(*_: object, **__: object) -> None:
        raise biaspredict.BiaspredictError("matplotlib is not installed")

    monkeypatch.setattr(plots, "response_figure", missing)
    page = parsed(notebook.corners_html(found))
    assert "svg" not in page.tags
    assert "pre" in page.tags
    assert "dB" in " ".join(page.said)


def test_the_other_answers_show_their_pages(stage: Stage) -> None:
    assert "a lesson" in " ".join(shown(biaspredict.lesson(stage)).said)
    assert "what if" in " ".join(shown(biaspredict.what_if(stage, "R7 opens")).said)
    assert "C2" in " ".join(shown(biaspredict.swap(stage, "C2=22uF")).said)


def test_everything_is_black_on_white(stage: Stage) -> None:
    for record in (stage, biaspredict.bias(stage), biaspredict.corners(stage)):
        for colour in shown(record).colours:
            assert grey(colour), colour


NASTY = '<script>alert("x")</script> & \N{LATIN SMALL LETTER E WITH ACUTE}'


def test_whatever_stands_in_a_title_stays_text() -> None:
    title = NASTY.replace('"', '""')
    found = biaspredict.read_stage(
        f'stage "{title}"\nrail B+ 10 V\nB+ -- R1 1K -- A -- R2 1K -- ground\n')
    for record in (found, biaspredict.bias(found), biaspredict.lesson(found)):
        page = shown(record)
        assert "script" not in page.tags
        assert "alert" in " ".join(page.said)


@pytest.mark.parametrize("text", [
    "rail B+ 10 V\nQ1 npn\nB+ -- R1 1K -- Q1.collector\nQ1.emitter -- R2 1K -- X\n"
    "X -- C1 1 MFD film -- ground\n",
    "B+ -- R1 1K -- A\n",
    "".join(f"N{i} -- R{i} 1K -- N{i + 1}\n" for i in range(1, 402)),
], ids=["an island", "one part", "four hundred parts"])
def test_what_does_not_solve_is_drawn_or_declined(text: str) -> None:
    found = biaspredict.read_stage(f'stage "odd"\n{text}')
    page = shown(found)
    assert "svg" in page.tags or "Not drawn" in " ".join(page.said)


def test_records_show_themselves_by_the_front_alone() -> None:
    """The lower layers know nothing of pages: the front teaches each kind when it returns one."""
    path = next(p for p in OURS if p.stem == "microphone-stage")
    from biaspredict.model.stage import Stage as Kind

    assert "_repr_html_" not in (ROOT_SOURCE / "model" / "stage.py").read_text("utf-8")
    biaspredict.load_stage(path)
    assert "_repr_html_" in Kind.__dict__


ROOT_SOURCE = DEMO[0].parents[1] / "biaspredict"
