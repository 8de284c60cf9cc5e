"""Layouts as text and in the cache: the same picture each time, and no harm from a bad file."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from biaspredict.report.drawing import cache
from biaspredict.report.drawing.cache import cache_folder, known_layout
from biaspredict.report.drawing.draw import draw, lay_out, layout_key
from biaspredict.report.drawing.records import Layout
from tests.drawing.stages import ROOT, laid_out, load, solved

PATH = ROOT / "circuits" / "microphone-stage.stage"
STAGE, VOLTS, LAYOUT = load(PATH), solved(PATH), laid_out(PATH)

SCRIPT = """
import pickle, sys
from biaspredict.report.drawing.draw import draw, layout_key
stage, volts = pickle.load(sys.stdin.buffer)
sys.stdout.write(layout_key(stage, volts) + draw(stage, volts))
"""


def test_text_gives_the_layout_back() -> None:
    assert Layout.from_text(LAYOUT.to_text()) == LAYOUT


@pytest.mark.parametrize(
    "text",
    [
        "", "[]", "{}", "null", "\x00", "{" * 5000,
        LAYOUT.to_text()[:-40],
        LAYOUT.to_text().replace('"wires"', '"wurst"'),
        LAYOUT.to_text().replace('"resistor"', '"rexistor"'),
        LAYOUT.to_text().replace(f'"width":{LAYOUT.width}', '"width":NaN'),
        LAYOUT.to_text().replace('"width":', '"width":"x","w":'),
        LAYOUT.to_text().replace('[["C1"', "[[1"),
    ],
)  # fmt: skip
def test_other_text_is_refused(text: str) -> None:
    assert text != LAYOUT.to_text()
    with pytest.raises((ValueError, RecursionError)):
        Layout.from_text(text)


def test_the_same_stage_gives_the_same_picture_in_another_process() -> None:
    shown = []
    for seed in ("1", "2"):
        done = subprocess.run(
            [sys.executable, "-c", SCRIPT],
            input=pickle.dumps((STAGE, VOLTS)),
            cwd=ROOT, env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, check=True,
        )  # fmt: skip
        shown.append(done.stdout)
    assert shown[0] == shown[1] == (LAYOUT.key + draw(STAGE, VOLTS)).encode()


def test_the_key_knows_what_the_layout_depends_on() -> None:
    key = layout_key(STAGE, VOLTS)
    part = STAGE.parts[0]
    other = replace(
        STAGE, parts=(replace(part, printed=(part.printed or 1.0) * 2), *STAGE.parts[1:])
    )
    node = STAGE.nodes[1]
    assert key == layout_key(replace(STAGE, notes=("another",)), dict(reversed(VOLTS.items())))
    assert key == layout_key(STAGE, {**VOLTS, node: VOLTS[node] * (1 + 1e-9)})
    assert key != layout_key(other, VOLTS)
    assert key != layout_key(STAGE, {**VOLTS, node: VOLTS[node] * 1.1})
    assert key != layout_key(STAGE, None)
    assert key != layout_key(replace(STAGE, title="another"), VOLTS)


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """One entry for each layout that had to be worked out."""
    done: list[int] = []

    def count(stage: object, volts: Mapping[str, float] | None = None) -> Layout:
        done.append(1)
        return LAYOUT

    monkeypatch.setattr(cache, "lay_out", count)
    return done


def test_a_known_layout_is_not_worked_out_again(tmp_path: Path, counted: list[int]) -> None:
    first = known_layout(STAGE, VOLTS, tmp_path / "deep" / "folder")
    second = known_layout(STAGE, VOLTS, tmp_path / "deep" / "folder")
    assert (first, second, len(counted)) == (LAYOUT, LAYOUT, 1)
    assert [f.suffix for f in (tmp_path / "deep" / "folder").iterdir()] == [".layout"]


@pytest.mark.parametrize("damage", ["", "{}", "\x00" * 100])
def test_a_damaged_file_is_worked_out_and_mended(
    tmp_path: Path, counted: list[int], damage: str
) -> None:
    known_layout(STAGE, VOLTS, tmp_path)
    (file,) = tmp_path.iterdir()
    file.write_text(damage)
    known_layout(STAGE, VOLTS, tmp_path)
    assert known_layout(STAGE, VOLTS, tmp_path) == LAYOUT
    assert len(counted) == 2


def test_a_layout_of_another_stage_under_this_key_is_not_taken(
    tmp_path: Path, counted: list[int]
) -> None:
    known_layout(STAGE, VOLTS, tmp_path)
    (file,) = tmp_path.iterdir()
    file.write_text(replace(LAYOUT, key="0" * 32).to_text())
    known_layout(STAGE, VOLTS, tmp_path)
    assert len(counted) == 2


def test_a_place_that_cannot_hold_files_costs_only_time(tmp_path: Path, counted: list[int]) -> None:
    (tmp_path / "file").write_text("in the way")
    assert known_layout(STAGE, VOLTS, tmp_path / "file" / "folder") == LAYOUT
    assert len(counted) == 1


def test_old_layouts_make_room(
    tmp_path: Path, counted: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache, "KEPT", 3)
    for k in range(5):
        old = tmp_path / f"{k}.layout"
        old.write_text("old")
        os.utime(old, (k, k))
    known_layout(STAGE, VOLTS, tmp_path)
    assert sorted(f.name for f in tmp_path.iterdir()) == sorted(
        ["3.layout", "4.layout", f"{LAYOUT.key}.layout"]
    )


def test_the_folder_follows_the_xdg_rule(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    # XDG Base Directory Specification: relative paths are to be ignored.
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert cache_folder() == tmp_path / "biaspredict" / "drawings"
    monkeypatch.setenv("XDG_CACHE_HOME", "relative")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert cache_folder() == tmp_path / ".cache" / "biaspredict" / "drawings"


def test_a_given_layout_is_drawn_as_it_is() -> None:
    assert draw(STAGE, VOLTS, layout=LAYOUT) == draw(STAGE, VOLTS)
    assert lay_out(STAGE, VOLTS) == LAYOUT
